/* api_text.c - the parts of API bodies. */
#include "json/api_text.h"

#include "json/writer.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>

bool api_text_write(struct json_t *tree, struct api_text *text, struct error *err)
{
    *text = (struct api_text){NULL, 0};
    if (!tree)
        return error_set(err, ERROR_MACHINE, "memory is short; try again later");
    bool ok = writer_dump(tree, WRITER_COMPACT, &text->bytes, &text->size, err);
    json_decref(tree);
    return ok;
}

struct json_t *api_id(int64_t id)
{
    return id ? json_sprintf("%lld", (long long)id) : json_null();
}

struct json_t *api_ids(const int64_t *ids, size_t count)
{
    json_t *list = json_array();
    for (size_t i = 0; list && i < count; i++)
        if (json_array_append_new(list, api_id(ids[i]))) {
            json_decref(list);
            list = NULL;
        }
    return list;
}

struct json_t *api_number(double value)
{
    return isnan(value) ? json_null() : json_real(value);
}

struct json_t *api_string(const char *text)
{
    return text ? json_string(text) : json_null();
}

struct json_t *api_label(const char *kind, int64_t number)
{
    return json_sprintf("%s %lld", kind, (long long)number);
}

struct json_t *api_page(struct json_t *items, const char *next, int64_t total)
{
    return json_pack("{s:o, s:o, s:I}", "items", items, "next", api_string(next), "total", (json_int_t)total);
}
