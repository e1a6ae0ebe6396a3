/* number.c - the fast paths from decimal text to double; see number.h for the sources. */
#include "io/number.h"

#include <math.h>
#include <string.h>

enum {
    MANY_DIGITS = 19,            /* 10^19 - 1 fits 64 bits */
    EXPONENT_CEILING = 99999999, /* any exponent beyond overflows or underflows whatever the digits */
    FRACTION_BITS = 52,
    EXPONENT_BIAS = 1023,
    EXPONENT_ALL_ONES = 0x7ff
};

const double number_exact_powers[23] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                        1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                        1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

static double from_bits(uint64_t bits)
{
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

/* The leading 128 bits of significand * 5^q; the low word is refined only where the first product cannot tell
 * the 55 bits that rounding looks at. */
static void product(uint64_t significand, int64_t q, uint64_t *high, uint64_t *low)
{
    const uint64_t *power = number_powers[q - NUMBER_POWER_MIN];
    unsigned __int128 first = (unsigned __int128)significand * power[0];
    *high = (uint64_t)(first >> 64);
    *low = (uint64_t)first;
    if ((*high & 0x1ff) == 0x1ff) {
        uint64_t carry = (uint64_t)(((unsigned __int128)significand * power[1]) >> 64);
        *low += carry;
        *high += *low < carry;
    }
}

/* significand > 0, q within the table. */
static double scale_by_product(uint64_t significand, int64_t q)
{
    int leading = __builtin_clzll(significand);
    uint64_t high, low;
    product(significand << leading, q, &high, &low);

    int top = (int)(high >> 63);
    int shift = top + 64 - FRACTION_BITS - 3;
    uint64_t bits = high >> shift; /* 53 bits and one to round by, the sticky ones below are dropped */
    /* floor(q log2 10) by 217706 / 65536, exact in the table's range; gcc shifts negative numbers
     * arithmetically */
    // cppcheck-suppress shiftNegativeLHS
    int64_t exponent = ((217706 * q) >> 16) + 63 + top - leading + EXPONENT_BIAS;

    if (exponent <= 0) { /* subnormal; a tie is impossible: 5^-q would have to divide 64 bits */
        if (exponent <= -63)
            return 0.0;
        bits >>= 1 - exponent;
        bits = (bits + (bits & 1)) >> 1;
        return from_bits(bits); /* 2^52 is the smallest normal number's pattern */
    }
    /* A tie needs 5^|q| to divide or to fit 64 bits: -4 <= q <= 23. Then go to the even neighbour. */
    if (low <= 1 && q >= -4 && q <= 23 && (bits & 3) == 1 && bits << shift == high)
        bits &= ~(uint64_t)1;
    bits = (bits + (bits & 1)) >> 1;
    if (bits >> (FRACTION_BITS + 1)) {
        bits >>= 1;
        exponent++;
    }
    if (exponent >= EXPONENT_ALL_ONES)
        return (double)INFINITY;
    return from_bits(((uint64_t)exponent << FRACTION_BITS) | (bits & (((uint64_t)1 << FRACTION_BITS) - 1)));
}

double number_scale(uint64_t significand, int64_t exponent)
{
    if (significand == 0 || exponent < NUMBER_POWER_MIN)
        return 0.0;
    if (exponent > NUMBER_POWER_MAX)
        return (double)INFINITY;
    if (significand <= (uint64_t)1 << 53) {
        if (exponent >= 0 && exponent <= 22)
            return (double)significand * number_exact_powers[exponent];
        if (exponent < 0 && exponent >= -22)
            return (double)significand / number_exact_powers[-exponent];
    }
    return scale_by_product(significand, exponent);
}

/* The value of more than 19 characters of digits: the first 19 that count decide nearly always. */
static double scale_many_digits(const char *digits, const char *end, int64_t written)
{
    uint64_t significand = 0;
    int64_t exponent = written;
    int taken = 0;
    bool after_point = false, rest_is_zero = true;

    for (const char *p = digits; p < end; p++) {
        if (*p == '.') {
            after_point = true;
            continue;
        }
        unsigned digit = (unsigned)(*p - '0');
        if (taken < MANY_DIGITS) {
            significand = significand * 10 + digit;
            taken += significand != 0;
            exponent -= after_point;
        } else {
            rest_is_zero = rest_is_zero && digit == 0;
            exponent += !after_point;
        }
    }
    double below = number_scale(significand, exponent);
    double above = rest_is_zero ? below : number_scale(significand + 1, exponent);
    if (below == above)
        return below;
    /* The text lies between; 10^-18 of it is less than one step of a double, so that these two are adjacent.
     */
    int side = number_compare_middle(digits, end, written, below);
    uint64_t bits;
    memcpy(&bits, &below, sizeof bits);
    return side > 0 || (side == 0 && (bits & 1)) ? above : below;
}

const char *number_parse(const char *at, const char *end, double *value)
{
    const char *p = at;
    bool negative = false;
    uint64_t significand = 0;
    int64_t exponent = 0, written = 0;
    unsigned digit;

    if (p < end && (*p == '-' || *p == '+'))
        negative = *p++ == '-';
    const char *digits = p;
    for (; p < end && (digit = (unsigned)(*p - '0')) <= 9; p++)
        significand = significand * 10 + digit;
    int64_t count = p - digits;
    if (p < end && *p == '.') {
        const char *fraction = ++p;
        for (; p < end && (digit = (unsigned)(*p - '0')) <= 9; p++)
            significand = significand * 10 + digit;
        exponent = fraction - p;
        count -= exponent;
    }
    if (count == 0)
        return NULL;
    const char *digits_end = p;
    if (p < end && (*p | 0x20) == 'e') {
        const char *q = p + 1;
        bool down = false;
        if (q < end && (*q == '-' || *q == '+'))
            down = *q++ == '-';
        const char *first = q;
        for (; q < end && (digit = (unsigned)(*q - '0')) <= 9; q++)
            written = written < EXPONENT_CEILING ? written * 10 + digit : written;
        if (q > first)
            p = q;
        written = down ? -written : written;
    }
    double magnitude = count <= MANY_DIGITS ? number_scale(significand, exponent + written)
                                            : scale_many_digits(digits, digits_end, written);
    *value = negative ? -magnitude : magnitude;
    return p;
}
