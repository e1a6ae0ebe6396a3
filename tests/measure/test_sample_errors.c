/* test_sample_errors.c - means, shares and percentiles of stratified samples.
 *   mean_*        the truth is within; narrow where neighbours are alike, as wide as must be where they are
 * not share_*       likewise of shares; of none and all percentile_*  likewise of percentiles; beyond all
 * values
 *
 * Source: integrals and inverses of x^2 and of sines in closed form, on paper; a standard error of N
 * independent draws is s / sqrt(N) (Cochran 1977, section 2.5, from memory). Four of them leave out 6e-5 of
 * normal errors, so that of 500 trials none is expected to fail. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>

#include "measure/sample_errors.h"
#include "support/fixture_shapes.h"

#define COUNT ((size_t)4096)
#define TRIALS 500

/* x^2 at one point of each of COUNT parts of [0, 1], in order or in any. */
static void draw(bool ordered, size_t count, uint64_t *state, double *values)
{
    for (size_t i = 0; i < count; i++) {
        double unit = fixture_random_unit(state), x = ordered ? ((double)i + unit) / (double)count : unit;
        values[i] = x * x;
    }
}

Test(sample_errors, mean_is_within_and_narrow_where_neighbours_are_alike)
{
    static double values[COUNT];
    uint64_t state = 1;

    for (int trial = 0; trial < TRIALS; trial++) {
        const bool ordered = trial % 2;
        const size_t count = COUNT - (size_t)(trial % 3); /* odd ones too */
        draw(ordered, count, &state, values);
        struct sample_estimate mean = sample_mean(values, count, false),
                               square = sample_mean(values, count, true);
        cr_expect(fabs(mean.value - 1.0 / 3) <= mean.halfwidth, "%d", trial);
        cr_expect(fabs(square.value - 1.0 / 5) <= square.halfwidth, "%d", trial);
        /* of x^2 the variance is 1/5 - 1/9 */
        double of_draws = 4 * sqrt((1.0 / 5 - 1.0 / 9) / (double)count);
        if (ordered)
            cr_expect(mean.halfwidth < 0.01 * of_draws, "%g, %g", mean.halfwidth, of_draws);
        else
            cr_expect(fabs(mean.halfwidth / of_draws - 1) < 0.1, "%g, %g", mean.halfwidth, of_draws);
    }
}

/* The last of an odd number counts as much as the others. */
Test(sample_errors, mean_of_three)
{
    const double values[3] = {1, 1, 4};
    struct sample_estimate mean = sample_mean(values, 3, false);

    cr_expect(fabs(mean.value - 2) < 1e-15, "%g", mean.value);
    cr_expect(fabs(mean.halfwidth - 4) < 1e-15, "%g", mean.halfwidth); /* 4 sqrt(0 + 9) / 3 */
}

/* x^2 beside x, whose mean is 1/2: of both the correlation squared is (1/12)^2 / (1/12 * 4/45) = 15/16, so
 * that what is left of the error is a quarter; of their squares, x^4 beside x^2, the truth
 * is within. */
Test(sample_errors, mean_beside_another_is_within_and_narrower)
{
    static double values[COUNT], beside[COUNT];
    uint64_t state = 7;

    for (int trial = 0; trial < TRIALS; trial++) {
        const size_t count = COUNT - (size_t)(trial % 3);
        draw(trial % 2, count, &state, values);
        for (size_t i = 0; i < count; i++)
            beside[i] = sqrt(values[i]);
        struct sample_estimate alone = sample_mean(values, count, false),
                               mean = sample_mean_beside(values, beside, count, false, 0.5),
                               square = sample_mean_beside(values, beside, count, true, 1.0 / 3);
        cr_expect(fabs(mean.value - 1.0 / 3) <= mean.halfwidth, "%d", trial);
        cr_expect(fabs(square.value - 1.0 / 5) <= square.halfwidth, "%d", trial);
        cr_expect(le(dbl, mean.halfwidth, alone.halfwidth));
        if (trial % 2 == 0) /* and a little more, as the variance is one of samples too */
            cr_expect(fabs(mean.halfwidth / alone.halfwidth - 0.27) < 0.025, "%g, %g", mean.halfwidth,
                      alone.halfwidth);
    }
}

/* What is linear in the other is told exactly, but not from a few pairs that differ. */
Test(sample_errors, mean_beside_is_alone_where_few_pairs_tell)
{
    static double values[COUNT], beside[COUNT];

    for (size_t i = 0; i < COUNT; i++) {
        beside[i] = i % 2 && i < 80 ? 1 : 0;
        values[i] = 3 * beside[i] + 2;
    }
    cr_expect(lt(dbl, sample_mean_beside(values, beside, COUNT, false, 0.25).halfwidth, 1e-12));
    cr_expect(fabs(sample_mean_beside(values, beside, COUNT, false, 0.25).value - 2.75) < 1e-12);
    for (size_t i = 40; i < COUNT; i++)
        values[i] = 2 + (beside[i] = 0);
    struct sample_estimate alone = sample_mean(values, COUNT, false),
                           few = sample_mean_beside(values, beside, COUNT, false, 0.25);
    cr_expect(eq(dbl, few.value, alone.value));
    cr_expect(eq(dbl, few.halfwidth, alone.halfwidth));
}

Test(sample_errors, share_is_within_and_narrow_where_neighbours_are_alike)
{
    static double values[COUNT];
    uint64_t state = 2;

    for (int trial = 0; trial < TRIALS; trial++) {
        const bool ordered = trial % 2;
        const double above = trial % 5 ? -1 : 0.04, up_to = fixture_random_unit(&state) * 0.9 + 0.05,
                     truth = sqrt(up_to) - (above > 0 ? 0.2 : 0);
        draw(ordered, COUNT, &state, values);
        struct interval got = sample_share(values, COUNT, above, up_to, 0);
        cr_expect(got.lower <= truth && truth <= got.upper, "%d: %g not in %g to %g", trial, truth, got.lower,
                  got.upper);
        double of_draws = 8 * sqrt(truth * (1 - truth) / (double)COUNT);
        if (ordered)
            cr_expect(got.upper - got.lower < 0.011, "%g", got.upper - got.lower);
        else
            cr_expect(got.upper - got.lower < 1.02 * of_draws + 16.0 / (double)COUNT);
    }
}

/* Wilson's interval of none of n is 0 to 16 / (n + 16) at four standard errors. */
Test(sample_errors, share_of_none_and_of_all)
{
    static double values[COUNT];
    uint64_t state = 3;

    draw(false, COUNT, &state, values);
    struct interval none = sample_share(values, COUNT, 2, 3, 0), all = sample_share(values, COUNT, -1, 2, 0);
    cr_expect(none.lower <= 0 && fabs(none.upper - 16.0 / (COUNT + 16)) < 1e-12, "%g", none.upper);
    cr_expect(all.upper >= 1 && fabs(all.lower - (double)COUNT / (COUNT + 16)) < 1e-12, "%g", all.lower);
}

/* What is within the slack of a limit may be on either side of it. */
Test(sample_errors, share_counts_what_is_near_a_limit_both_ways)
{
    static double values[COUNT];

    for (size_t i = 0; i < COUNT; i++)
        values[i] = i % 2 ? 0.5 : 0.9;
    struct interval surely = sample_share(values, COUNT, -1, 0.5 + 1e-9, 0),
                    possibly = sample_share(values, COUNT, -1, 0.5 + 1e-9, 1e-6);
    cr_expect(surely.lower > 0.4 && surely.upper < 0.6, "%g to %g", surely.lower, surely.upper);
    cr_expect(possibly.lower <= 0 && possibly.upper < 0.6, "%g to %g", possibly.lower, possibly.upper);
}

Test(sample_errors, percentile_is_within_and_narrow_where_neighbours_are_alike)
{
    static const double shares[4] = {0.5, 0.95, 0.99, 0.999};
    static double values[COUNT];
    struct arena *scratch = fixture_arena();
    struct sample_estimate got[4];
    struct error err;
    uint64_t state = 4;

    for (int trial = 0; trial < TRIALS; trial++) {
        const bool ordered = trial % 2;
        draw(ordered, COUNT, &state, values);
        cr_assert(sample_percentiles(values, COUNT, shares, 4, 2, got, *scratch, &err));
        for (int s = 0; s < 4; s++) {
            double truth = shares[s] * shares[s];
            cr_expect(fabs(got[s].value - truth) <= got[s].halfwidth, "%d: %g not %g within %g", trial, truth,
                      got[s].value, got[s].halfwidth);
        }
        /* the median's slope is 1; 16 or so values of each side where hardly a pair is split */
        cr_expect(got[0].halfwidth < (ordered ? 0.006 : 1.4 * 4 * 0.5 / sqrt((double)COUNT)), "%g",
                  got[0].halfwidth);
    }
}

/* So few are above that the end of all is as far away as any may be. */
Test(sample_errors, percentile_beyond_all_values)
{
    static const double shares[2] = {0.001, 0.999};
    static double values[1024];
    struct arena *scratch = fixture_arena();
    struct sample_estimate got[2];
    struct error err;
    uint64_t state = 5;

    draw(false, 1024, &state, values);
    cr_assert(sample_percentiles(values, 1024, shares, 2, 7, got, *scratch, &err));
    cr_expect(fabs(got[1].value + got[1].halfwidth - 7) < 1e-15, "%g", got[1].halfwidth);
    cr_expect(got[0].value - got[0].halfwidth <= 0, "%g", got[0].halfwidth);
}
