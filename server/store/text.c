/* text.c - what may be stored as text, face sizes, and the small change of lists: cursors, limits, arrays. */
#include "store/inside.h"
#include "store/version.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Length of the UTF-8 sequence at text, 0 when it is none (RFC 3629: no overlong forms, no surrogates). */
static size_t utf8_length(const unsigned char *text)
{
    size_t length;
    uint32_t point, least;
    if (text[0] < 0x80)
        return 1;
    if (text[0] >= 0xc2 && text[0] <= 0xdf) {
        length = 2, point = text[0] & 0x1f, least = 0x80;
    } else if ((text[0] & 0xf0) == 0xe0) {
        length = 3, point = text[0] & 0x0f, least = 0x800;
    } else if (text[0] >= 0xf0 && text[0] <= 0xf4) {
        length = 4, point = text[0] & 0x07, least = 0x10000;
    } else
        return 0;
    for (size_t i = 1; i < length; i++) {
        if ((text[i] & 0xc0) != 0x80)
            return 0;
        point = point << 6 | (text[i] & 0x3f);
    }
    return point < least || point > 0x10ffff || (point >= 0xd800 && point <= 0xdfff) ? 0 : length;
}

bool text_check(const char *what, const char *text, size_t max, enum text_form form, bool may_be_empty,
                struct error *err)
{
    bool says_something = false;
    size_t size = text ? strlen(text) : 0;

    if (size > max)
        return error_set(err, ERROR_USAGE, "the %s has %zu bytes; at most %zu are kept", what, size, max);
    for (size_t i = 0; i < size;) {
        unsigned char byte = (unsigned char)text[i];
        size_t length = utf8_length((const unsigned char *)text + i);
        if (!length)
            return error_set(err, ERROR_USAGE, "the %s is not valid UTF-8 at byte %zu", what, i);
        if ((byte < 0x20 || byte == 0x7f) && !(form == TEXT_LINES && (byte == '\n' || byte == '\t')))
            return error_set(err, ERROR_USAGE, "the %s has a control character at byte %zu", what, i);
        if (byte != ' ' && byte != '\n' && byte != '\t')
            says_something = true;
        i += length;
    }
    return says_something || may_be_empty || error_set(err, ERROR_USAGE, "the %s is missing", what);
}

static const struct {
    const char *name;
    double metres;
} units_table[] = {{"mm", 1e-3}, {"cm", 1e-2}, {"m", 1}, {"in", 0.0254}, {"unknown", 0}};

static int units_index(const char *name)
{
    for (int i = 0; i < (int)(sizeof units_table / sizeof units_table[0]); i++)
        if (strcmp(units_table[i].name, name) == 0)
            return i;
    return -1;
}

bool units_are_known(const char *units)
{
    return units && units_index(units) >= 0;
}

/* A decimal number in any locale: digits, one point, an exponent; its end, NULL when there is none. strtod
 * would take hexadecimal and words, and the locale's point. */
static const char *read_number(const char *text, double *number)
{
    size_t digits = 0;
    double value = 0;
    int exponent = 0;
    for (; *text >= '0' && *text <= '9'; text++, digits++)
        value = value * 10 + (*text - '0');
    if (*text == '.')
        for (text++; *text >= '0' && *text <= '9'; text++, digits++, exponent--)
            value = value * 10 + (*text - '0');
    if (digits == 0 || digits > 15)
        return NULL; /* 15 digits are exact in a double, and the power of ten below is too up to 22 */
    *number = exponent < 0 ? value / pow(10, -exponent) : value;
    return text;
}

bool store_face_size_parse(const char *text, const char *units, double *face_size, double *share,
                           struct error *err)
{
    double value;
    const char *rest = read_number(text, &value);

    *face_size = *share = NAN;
    if (!rest || !(value > 0))
        return error_set(err, ERROR_USAGE, "the face size must be like 0.4mm, 0.4 or 0.75%% and above 0");
    rest += strspn(rest, " ");
    if (strcmp(rest, "%") == 0) {
        *share = value / 100;
        return true;
    }
    if (*rest == '\0') {
        *face_size = value;
        return true;
    }
    int from = units_index(rest), to = units_index(units);
    if (from < 0 || units_table[from].metres == 0)
        return error_set(err, ERROR_USAGE, "the face size has an unknown unit; use mm, cm, m, in or %%");
    if (to < 0 || units_table[to].metres == 0)
        return error_set(err, ERROR_USAGE,
                         "the specimen has no known units; give the face size as a bare number or as %%");
    *face_size = from == to ? value : value * units_table[from].metres / units_table[to].metres;
    return true;
}

bool cursor_parse(const char *cursor, int64_t *id, struct error *err)
{
    *id = 0;
    if (!cursor)
        return true;
    size_t length = strspn(cursor, "0123456789");
    if (length == 0 || length > 18 || cursor[length] != '\0')
        return error_set(err, ERROR_USAGE, "the cursor is not one that a list gave");
    *id = strtoll(cursor, NULL, 10);
    return true;
}

const char *cursor_make(int64_t id, struct arena *keep)
{
    char *text = ARENA_NEW(keep, char, 24);
    if (text)
        snprintf(text, 24, "%lld", (long long)id);
    return text;
}

const char *text_pattern(const char *text, struct arena *keep)
{
    char *pattern = ARENA_NEW(keep, char, 2 * strlen(text) + 3);
    char *at = pattern;
    if (!pattern)
        return NULL;
    *at++ = '%';
    for (; *text; text++) {
        if (strchr("%_\\", *text))
            *at++ = '\\';
        *at++ = *text;
    }
    *at++ = '%';
    *at = '\0';
    return pattern;
}

bool limit_check(size_t limit, struct error *err)
{
    return (limit >= 1 && limit <= 500) || error_set(err, ERROR_USAGE, "the limit must be 1 to 500");
}

void *arena_grow(struct arena *keep, void *items, size_t count, size_t *room, size_t size)
{
    if (count < *room)
        return items;
    size_t more = *room ? 2 * *room : 8;
    void *grown = arena_alloc(keep, more, size, _Alignof(max_align_t));
    if (grown && count)
        memcpy(grown, items, count * size);
    *room = more;
    return grown;
}
