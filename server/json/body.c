/* body.c - reading of JSON request bodies. */
#include "json/body.h"

#include <jansson.h>
#include <math.h>
#include <string.h>

bool id_parse(const char *text, int64_t *id)
{
    size_t size = strlen(text);
    *id = 0;
    if (size < 1 || size > 18 || text[0] == '0')
        return false;
    for (; *text; text++) {
        if (*text < '0' || *text > '9')
            return false;
        *id = *id * 10 + (*text - '0');
    }
    return true;
}

bool body_parse(const char *bytes, size_t size, struct body *body, struct error *err)
{
    json_error_t fault;
    *body = (struct body){NULL, false};
    json_t *value = json_loadb(bytes, size, JSON_REJECT_DUPLICATES, &fault);
    if (!value)
        return error_set_line(err, ERROR_USAGE, "json", fault.line > 0 ? (size_t)fault.line : 1,
                              "the body is not JSON: %s", fault.text);
    if (!json_is_object(value)) {
        json_decref(value);
        return error_set(err, ERROR_USAGE, "the body must be a JSON object");
    }
    body->object = value;
    return true;
}

void body_close(struct body *body)
{
    if (!body->borrowed)
        json_decref(body->object);
    body->object = NULL;
}

static bool is_among(const char *name, const char *names)
{
    size_t size = strlen(name);
    for (const char *at = names; size && (at = strstr(at, name)) != NULL; at += size)
        if ((at == names || at[-1] == ' ') && (at[size] == ' ' || at[size] == '\0'))
            return true;
    return false;
}

bool body_allows(const struct body *body, const char *names, struct error *err)
{
    const char *key;
    json_t *value;
    json_object_foreach(body->object, key, value)
    {
        if (strchr(key, ' ') || !is_among(key, names))
            return error_set(err, ERROR_USAGE, "no key \"%.60s\" here; there are: %s", key, names);
    }
    return true;
}

bool body_has(const struct body *body, const char *key)
{
    return json_object_get(body->object, key) != NULL;
}

bool body_text(const struct body *body, const char *key, bool needed, const char **value, struct error *err)
{
    const json_t *node = json_object_get(body->object, key);
    *value = NULL;
    if (!node)
        return !needed || error_set(err, ERROR_USAGE, "the body lacks \"%s\"", key);
    if (!json_is_string(node))
        return error_set(err, ERROR_USAGE, "\"%s\" must be a string", key);
    *value = json_string_value(node);
    return true;
}

bool body_id(const struct body *body, const char *key, bool needed, int64_t *value, struct error *err)
{
    const json_t *node = json_object_get(body->object, key);
    *value = 0;
    if (!node)
        return !needed || error_set(err, ERROR_USAGE, "the body lacks \"%s\"", key);
    if (json_is_null(node) && !needed)
        return true;
    if (!json_is_string(node) || !id_parse(json_string_value(node), value))
        return error_set(err, ERROR_USAGE, "\"%s\" must be an id: a string of digits, such as \"12\"", key);
    return true;
}

bool body_numbers(const struct body *body, const char *key, size_t most, double *values, size_t *count,
                  struct error *err)
{
    const json_t *node = json_object_get(body->object, key);
    *count = 0;
    if (!node)
        return true;
    if (!json_is_array(node) || json_array_size(node) > most)
        return error_set(err, ERROR_USAGE, "\"%s\" must be a list of at most %zu numbers", key, most);
    for (size_t i = 0; i < json_array_size(node); i++) {
        const json_t *item = json_array_get(node, i);
        if (!json_is_number(item))
            return error_set(err, ERROR_USAGE, "\"%s\" must hold numbers only", key);
        values[(*count)++] = json_number_value(item);
    }
    return true;
}

bool body_texts(const struct body *body, const char *key, size_t most, const char **values, size_t *count,
                struct error *err)
{
    const json_t *node = json_object_get(body->object, key);
    *count = 0;
    if (!node)
        return true;
    if (!json_is_array(node) || json_array_size(node) > most)
        return error_set(err, ERROR_USAGE, "\"%s\" must be a list of at most %zu words", key, most);
    for (size_t i = 0; i < json_array_size(node); i++) {
        const json_t *item = json_array_get(node, i);
        if (!json_is_string(item) || strlen(json_string_value(item)) != json_string_length(item))
            return error_set(err, ERROR_USAGE, "\"%s\" must hold words only", key);
        values[(*count)++] = json_string_value(item);
    }
    return true;
}

bool body_number(const struct body *body, const char *key, double *value, struct error *err)
{
    const json_t *node = json_object_get(body->object, key);
    *value = node ? json_number_value(node) : (double)NAN;
    return !node || json_is_number(node) || error_set(err, ERROR_USAGE, "\"%s\" must be a number", key);
}

bool body_flag(const struct body *body, const char *key, bool *value, struct error *err)
{
    const json_t *node = json_object_get(body->object, key);
    *value = json_is_true(node);
    if (node && !json_is_boolean(node))
        return error_set(err, ERROR_USAGE, "\"%s\" must be true or false", key);
    return true;
}

bool body_inner(const struct body *body, const char *key, struct body *inner, struct error *err)
{
    json_t *node = json_object_get(body->object, key);
    *inner = (struct body){node, true};
    if (!json_is_object(node))
        return error_set(err, ERROR_USAGE, "\"%s\" must be an object", key);
    return true;
}
