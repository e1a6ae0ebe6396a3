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

#include <stdbool.h>
#include <stdint.h>

/* Reads the longest number that begins at `at`. Returns one past its last byte; NULL when none begins there.
 * A magnitude beyond the largest double gives infinity with its sign. Never reads at or behind end. */
const char *number_parse(const char *at, const char *end, double *value);

/* The double nearest to significand * 10^exponent; infinity beyond the range. */
double number_scale(uint64_t significand, int64_t exponent);

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
