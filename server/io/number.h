/* number.h - decimal text to the nearest double, in any locale.
 *
 * Grammar: [+-] digits [. digits] [(e|E) [+-] digits] with at least one digit before the exponent; no
 * infinity, NaN, hexadecimal, thousands mark or decimal comma. The result is the double nearest to the text
 * (ties to even), for any number of digits:
 *   W. D. Clinger, "How to read floating point numbers accurately", PLDI 1990 (exact small cases);
 *   D. Lemire, "Number parsing at a gigabyte per second", Software: Practice and Experience 51(8), 2021;
 *   N. Mushtak, D. Lemire, "Fast number parsing without fallback", Software: Practice and Experience 53(7),
 *   2023: with 19 digits or fewer the 128-bit product always decides, so that only longer texts need
 *   number_exact.c. */
#ifndef IO_NUMBER_H
#define IO_NUMBER_H

#include "io/digits.h"

#include <stdbool.h>
#include <stddef.h>

/* Reads the longest number that begins at `at`. Returns one past its last byte; NULL when none begins there.
 * A magnitude beyond the largest double gives infinity with its sign. Never reads at or behind end. */
const char *number_parse(const char *at, const char *end, double *value);

/* The double nearest to significand * 10^exponent; infinity beyond the range. */
double number_scale(uint64_t significand, int64_t exponent);

/* 10^0 to 10^22, exact in a double. */
extern const double number_exact_powers[23];

/* The same result as number_parse for the form that files are full of: [-] up to 7 digits [. up to 16
 * digits], followed by a blank or a line end. NULL for any other, also for a correct one. */
static inline const char *number_parse_short(const char *at, const char *end, double *value)
{
    if (end - at < 36)
        return NULL;
    uint64_t negative = *at == '-';
    at += negative;
    struct digits whole = digits_take(at);
    uint64_t significand = whole.value;
    unsigned count = whole.count, places = 0;
    if (whole.count == 8)
        return NULL;
    at += whole.count;
    if (*at == '.') {
        struct digits first = digits_take(++at);
        significand = significand * digits_power(first.count) + first.value;
        places = first.count;
        at += first.count;
        if (first.count == 8) {
            struct digits second = digits_take(at);
            significand = significand * digits_power(second.count) + second.value;
            places += second.count;
            at += second.count;
        }
        count += places;
    }
    if ((*at != ' ' && *at != '\n' && *at != '\r' && *at != '\t') || count - 1 > 18)
        return NULL;
    double magnitude = significand <= (uint64_t)1 << 53 ? (double)significand / number_exact_powers[places]
                                                        : number_scale(significand, -(int64_t)places);
    uint64_t bits; /* the sign is set without a branch: half of them are negative */
    memcpy(&bits, &magnitude, sizeof bits);
    bits |= negative << 63;
    memcpy(value, &bits, sizeof bits);
    return at;
}

/* For texts of more than 19 digits: -1, 0 or 1 as the decimal number is below, at or above the middle between
 * `below` (finite, not negative) and the next larger double. digits..end is the text of the significand
 * (digits and at most one point), which is multiplied by 10^exponent. */
int number_compare_middle(const char *digits, const char *end, int64_t exponent, double below);

/* 10^q for q from NUMBER_POWER_MIN to NUMBER_POWER_MAX: the leading 128 bits of 5^q, high word first, the
 * first bit set; rounded up where -27 <= q < 0 (so that ties are seen), down elsewhere: Lemire 2021,
 * section 5. */
#define NUMBER_POWER_MIN (-342)
#define NUMBER_POWER_MAX 308
extern const uint64_t number_powers[NUMBER_POWER_MAX - NUMBER_POWER_MIN + 1][2];

#endif
