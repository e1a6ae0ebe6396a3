/* body.h - a JSON request body taken apart; every error names the key and what it should hold.
 *
 * The whole text must be one object without duplicate keys. Strings it hands out belong to the body. */
#ifndef JSON_BODY_H
#define JSON_BODY_H

#include "base/error.h"

struct json_t;

struct body {
    struct json_t *object; /* NULL once closed */
    bool borrowed;         /* part of another body */
};

/* ERROR_USAGE with the line at fault. */
bool body_parse(const char *bytes, size_t size, struct body *body, struct error *err);
void body_close(struct body *body);

/* ERROR_USAGE when there is a key that is none of names, which are parted by spaces. */
bool body_allows(const struct body *body, const char *names, struct error *err);
bool body_has(const struct body *body, const char *key);
/* A string; NULL where the key is missing, which is an error when it is needed. */
bool body_text(const struct body *body, const char *key, bool needed, const char **value, struct error *err);
/* An id: decimal digits in a string. null and a missing key give 0, the latter is an error when needed. */
bool body_id(const struct body *body, const char *key, bool needed, int64_t *value, struct error *err);
/* A list of at most `most` numbers; *count is 0 where the key is missing. */
bool body_numbers(const struct body *body, const char *key, size_t most, double *values, size_t *count,
                  struct error *err);
/* A list of at most `most` strings; *count is 0 where the key is missing. */
bool body_texts(const struct body *body, const char *key, size_t most, const char **values, size_t *count,
                struct error *err);
/* A number; NaN where the key is missing. */
bool body_number(const struct body *body, const char *key, double *value, struct error *err);
/* true or false; false where the key is missing. */
bool body_flag(const struct body *body, const char *key, bool *value, struct error *err);
/* An object inside; closing it is not needed. */
bool body_inner(const struct body *body, const char *key, struct body *inner, struct error *err);

/* Decimal digits without sign or leading zero as an id above 0. */
bool id_parse(const char *text, int64_t *id);

#endif
