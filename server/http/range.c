/* range.c - reading of a single byte range. */
#include "http/range.h"

#include <string.h>
#include <strings.h>

/* Decimal digits at *at; false when there are none. Saturates: a huge number is beyond every end. */
static bool number(const char **at, uint64_t *value)
{
    const char *begin = *at;
    *value = 0;
    for (; **at >= '0' && **at <= '9'; (*at)++) {
        if (__builtin_mul_overflow(*value, 10u, value)
            || __builtin_add_overflow(*value, (uint64_t)(**at - '0'), value))
            *value = UINT64_MAX / 16; /* stays above every file size however many digits follow */
    }
    return *at != begin;
}

struct byte_range range_parse(const char *value, uint64_t total)
{
    const struct byte_range whole = {RANGE_WHOLE, 0, total}, none = {RANGE_UNSATISFIABLE, 0, 0};
    if (!value || strncasecmp(value, "bytes=", 6))
        return whole;
    const char *at = value + 6 + strspn(value + 6, " \t");
    uint64_t first = 0, last = 0;
    bool has_first = number(&at, &first);
    if (*at++ != '-')
        return whole;
    bool has_last = number(&at, &last);
    if (at[strspn(at, " \t")] || (!has_first && !has_last) || (has_first && has_last && last < first))
        return whole;
    if (!has_first) { /* the last so many bytes */
        if (!last || !total)
            return none;
        first = last < total ? total - last : 0;
        return (struct byte_range){RANGE_PART, first, total - first};
    }
    if (first >= total)
        return none;
    if (!has_last || last >= total)
        last = total - 1;
    return (struct byte_range){RANGE_PART, first, last - first + 1};
}
