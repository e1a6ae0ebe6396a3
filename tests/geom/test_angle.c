/* test_angle.c - angles against the C library's atan2 in extended precision, and where they are exact. */
#include "geom/angle.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>

/* Knuth, The Art of Computer Programming 2, section 3.3.4, table 1. */
static double draw(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

static void expect_near(double y, double x)
{
    long double expected = atan2l((long double)y, (long double)x);
    long double off = fabsl((long double)angle_of(y, x) - expected);
    cr_assert(off <= 0x1p-50L * expected, "angle of (%a, %a) is off by %Lg of itself", x, y, off / expected);
}

Test(geom_angle, near_the_library_in_every_octant)
{
    uint64_t state = 7;
    for (size_t i = 0; i < 1000000; i++) {
        double y = draw(&state), x = 2 * draw(&state) - 1;
        expect_near(y, x);
    }
}

Test(geom_angle, near_the_library_for_numbers_of_any_size)
{
    uint64_t state = 9;
    for (size_t i = 0; i < 100000; i++) {
        double y = ldexp(1 + draw(&state), (int)(draw(&state) * 600) - 300);
        double x = ldexp(1 + draw(&state), (int)(draw(&state) * 600) - 300);
        expect_near(y, i % 2 ? x : -x);
    }
}

Test(geom_angle, exact_on_the_axes_and_the_diagonals)
{
    cr_expect_eq(angle_of(0, 1), 0);
    cr_expect_eq(angle_of(0, 0), 0);
    cr_expect_eq(angle_of(3, 0), 1.5707963267948966);
    cr_expect_eq(angle_of(0, -2), 3.141592653589793);
    cr_expect_eq(angle_of(5, 5), 0.7853981633974483);
    cr_expect_eq(angle_of(5, -5), 3.141592653589793 - 0.7853981633974483);
}
