/* test_judged.c
 *   round_*   where numbers go
 *   random_*  what holds for all of them: ends never move inward by more than the stated rounding, six
 * digits, idempotent, odd, in order */
#include "spec/judged.h"
#include "support/fixture_shapes.h"

#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

Test(judged, round_to_six_digits_each_way)
{
    cr_expect_eq(judged_nearest(0.17320508075688773), 0.173205);
    cr_expect_eq(judged_down(0.17320508075688773), 0.173205);
    cr_expect_eq(judged_up(0.17320508075688773), 0.173206);
    cr_expect_eq(judged_up(-0.17320508075688773), -0.173205);
    cr_expect_eq(judged_down(-0.17320508075688773), -0.173206);
    cr_expect_eq(judged_nearest(1234567.8), 1234570);
    cr_expect_eq(judged_up(1234567.8), 1234570);
    cr_expect_eq(judged_down(1234567.8), 1234560);
}

Test(judged, round_over_a_power_of_ten)
{
    cr_expect_eq(judged_nearest(0.9999996), 1);
    cr_expect_eq(judged_up(0.9999996), 1);
    cr_expect_leq(judged_down(0.9999996), 0.9999996);
    cr_expect_geq(judged_down(0.9999996), 0.99999);
    cr_expect_eq(judged_up(999999.25), 1000000);
}

Test(judged, round_leaves_what_needs_none)
{
    static const double same[] = {0,    1,      -7,       0.4,      0.1, 0.3, 123456789, 999999999999999,
                                  1e15, 2.5e-7, INFINITY, -INFINITY};
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++) {
        cr_expect_eq(judged_nearest(same[i]), same[i], "%g", same[i]);
        cr_expect_eq(judged_up(same[i]), same[i], "%g", same[i]);
        cr_expect_eq(judged_down(same[i]), same[i], "%g", same[i]);
    }
    cr_expect(isnan(judged_nearest(NAN)) && isnan(judged_up(NAN)) && isnan(judged_down(NAN)));
}

/* A change of unit, there and back, must not cost a digit. */
Test(judged, round_takes_the_noise_of_a_conversion_for_what_it_is)
{
    cr_expect_neq(0.1 * 3, 0.3);
    cr_expect_eq(judged_up(0.1 * 3), 0.3);
    for (int i = 1; i < 5000; i++) {
        double value = (double)i / 1000;
        cr_assert_eq(judged_up(value * 25.4 / 25.4), value, "%g", value);
        cr_assert_eq(judged_down(value / 0.3 * 0.3), value, "%g", value);
    }
}

Test(judged, round_at_the_ends_of_double)
{
    cr_expect_geq(judged_up(DBL_MAX), DBL_MAX);
    cr_expect_leq(judged_down(DBL_MAX), DBL_MAX);
    cr_expect_leq(judged_down(-DBL_MAX), -DBL_MAX);
    cr_expect_geq(judged_up(DBL_TRUE_MIN), DBL_TRUE_MIN);
    cr_expect_geq(judged_up(DBL_MIN), DBL_MIN * (1 - JUDGED_ROUNDING));
    cr_expect_leq(judged_down(DBL_MIN), DBL_MIN * (1 + JUDGED_ROUNDING));
    cr_expect_float_eq(judged_nearest(3.3333333e-310) / 3.33333e-310, 1, 1e-9);
}

/* Sizes from 1e-300 to 1e300, half of them near numbers of few digits. */
static double draw(uint64_t *state)
{
    double digits = fixture_random_unit(state) * 9 + 1;
    if (fixture_random_below(state, 2))
        digits = round(digits * 1e5) / 1e5 * (1 + (fixture_random_unit(state) - 0.5) * 4e-9);
    double size = pow(10, (double)fixture_random_below(state, 600) - 300);
    return fixture_random_below(state, 2) ? digits * size : -digits * size;
}

static bool has_six_digits(double value)
{
    char text[40];
    snprintf(text, sizeof text, "%.5e", value);
    return strtod(text, NULL) == value;
}

Test(judged, random_ends_move_outward_by_less_than_a_digit)
{
    uint64_t state = 3;
    for (int i = 0; i < 50000; i++) {
        double x = draw(&state), up = judged_up(x), down = judged_down(x), nearest = judged_nearest(x);
        bool whole = x == trunc(x) && fabs(x) < 1e15;
        cr_assert_geq(up, x - JUDGED_ROUNDING * 1.01 * fabs(x), "%.17g -> %.17g", x, up);
        cr_assert_leq(down, x + JUDGED_ROUNDING * 1.01 * fabs(x), "%.17g -> %.17g", x, down);
        cr_assert_leq(up - down, 1.1e-4 * fabs(x), "%.17g", x);
        cr_assert(down <= nearest && nearest <= up, "%.17g: %.17g %.17g %.17g", x, down, nearest, up);
        cr_assert(whole || (has_six_digits(up) && has_six_digits(down) && has_six_digits(nearest)), "%.17g",
                  x);
        cr_assert_eq(judged_up(up), up, "%.17g", x);
        cr_assert_eq(judged_down(down), down, "%.17g", x);
        cr_assert_eq(judged_nearest(nearest), nearest, "%.17g", x);
        cr_assert_eq(judged_up(-x), -down, "%.17g", x);
        cr_assert_eq(judged_nearest(-x), -nearest, "%.17g", x);
    }
}

/* A limit of six digits that is at least the value is at least the rounded value: nobody is refused by
 * rounding an exact number, unless the value is really beyond the limit as shown. */
Test(judged, random_values_keep_their_order_to_limits_of_six_digits)
{
    uint64_t state = 8;
    for (int i = 0; i < 50000; i++) {
        double x = fixture_random_unit(&state) * 2,
               limit = judged_nearest(x + (fixture_random_unit(&state) - 0.5) * 2e-5);
        cr_assert(!(x <= limit) || judged_nearest(x) <= limit, "%.17g, %.17g", x, limit);
        cr_assert(!(judged_up(x) <= limit) || x <= limit * (1 + JUDGED_ROUNDING), "%.17g, %.17g", x, limit);
    }
}
