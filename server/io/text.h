/* text.h - tokens of a text given as (pointer, end): nothing here needs a terminator or reads at end. */
#ifndef IO_TEXT_H
#define IO_TEXT_H

#include "io/number.h"
#include "io/source.h"

#include <float.h>
#include <math.h>

/* A number of more characters is refused: nobody writes one, and it hides what it says. Common practice. */
enum { TEXT_NUMBER_MAX = 1024 };

static inline bool text_is_eol(char c)
{
    return c == '\n' || c == '\r';
}
static inline bool text_is_blank(char c)
{
    return c == ' ' || c == '\t';
}
static inline bool text_is_separator(char c)
{
    return text_is_blank(c) || text_is_eol(c);
}
/* What may follow a value: also the backslash of a continued line and a comment right behind it. */
static inline bool text_ends_value(const char *at, const char *end)
{
    return at == end || text_is_separator(*at) || *at == '\\' || *at == '#';
}
static inline const char *text_skip_blank(const char *at, const char *end)
{
    while (at < end && text_is_blank(*at))
        at++;
    return at;
}
static inline const char *text_skip_space(const char *at, const char *end)
{
    while (at < end && text_is_separator(*at))
        at++;
    return at;
}
/* The first line end at or after at, or end. */
static inline const char *text_eol(const char *at, const char *end)
{
    while (at < end && !text_is_eol(*at))
        at++;
    return at;
}
/* at is a line end or end: where the next line begins. */
static inline const char *text_next_line(const char *at, const char *end)
{
    if (at == end)
        return end;
    if (*at == '\r' && end - at > 1 && at[1] == '\n')
        return at + 2;
    return at + 1;
}
/* One past the last byte of the word that begins at at. */
static inline const char *text_word_end(const char *at, const char *end)
{
    while (at < end && !text_is_separator(*at))
        at++;
    return at;
}

/* Reads a finite number that ends at a separator, a backslash, a comment's '#' or end; NULL for anything
 * else, which text_refuse_number then explains. */
static inline const char *text_number(const char *at, const char *end, double *value)
{
    const char *next = number_parse_short(at, end, value);
    if (next)
        return next;
    next = number_parse(at, end, value);
    if (!next || !text_ends_value(next, end) || !(fabs(*value) <= DBL_MAX) || next - at > TEXT_NUMBER_MAX)
        return NULL;
    return next;
}

/* Reads [+-] digits, whatever follows. Beyond +-10^18 the value stays there, which no index or count reaches.
 * NULL when there is no digit. */
static inline const char *text_integer(const char *at, const char *end, int64_t *value)
{
    const int64_t ceiling = 1000000000000000000;
    const char *p = at;
    bool negative = false;
    int64_t sum = 0;
    unsigned digit;

    if (p < end && (*p == '-' || *p == '+'))
        negative = *p++ == '-';
    const char *first = p;
    if (end - p >= 8) {
        struct digits digits = digits_take(p);
        if (digits.count < 8) {
            *value = negative ? -(int64_t)digits.value : digits.value;
            return digits.count ? p + digits.count : NULL;
        }
    }
    for (; p < end && (digit = (unsigned)(*p - '0')) <= 9; p++)
        sum = sum < ceiling / 10 ? sum * 10 + digit : ceiling;
    *value = negative ? -sum : sum;
    return p > first ? p : NULL;
}
/* The same for a whole word. */
static inline const char *text_whole_integer(const char *at, const char *end, int64_t *value)
{
    const char *next = text_integer(at, end, value);
    return next && (next == end || text_is_separator(*next)) ? next : NULL;
}

/* True when the word at..word_end is `lower`, a lower-case ASCII word; with any case. */
bool text_is_word(const char *at, const char *word_end, const char *lower);

/* True when the word names an infinity or NaN, or is a number beyond the largest double. */
bool text_is_not_finite(const char *at, const char *word_end);

/* A word as it may be shown in an error: printable, at most 32 characters, NUL-terminated. */
struct text_quote {
    char text[40];
};
struct text_quote text_quote(const char *at, const char *end);

/* Says why the word at `at` is not a number that may stand there: not finite, too large (ERROR_DATA), too
 * long (ERROR_LIMIT), missing or malformed (ERROR_SYNTAX). Returns false. */
bool text_refuse_number(const struct source *source, const char *at, const char *what, struct error *err);

/* True for well-formed UTF-8 (Unicode 15, table 3-7). */
bool text_is_utf8(const char *at, const char *end);
/* Copies at most out_size - 1 bytes of a terminated name, each malformed byte replaced by U+FFFD; returns
 * whether the name was well-formed. */
bool text_copy_utf8(const char *name, char *out, size_t out_size);
/* Notes a name inside the file (of a group, a solid, ...) that is not UTF-8. */
void text_check_name(const struct source *source, const char *at, const char *end);

#endif
