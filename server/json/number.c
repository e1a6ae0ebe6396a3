/* number.c - shortest decimal digits by the C library's correctly rounded conversions, set in ECMAScript's
 * form.
 *
 * printf and strtod of the GNU C library round correctly in both directions. Neither sees a decimal point
 * here (digits are read back as "17976931348623157e292"), so the locale does not matter. */
#include "json/number.h"

#include <float.h>
#include <inttypes.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The value 0.d1 d2 ... d_count times 10^point. */
struct decimal {
    char digits[24];
    int count;
    int point;
};

/* The decimal of `count` digits closest to x > 0. */
static struct decimal closest_decimal(double x, int count)
{
    struct decimal decimal = {.count = 0};
    char text[48];
    snprintf(text, sizeof text, "%.*e", count - 1, x);
    const char *exponent = strchr(text, 'e');
    for (const char *c = text; c < exponent; c++)
        if (*c >= '0' && *c <= '9')
            decimal.digits[decimal.count++] = *c;
    decimal.point = atoi(exponent + 1) + 1;
    return decimal;
}

static bool reads_back(const struct decimal *decimal, double x)
{
    char text[48];
    snprintf(text, sizeof text, "%se%d", decimal->digits, decimal->point - decimal->count);
    return strtod(text, NULL) == x;
}

/* The next larger decimal of as many digits. */
static struct decimal successor(struct decimal decimal)
{
    int i = decimal.count - 1;
    while (i >= 0 && decimal.digits[i] == '9')
        decimal.digits[i--] = '0';
    if (i >= 0) {
        decimal.digits[i]++;
    } else {
        decimal.digits[0] = '1';
        decimal.point++;
    }
    return decimal;
}

/* Below a power of two doubles lie twice as densely as above it. So the closest decimal may lie just below x
 * and read back as another double, while the next one above x, a little farther off, reads back as x. About
 * any other x they lie evenly: where the closest decimal does not read back, none does. */
static bool find_decimal(double x, int count, struct decimal *decimal)
{
    int exponent;
    *decimal = closest_decimal(x, count);
    if (reads_back(decimal, x))
        return true;
    if (frexp(x, &exponent) != 0.5)
        return false;
    *decimal = successor(*decimal);
    return reads_back(decimal, x);
}

/* A decimal of up to 15 digits survives being read as a normal double and printed to 15 digits (DBL_DIG), so
 * that one attempt at 15 finds every shorter one, padded by zeros. Subnormals have fewer digits to give. */
static struct decimal shortest_decimal(double x)
{
    struct decimal decimal;
    int count = x < DBL_MIN ? 1 : DBL_DIG;
    while (!find_decimal(x, count, &decimal))
        count++;
    while (decimal.count > 1 && decimal.digits[decimal.count - 1] == '0')
        decimal.count--;
    decimal.digits[decimal.count] = '\0';
    return decimal;
}

static size_t set_zeros(char *out, int count)
{
    memset(out, '0', (size_t)count);
    return (size_t)count;
}

static size_t set_digits(char *out, const char *digits, int count)
{
    memcpy(out, digits, (size_t)count);
    return (size_t)count;
}

/* The cases of Number::toString, step by step. */
static size_t set_decimal(const struct decimal *decimal, char *out)
{
    const char *digits = decimal->digits;
    int count = decimal->count, point = decimal->point;
    size_t at = 0;

    if (count <= point && point <= 21) {
        at += set_digits(out, digits, count);
        at += set_zeros(out + at, point - count);
    } else if (0 < point && point <= 21) {
        at += set_digits(out, digits, point);
        out[at++] = '.';
        at += set_digits(out + at, digits + point, count - point);
    } else if (-6 < point && point <= 0) {
        at += set_digits(out, "0.", 2);
        at += set_zeros(out + at, -point);
        at += set_digits(out + at, digits, count);
    } else {
        out[at++] = digits[0];
        if (count > 1) {
            out[at++] = '.';
            at += set_digits(out + at, digits + 1, count - 1);
        }
        at += (size_t)snprintf(out + at, 6, "e%+d", point - 1);
    }
    return at;
}

/* Below 2^53 no other whole number reads back as the same double: all its digits are the shortest. */
static bool is_small_whole(double x)
{
    return fabs(x) < 0x1p53 && x == (double)(int64_t)x;
}

size_t number_write(double x, char text[NUMBER_TEXT_SIZE])
{
    size_t at = 0;

    if (!isfinite(x)) {
        memcpy(text, "null", 5);
        return 4;
    }
    if (is_small_whole(x))
        return (size_t)snprintf(text, NUMBER_TEXT_SIZE, "%" PRId64, (int64_t)x);
    if (x < 0)
        text[at++] = '-';
    struct decimal decimal = shortest_decimal(fabs(x));
    at += set_decimal(&decimal, text + at);
    text[at] = '\0';
    return at;
}
