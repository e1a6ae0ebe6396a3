/* api_text.h - an API body as bytes, and the small trees that all of them are made of. */
#ifndef JSON_API_TEXT_H
#define JSON_API_TEXT_H

#include "base/error.h"

struct json_t;

/* Compact JSON text; the caller frees bytes. */
struct api_text {
    char *bytes;
    size_t size;
};

/* Writes the tree and gives it back; NULL (memory was out while it was made) is ERROR_MACHINE. */
bool api_text_write(struct json_t *tree, struct api_text *text, struct error *err);

/* New references, NULL when memory is out. */
struct json_t *api_id(int64_t id); /* a string of digits; null for 0 */
struct json_t *api_ids(const int64_t *ids, size_t count);
struct json_t *api_number(double value);                    /* null for NaN */
struct json_t *api_string(const char *text);                /* null for NULL */
struct json_t *api_label(const char *kind, int64_t number); /* "cage 7" */
/* {"items":items,"next":next,"total":total}; takes items. */
struct json_t *api_page(struct json_t *items, const char *next, int64_t total);

#endif
