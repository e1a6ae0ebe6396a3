/* sample_errors.c - means, shares and percentiles of samples. */
#include "measure/sample_errors.h"

#include "measure/exact_sum.h"

#include <assert.h>
#include <math.h>

#define PAIRS_OF_SLOPE 32.0 /* at least; common practice, no source */

static double value_of(double value, bool squared)
{
    return squared ? value * value : value;
}

/* The last one of an odd number makes a pair with the one before it, which is in another pair too. */
static size_t pair_count(size_t count)
{
    return (count + 1) / 2;
}

static size_t pair_begin(size_t pair, size_t count)
{
    return 2 * pair + 1 < count ? 2 * pair : count - 2;
}

/* Sums over the pairs of (x_i - x_j - slope (y_i - y_j))^2, and of the squares of these; y may be NULL. */
struct pair_sums {
    double squares, fourths;
};

static double apart_of(const double *values, size_t i, bool squared)
{
    return value_of(values[i + 1], squared) - value_of(values[i], squared);
}

static struct pair_sums sum_pairs(const double *values, const double *beside, double slope, size_t count,
                                  bool squared)
{
    struct exact_sum squares = {0, 0}, fourths = {0, 0};

    for (size_t pair = 0; pair < pair_count(count); pair++) {
        size_t i = pair_begin(pair, count);
        double apart = apart_of(values, i, squared) - (beside ? slope * apart_of(beside, i, squared) : 0);
        exact_sum_add(&squares, apart * apart);
        exact_sum_add(&fourths, apart * apart * apart * apart);
    }
    return (struct pair_sums){exact_sum_value(squares), exact_sum_value(fourths)};
}

struct sample_estimate sample_mean(const double *values, size_t count, bool squared)
{
    struct exact_sum sum = {0, 0};
    double n = (double)count;

    for (size_t i = 0; i < count; i++)
        exact_sum_add(&sum, value_of(values[i], squared));
    return (struct sample_estimate){exact_sum_value(sum) / n,
                                    SAMPLE_STANDARD_ERRORS
                                        * sqrt(sum_pairs(values, NULL, 0, count, squared).squares) / n};
}

static double sum_products(const double *values, const double *beside, size_t count, bool squared)
{
    struct exact_sum products = {0, 0};

    for (size_t pair = 0; pair < pair_count(count); pair++) {
        size_t i = pair_begin(pair, count);
        exact_sum_add(&products, apart_of(values, i, squared) * apart_of(beside, i, squared));
    }
    return exact_sum_value(products);
}

struct sample_estimate sample_mean_beside(const double *values, const double *beside, size_t count,
                                          bool squared, double beside_mean)
{
    const struct pair_sums of_beside = sum_pairs(beside, NULL, 0, count, squared);
    struct sample_estimate mean = sample_mean(values, count, squared);

    /* as many pairs, were all as far apart: few would fit any slope */
    if (!(of_beside.squares * of_beside.squares > PAIRS_OF_SLOPE * of_beside.fourths))
        return mean;
    const double slope = sum_products(values, beside, count, squared) / of_beside.squares;
    const struct pair_sums left = sum_pairs(values, beside, slope, count, squared);
    /* what is left is mostly in few pairs: so many standard errors of its own are added */
    const double halfwidth = SAMPLE_STANDARD_ERRORS
                             * sqrt(left.squares + SAMPLE_STANDARD_ERRORS * sqrt(left.fourths))
                             / (double)count;
    if (halfwidth > mean.halfwidth)
        return mean;
    mean.value += slope * (beside_mean - sample_mean(beside, count, squared).value);
    mean.halfwidth = halfwidth;
    return mean;
}

/* Values above one limit and not above the other, and the pairs that are split by them. */
struct within {
    size_t hits, splits;
};

static unsigned is_within(double value, double above, double up_to)
{
    return (unsigned)((value > above) & (value <= up_to));
}

static struct within find_within(const double *values, size_t count, double above, double up_to)
{
    struct within within = {0, 0};

    for (size_t i = 0; i + 1 < count; i += 2) {
        const unsigned one = is_within(values[i], above, up_to),
                       other = is_within(values[i + 1], above, up_to);
        within.hits += one + other;
        within.splits += one ^ other;
    }
    if (count % 2) {
        const unsigned last = is_within(values[count - 1], above, up_to);
        within.hits += last;
        within.splits += last ^ is_within(values[count - 2], above, up_to);
    }
    return within;
}

/* How far the number of hits may be off. */
static double hits_error(struct within within)
{
    const double z_sq = SAMPLE_STANDARD_ERRORS * SAMPLE_STANDARD_ERRORS, splits = (double)within.splits;

    return SAMPLE_STANDARD_ERRORS
           * sqrt(splits + 0.5 * z_sq + SAMPLE_STANDARD_ERRORS * sqrt(splits + 0.25 * z_sq));
}

/* Wilson's interval of the share of independent draws. */
static struct interval wilson(double hits, double n)
{
    const double z_sq = SAMPLE_STANDARD_ERRORS * SAMPLE_STANDARD_ERRORS, share = hits / n;
    double middle = (share + z_sq / (2 * n)) / (1 + z_sq / n),
           half =
               SAMPLE_STANDARD_ERRORS / (1 + z_sq / n) * sqrt(share * (1 - share) / n + z_sq / (4 * n * n));

    return (struct interval){middle - half, middle + half};
}

struct interval sample_share(const double *values, size_t count, double above, double up_to, double slack)
{
    struct within surely = find_within(values, count, above + slack, up_to - slack),
                  possibly = find_within(values, count, above - slack, up_to + slack);
    double n = (double)count, least = (double)surely.hits, most = (double)possibly.hits,
           lower = fmax((least - hits_error(surely)) / n, wilson(least, n).lower),
           upper = fmin((most + hits_error(possibly)) / n, wilson(most, n).upper);

    return (struct interval){fmax(0, lower), fmin(1, upper)};
}

static size_t rank_of(double share, size_t count)
{
    double rank = ceil(share * (double)count);

    return (size_t)fmax(1, fmin(rank, (double)count)) - 1;
}

/* How far the rank may be off of a value that is found at a share of the values. */
static double rank_error(const double *values, size_t count, double share, double at)
{
    double of_draws = SAMPLE_STANDARD_ERRORS * sqrt((double)count * share * (1 - share));

    return fmin(hits_error(find_within(values, count, -INFINITY, at)), of_draws) + 1;
}

bool sample_percentiles(const double *values, size_t count, const double *shares, size_t share_count,
                        double most, struct sample_estimate *estimates, struct arena scratch,
                        struct error *err)
{
    size_t ranks[SAMPLE_SHARES_MAX] = {0}, around[2 * SAMPLE_SHARES_MAX] = {0};
    double found[SAMPLE_SHARES_MAX], ends[2 * SAMPLE_SHARES_MAX], n = (double)count;
    bool open[2 * SAMPLE_SHARES_MAX]; /* beyond all values */

    assert(share_count <= SAMPLE_SHARES_MAX);
    for (size_t s = 0; s < share_count; s++)
        ranks[s] = rank_of(shares[s], count);
    if (!order_statistics(values, count, ranks, share_count, found, scratch, err))
        return false;
    for (size_t s = 0; s < share_count; s++) {
        double error = rank_error(values, count, shares[s], found[s]), low = floor(shares[s] * n - error),
               high = ceil(shares[s] * n + error);
        open[2 * s] = low < 1;
        open[2 * s + 1] = high > n;
        around[2 * s] = open[2 * s] ? 0 : (size_t)low - 1;
        around[2 * s + 1] = open[2 * s + 1] ? count - 1 : (size_t)high - 1;
    }
    if (!order_statistics(values, count, around, 2 * share_count, ends, scratch, err))
        return false;
    for (size_t s = 0; s < share_count; s++) {
        double below = open[2 * s] ? 0 : ends[2 * s], above = open[2 * s + 1] ? most : ends[2 * s + 1];
        estimates[s] = (struct sample_estimate){found[s], fmax(found[s] - below, above - found[s])};
    }
    return true;
}
