/* waivers.c - reading waivers, each key needed. */
#include "json/waivers.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

static int digits_at(const char *text, int count)
{
    int value = 0;
    for (int i = 0; i < count; i++) {
        if (text[i] < '0' || text[i] > '9')
            return -1;
        value = 10 * value + (text[i] - '0');
    }
    return value;
}

bool is_day(const char *text)
{
    static const int lengths[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    if (strlen(text) != 10 || text[4] != '-' || text[7] != '-')
        return false;
    int year = digits_at(text, 4), month = digits_at(text + 5, 2), day = digits_at(text + 8, 2);
    if (year < 1 || month < 1 || month > 12 || day < 1)
        return false;
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return day <= lengths[month - 1] + (month == 2 && leap);
}

static bool read_text(const json_t *entry, size_t i, const char *key, const char **text, struct error *err)
{
    *text = json_string_value(json_object_get(entry, key));
    if (*text && **text)
        return true;
    error_set(err, ERROR_USAGE, "waiver %zu: \"%s\" is a text, and needed", i + 1, key);
    return false;
}

static bool read_waiver(const json_t *entry, size_t i, struct waiver *waiver, struct error *err)
{
    if (!read_text(entry, i, "rule", &waiver->rule, err)
        || !read_text(entry, i, "reason", &waiver->reason, err)
        || !read_text(entry, i, "author", &waiver->author, err)
        || !read_text(entry, i, "expires", &waiver->expires, err))
        return false;
    return is_day(waiver->expires)
           || error_set(err, ERROR_USAGE,
                        "waiver %zu: \"expires\" is its last day, such as 2026-12-31, not \"%.20s\"", i + 1,
                        waiver->expires);
}

bool waivers_open(const char *bytes, size_t size, struct waiver_list *list, struct error *err)
{
    json_error_t fault;
    *list = (struct waiver_list){.document = json_loadb(bytes, size, JSON_REJECT_DUPLICATES, &fault)};
    if (!list->document)
        return error_set_line(err, ERROR_USAGE, "json", fault.line > 0 ? (size_t)fault.line : 1,
                              "waivers are JSON, and this is not: %s", fault.text);
    bool ok =
        json_is_array((json_t *)list->document)
        || error_set(err, ERROR_USAGE, "waivers are a list of objects with rule, reason, author and expires");
    list->count = json_array_size(list->document);
    list->items = calloc(list->count + 1, sizeof *list->items);
    if (!list->items) {
        waivers_close(list);
        return error_set(err, ERROR_MACHINE, "memory is out while reading waivers");
    }
    for (size_t i = 0; ok && i < list->count; i++)
        ok = read_waiver(json_array_get(list->document, i), i, &list->items[i], err);
    if (!ok)
        waivers_close(list);
    return ok;
}

void waivers_close(struct waiver_list *list)
{
    json_decref(list->document);
    free(list->items);
    memset(list, 0, sizeof *list);
}
