/* node.c - jansson's tree behind a few questions. */
#include "json/node.h"

#include "json/measures.h"

#include <jansson.h>
#include <math.h>

bool node_open(const char *text, size_t size, const char *what, struct json_t **root, struct error *err)
{
    json_error_t fault;
    *root = json_loadb(text, size, JSON_REJECT_DUPLICATES, &fault);
    return *root
           || error_set(err, ERROR_STORE, "%s in the store is not JSON: %.80s; run fettle verify", what,
                        fault.text);
}

void node_close(struct json_t *root)
{
    json_decref(root);
}

const struct json_t *node_at(const struct json_t *node, const char *path)
{
    return measure_node(node, path);
}

const char *node_text(const struct json_t *node, const char *path)
{
    const char *text = json_string_value(measure_node(node, path));
    return text ? text : "";
}

double node_number(const struct json_t *node, const char *path)
{
    double value;
    return measure_number(node, path, &value) ? value : NAN;
}

bool node_is_true(const struct json_t *node, const char *path)
{
    return json_is_true(measure_node(node, path));
}

size_t node_count(const struct json_t *node, const char *path)
{
    const json_t *found = measure_node(node, path);
    return json_is_array(found) ? json_array_size(found) : json_object_size(found);
}

const struct json_t *node_item(const struct json_t *array, size_t i)
{
    return json_array_get(array, i);
}
