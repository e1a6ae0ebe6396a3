/* writer.c - walks a jansson tree and writes it; jansson's own dump has neither shortest numbers nor RFC
 * 8785's order of keys. */
#include "json/writer.h"

#include "json/number.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Text that grows; once memory is out it takes no more. */
struct text {
    char *bytes;
    size_t size, capacity;
    bool failed;
};

static void put(struct text *text, const char *bytes, size_t count)
{
    if (!text->failed && count > text->capacity - text->size) {
        size_t capacity = 2 * text->capacity + count;
        char *grown = realloc(text->bytes, capacity);
        if (grown) {
            text->bytes = grown;
            text->capacity = capacity;
        } else {
            text->failed = true;
        }
    }
    if (text->failed || !text->bytes)
        return;
    memcpy(text->bytes + text->size, bytes, count);
    text->size += count;
}

static void put_char(struct text *text, char c)
{
    put(text, &c, 1);
}

/* RFC 8785 section 3.2.2.2. */
static size_t escape(unsigned char c, char out[8])
{
    static const char shorthands[] = {
        ['\b'] = 'b', ['\t'] = 't', ['\n'] = 'n', ['\f'] = 'f', ['\r'] = 'r', ['"'] = '"', ['\\'] = '\\'};
    if (c < sizeof shorthands && shorthands[c]) {
        out[0] = '\\';
        out[1] = shorthands[c];
        return 2;
    }
    return (size_t)snprintf(out, 8, "\\u%04x", (unsigned)c);
}

static void put_string(struct text *text, const char *bytes, size_t count)
{
    size_t plain = 0;
    char escaped[8];

    put_char(text, '"');
    for (size_t i = 0; i < count; i++) {
        unsigned char c = (unsigned char)bytes[i];
        if (c >= 0x20 && c != '"' && c != '\\')
            continue;
        put(text, bytes + plain, i - plain);
        put(text, escaped, escape(c, escaped));
        plain = i + 1;
    }
    put(text, bytes + plain, count - plain);
    put_char(text, '"');
}

static void put_real(struct text *text, double x)
{
    char number[NUMBER_TEXT_SIZE];
    size_t count = number_write(x, number);
    put(text, number, count);
}

/* RFC 8785 knows doubles only; the other forms keep all digits of a whole number. */
static void put_integer(struct text *text, json_int_t x, enum writer_form form)
{
    char number[24];
    int count = snprintf(number, sizeof number, "%" JSON_INTEGER_FORMAT, x);
    if (form == WRITER_CANONICAL)
        put_real(text, (double)x);
    else
        put(text, number, (size_t)count);
}

static void put_line(struct text *text, enum writer_form form, size_t depth)
{
    if (form != WRITER_PRETTY)
        return;
    put_char(text, '\n');
    for (size_t i = 0; i < depth; i++)
        put(text, "  ", 2);
}

static void put_value(struct text *text, const json_t *value, enum writer_form form, size_t depth);

static void put_array(struct text *text, const json_t *array, enum writer_form form, size_t depth)
{
    size_t count = json_array_size(array);
    put_char(text, '[');
    for (size_t i = 0; i < count; i++) {
        if (i)
            put_char(text, ',');
        put_line(text, form, depth + 1);
        put_value(text, json_array_get(array, i), form, depth + 1);
    }
    if (count)
        put_line(text, form, depth);
    put_char(text, ']');
}

/* UTF-16 code units sort as UTF-8 bytes do, but for U+E000 to U+FFFF (EE, EF), which come after the
 * surrogate pairs of all higher characters (F0 to F4). */
static int utf16_rank(unsigned char c)
{
    return c >= 0xf0 ? c - 2 : c >= 0xee ? c + 6 : c;
}

static int compare_keys(const void *left, const void *right)
{
    const unsigned char *a = *(const unsigned char *const *)left, *b = *(const unsigned char *const *)right;
    while (*a && *a == *b) {
        a++;
        b++;
    }
    return utf16_rank(*a) - utf16_rank(*b);
}

/* The keys of object in the order of the form; NULL when memory is out. The caller frees the list. */
static const char **list_keys(json_t *object, enum writer_form form)
{
    size_t count = json_object_size(object), i = 0;
    const char **keys = calloc(count + 1, sizeof *keys);
    if (!keys)
        return NULL;
    for (void *at = json_object_iter(object); at; at = json_object_iter_next(object, at))
        keys[i++] = json_object_iter_key(at);
    if (form == WRITER_CANONICAL)
        qsort(keys, count, sizeof *keys, compare_keys);
    return keys;
}

static void put_object(struct text *text, json_t *object, enum writer_form form, size_t depth)
{
    const char **keys = list_keys(object, form);
    if (!keys) {
        text->failed = true;
        return;
    }
    put_char(text, '{');
    for (size_t i = 0; keys[i]; i++) {
        if (i)
            put_char(text, ',');
        put_line(text, form, depth + 1);
        put_string(text, keys[i], strlen(keys[i]));
        put(text, ": ", form == WRITER_PRETTY ? 2 : 1);
        put_value(text, json_object_get(object, keys[i]), form, depth + 1);
    }
    if (keys[0])
        put_line(text, form, depth);
    put_char(text, '}');
    free(keys);
}

static void put_value(struct text *text, const json_t *value, enum writer_form form, size_t depth)
{
    switch (json_typeof(value)) {
    case JSON_OBJECT:
        put_object(text, (json_t *)value, form, depth); /* jansson iterates only over what is not const */
        break;
    case JSON_ARRAY:
        put_array(text, value, form, depth);
        break;
    case JSON_STRING:
        put_string(text, json_string_value(value), json_string_length(value));
        break;
    case JSON_INTEGER:
        put_integer(text, json_integer_value(value), form);
        break;
    case JSON_REAL:
        put_real(text, json_real_value(value));
        break;
    case JSON_TRUE:
        put(text, "true", 4);
        break;
    case JSON_FALSE:
        put(text, "false", 5);
        break;
    case JSON_NULL:
        put(text, "null", 4);
        break;
    }
}

bool writer_dump(const struct json_t *value, enum writer_form form, char **text, size_t *size,
                 struct error *err)
{
    struct text out = {0};

    put_value(&out, value, form, 0);
    if (form == WRITER_PRETTY || form == WRITER_LINE)
        put_char(&out, '\n');
    *size = out.size;
    put_char(&out, '\0');
    if (out.failed) {
        free(out.bytes);
        *text = NULL;
        return error_set(err, ERROR_MACHINE, "memory is out while writing JSON");
    }
    *text = out.bytes;
    return true;
}
