/* test_control_excess.c
 *   difference_*  holds every difference of values that the two intervals hold, and is no wider
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <string.h>

#include "measure/control_excess.h"

static struct deviation deviation_with(double lost, double invented, double width)
{
    struct deviation deviation;

    memset(&deviation, 0, sizeof deviation);
    deviation.hausdorff = (struct interval){fmax(lost, invented), fmax(lost, invented) + width};
    deviation.reference_to_subject.max.distance = (struct interval){lost, lost + width};
    deviation.subject_to_reference.max.distance = (struct interval){invented, invented + width};
    deviation.reference_to_subject.mean = lost / 4;
    deviation.subject_to_reference.mean = invented / 4;
    deviation.reference_to_subject.halfwidth.mean = deviation.subject_to_reference.halfwidth.mean = width / 4;
    return deviation;
}

static void expect_difference(struct interval got, double lower, double upper)
{
    cr_expect(le(dbl, got.lower, lower));
    cr_expect(ge(dbl, got.upper, upper));
    cr_expect(epsilon_eq(dbl, got.lower, lower, 1e-15));
    cr_expect(epsilon_eq(dbl, got.upper, upper, 1e-15));
}

Test(difference, holds_both_ends_of_both_intervals)
{
    struct deviation control = deviation_with(0.5, 0.25, 0.125), limit = deviation_with(0.125, 0.375, 0.0625);
    struct control_excess excess = control_excess_of(&control, &limit);

    expect_difference(excess.lost_max, 0.5 - 0.1875, 0.625 - 0.125);
    expect_difference(excess.invented_max, 0.25 - 0.4375, 0.375 - 0.375); /* negative: the faces are nearer */
    expect_difference(excess.hausdorff, 0.5 - 0.4375, 0.625 - 0.375);
    expect_difference(excess.lost_mean, 0.125 - 0.03125 - 0.03125 - 0.015625,
                      0.125 + 0.03125 - 0.03125 + 0.015625);
    expect_difference(excess.invented_mean, 0.0625 - 0.03125 - 0.09375 - 0.015625,
                      0.0625 + 0.03125 - 0.09375 + 0.015625);
}
