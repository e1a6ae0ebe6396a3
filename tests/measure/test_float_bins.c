/* test_float_bins.c
 *   bins_*   each holds the numbers from its start to the next one's, and widths are equal within a power of
 * two
 */
#include "measure/float_bins.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <float.h>
#include <math.h>

#include "support/fixture_shapes.h"

/* The least number of a bin below FLOAT_BINS; infinite or NaN in those beyond all numbers. */
static float start_of(size_t bin, unsigned fraction_bits)
{
    uint32_t bits = (uint32_t)bin << (23 - fraction_bits);
    float value;

    memcpy(&value, &bits, sizeof value);
    return value;
}

Test(float_bins, bins_hold_what_lies_between_their_starts)
{
    static const unsigned fractions[] = {0, 1, 6, 12};
    uint64_t state = 3;

    for (size_t i = 0; i < 4; i++)
        for (int k = 0; k < 20000; k++) {
            unsigned bits = fractions[i];
            int exponent = (int)fixture_random_below(&state, FLT_MAX_EXP + 148) - 148;
            float value = (float)ldexp(fixture_random_unit(&state), exponent);
            size_t bin = float_bin_of(value, bits);
            cr_assert(bin < FLOAT_BINS(bits));
            cr_assert(start_of(bin, bits) <= value && value < start_of(bin + 1, bits),
                      "%a is not in bin %zu of %u bits", (double)value, bin, bits);
        }
}

Test(float_bins, bins_divide_each_power_of_two_evenly)
{
    size_t first = float_bin_of(4, 6);

    cr_expect(eq(sz, FLOAT_BINS(6), 16384));
    cr_expect(eq(sz, float_bin_of(8, 6), first + 64));
    for (size_t i = 0; i <= 64; i++)
        cr_expect(eq(flt, start_of(first + i, 6), 4 + (float)i / 16));
}

Test(float_bins, bins_begin_with_zero_of_either_sign_and_end_with_infinity)
{
    cr_expect(eq(sz, float_bin_of(0, 6), 0));
    cr_expect(eq(sz, float_bin_of(-0.0f, 6), 0));
    cr_expect(eq(flt, start_of(0, 6), 0));
    cr_expect(eq(sz, float_bin_of(FLT_MAX, 6) + 1, float_bin_of(INFINITY, 6)));
    cr_expect(lt(sz, float_bin_of(INFINITY, 6), FLOAT_BINS(6)));
}
