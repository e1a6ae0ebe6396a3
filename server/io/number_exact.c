/* number_exact.c - the last resort of number.c: an exact comparison in big integers. */
#include "io/number.h"

#include <assert.h>
#include <string.h>

/* The middle between two doubles has at most 767 significant digits, so that a longer text is decided by its
 * first 800 and by whether anything but zeros follows. Then no number here is longer than 800 digits times
 * 10^309, or 2^1130 times 5^1130: below 4,000 bits. */
enum { KEPT_DIGITS = 800, LIMBS = 160 };

struct big {
    size_t count;          /* limbs in use, the highest is not 0 */
    uint32_t limbs[LIMBS]; /* lowest first */
};

/* big * factor + addend */
static void multiply_add(struct big *big, uint32_t factor, uint32_t addend)
{
    uint64_t carry = addend;
    for (size_t i = 0; i < big->count; i++) {
        carry += (uint64_t)big->limbs[i] * factor;
        big->limbs[i] = (uint32_t)carry;
        carry >>= 32;
    }
    if (carry) {
        assert(big->count < LIMBS);
        big->limbs[big->count++] = (uint32_t)carry;
    }
}

static void multiply_power_of_five(struct big *big, int64_t power)
{
    for (; power >= 13; power -= 13)
        multiply_add(big, 1220703125u, 0); /* 5^13 */
    for (; power > 0; power--)
        multiply_add(big, 5, 0);
}

static void shift_left(struct big *big, int64_t bits)
{
    size_t whole = (size_t)bits / 32;
    if (big->count == 0)
        return;
    assert(big->count + whole < LIMBS);
    memmove(big->limbs + whole, big->limbs, big->count * sizeof big->limbs[0]);
    memset(big->limbs, 0, whole * sizeof big->limbs[0]);
    big->count += whole;
    multiply_add(big, (uint32_t)1 << (bits % 32), 0);
}

static int compare(const struct big *a, const struct big *b)
{
    if (a->count != b->count)
        return a->count < b->count ? -1 : 1;
    for (size_t i = a->count; i-- > 0;)
        if (a->limbs[i] != b->limbs[i])
            return a->limbs[i] < b->limbs[i] ? -1 : 1;
    return 0;
}

/* The text's digits as an integer; *exponent becomes the power of ten that it is to be multiplied by. */
static void read_digits(struct big *big, const char *digits, const char *end, int64_t *exponent)
{
    int taken = 0;
    bool after_point = false, rest_is_zero = true;

    big->count = 0;
    for (const char *p = digits; p < end; p++) {
        if (*p == '.') {
            after_point = true;
            continue;
        }
        uint32_t digit = (uint32_t)(*p - '0');
        if (taken < KEPT_DIGITS) {
            multiply_add(big, 10, digit);
            taken += big->count != 0;
            *exponent -= after_point;
        } else {
            rest_is_zero = rest_is_zero && digit == 0;
            *exponent += !after_point;
        }
    }
    if (!rest_is_zero) {
        multiply_add(big, 10, 1);
        --*exponent;
    }
}

int number_compare_middle(const char *digits, const char *end, int64_t exponent, double below)
{
    struct big text, middle = {.count = 0};
    uint64_t bits, fraction;

    read_digits(&text, digits, end, &exponent);

    /* below = fraction * 2^power, and the middle is (2 fraction + 1) * 2^(power - 1) */
    memcpy(&bits, &below, sizeof bits);
    int64_t power = (int64_t)(bits >> 52);
    fraction = bits & (((uint64_t)1 << 52) - 1);
    if (power > 0)
        fraction |= (uint64_t)1 << 52;
    else
        power = 1;
    power -= 1023 + 52;
    fraction = 2 * fraction + 1;
    middle.limbs[0] = (uint32_t)fraction;
    middle.limbs[1] = (uint32_t)(fraction >> 32);
    middle.count = middle.limbs[1] ? 2 : 1;

    if (exponent >= 0)
        multiply_power_of_five(&text, exponent);
    else
        multiply_power_of_five(&middle, -exponent);
    if (exponent >= power - 1)
        shift_left(&text, exponent - (power - 1));
    else
        shift_left(&middle, power - 1 - exponent);
    return compare(&text, &middle);
}
