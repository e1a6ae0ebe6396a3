/* node.h - reading a stored JSON document by dotted paths, for rooms that print what is in it. */
#ifndef JSON_NODE_H
#define JSON_NODE_H

#include "base/error.h"

struct json_t;

/* The caller owes node_close. what: "a run record"; ERROR_STORE where it is not JSON. */
bool node_open(const char *text, size_t size, const char *what, struct json_t **root, struct error *err);
void node_close(struct json_t *root);

/* All take any node, NULL included, and a path below it ("" for itself); what is returned is borrowed. */
const struct json_t *node_at(const struct json_t *node, const char *path); /* NULL: nothing there */
const char *node_text(const struct json_t *node, const char *path);        /* "" where it is no text */
double node_number(const struct json_t *node, const char *path);           /* NaN where it is no number */
bool node_is_true(const struct json_t *node, const char *path);
/* As many as an array or object has. */
size_t node_count(const struct json_t *node, const char *path);
/* Of an array; NULL beyond its end. */
const struct json_t *node_item(const struct json_t *array, size_t i);

#endif
