/* deviation_tally.c - moments in closed form, shares at a few values of each bound. */
#include "measure/deviation_tally.h"

#include "measure/deviation_surface.h"

#include <math.h>
#include <string.h>

#define CUTS OVERLAY_CUTS
#define ROUNDING_REL 0x1p-40 /* on the way to a bin */

void tally_open(struct tally *tally, const double *tolerances, size_t tolerance_count)
{
    const struct exact_sum none = {0, 0};

    tally->tolerances = tolerances;
    tally->tolerance_count = tolerance_count;
    tally->area = tally->low = tally->high = tally->low_sq = tally->high_sq = none;
    memset(tally->lows, 0, sizeof tally->lows);
    memset(tally->highs, 0, sizeof tally->highs);
    memset(tally->shares, 0, sizeof tally->shares);
    tally->kernels = overlay_kernels_best();
    tally->pieces.count = 0; /* what is not there yet is not touched */
}

static void put_low(struct tally *tally, double value, double area)
{
    tally->lows[overlay_bin(value * (1 - ROUNDING_REL))] += area;
}

static void put_high(struct tally *tally, double value, double area)
{
    tally->highs[overlay_bin(value * (1 + ROUNDING_REL))] += area;
}

static void add_moments(struct tally *tally, double area, const struct part_moments *moments)
{
    exact_sum_add(&tally->area, area);
    exact_sum_add(&tally->low, area * moments->low);
    exact_sum_add(&tally->high, area * moments->high);
    exact_sum_add(&tally->low_sq, area * moments->low_sq);
    exact_sum_add(&tally->high_sq, area * moments->high_sq);
}

static double value_at_cut(struct part_range range, int cut)
{
    return range.min + (range.max - range.min) * ((double)cut / CUTS);
}

/* A narrow range is not cut. */
static bool is_one_bin(struct part_range range)
{
    return overlay_bin(range.min) == overlay_bin(range.max);
}

static void put_lows(struct tally *tally, const struct part *part)
{
    struct part_range range = part_range_low(part);
    double until = 0;

    for (int cut = 1; cut <= CUTS && !is_one_bin(range); cut++) {
        double share = cut < CUTS ? part_share_low(part, value_at_cut(range, cut)) : 1;
        put_low(tally, value_at_cut(range, cut - 1), (share - until) * part->area);
        until = share;
    }
    put_low(tally, range.min, (1 - until) * part->area);
}

static void put_highs(struct tally *tally, const struct part *part)
{
    struct part_range range = part_range_high(part);
    double until = 0;

    for (int cut = 1; cut <= CUTS && !is_one_bin(range); cut++) {
        double share = cut < CUTS ? part_share_high(part, value_at_cut(range, cut)) : 1;
        put_high(tally, value_at_cut(range, cut), (share - until) * part->area);
        until = share;
    }
    put_high(tally, range.max, (1 - until) * part->area);
}

void tally_add_part(struct tally *tally, const struct part *part)
{
    struct part_range low = part_range_low(part), high = part_range_high(part);
    struct part_moments moments = part_moments(part);

    if (!(part->area > 0))
        return;
    add_moments(tally, part->area, &moments);
    put_lows(tally, part);
    put_highs(tally, part);
    for (size_t t = 0; t < tally->tolerance_count; t++) {
        double surely = tally->tolerances[t] - DEVIATION_SLACK,
               possibly = tally->tolerances[t] + DEVIATION_SLACK;
        if (surely >= 0 && high.min <= surely)
            tally->shares[t].lower += part->area * part_share_high(part, surely);
        if (low.min <= possibly)
            tally->shares[t].upper += part->area * part_share_low(part, possibly);
    }
}

static void share_pieces(struct tally *tally, double tolerance, struct interval *share)
{
    const struct overlay_pieces *pieces = &tally->pieces;
    double surely = tolerance - DEVIATION_SLACK, possibly = tolerance + DEVIATION_SLACK;

    for (size_t i = 0; i < pieces->count; i++) {
        const double heights[3] = {pieces->heights[0][i], pieces->heights[1][i], pieces->heights[2][i]};
        if (surely >= 0)
            share->lower += pieces->area[i] * part_height_share(heights, surely);
        share->upper += pieces->area[i] * part_height_share(heights, possibly / pieces->scale[i]);
    }
}

static void add_pieces(struct tally *tally)
{
    struct overlay_sums sums = {.lows = tally->lows, .highs = tally->highs};

    for (size_t t = 0; t < tally->tolerance_count; t++)
        share_pieces(tally, tally->tolerances[t], &tally->shares[t]);
    tally->kernels->sum_up(&tally->pieces, &sums);
    exact_sum_add(&tally->area, sums.area);
    exact_sum_add(&tally->low, sums.low);
    exact_sum_add(&tally->high, sums.high);
    exact_sum_add(&tally->low_sq, sums.low_sq);
    exact_sum_add(&tally->high_sq, sums.high_sq);
    tally->pieces.count = 0;
}

struct overlay_pieces *tally_pieces(struct tally *tally)
{
    if (tally->pieces.count + (size_t)OVERLAY_LANES * OVERLAY_PIECES_OF_ONE > OVERLAY_PIECES)
        add_pieces(tally);
    return &tally->pieces;
}

void tally_end(struct tally *tally)
{
    add_pieces(tally);
}

/* --- summing up --- */

static void add_tally(struct tally *all, const struct tally *one)
{
    exact_sum_add(&all->area, exact_sum_value(one->area));
    exact_sum_add(&all->low, exact_sum_value(one->low));
    exact_sum_add(&all->high, exact_sum_value(one->high));
    exact_sum_add(&all->low_sq, exact_sum_value(one->low_sq));
    exact_sum_add(&all->high_sq, exact_sum_value(one->high_sq));
    for (size_t bin = 0; bin < OVERLAY_BINS; bin++) {
        all->lows[bin] += one->lows[bin];
        all->highs[bin] += one->highs[bin];
    }
    for (size_t t = 0; t < one->tolerance_count; t++) {
        all->shares[t].lower += one->shares[t].lower;
        all->shares[t].upper += one->shares[t].upper;
    }
}

/* The first bin up to which lies that much area. */
static size_t bin_reaching(const double *areas, double target)
{
    double sum = 0;
    size_t bin = 0;

    for (; bin < OVERLAY_BINS - 1; bin++) {
        sum += areas[bin];
        if (sum >= target)
            break;
    }
    return bin;
}

static void find_percentiles(const struct tally *all, double area, double reach,
                             struct distribution *distribution)
{
    const double slack = area * (DISTRIBUTION_SLACK_REL + TALLY_SLACK_REL);

    for (size_t p = 0; p < DISTRIBUTION_PERCENTILES; p++) {
        double target = area * distribution_percentile_shares[p];
        size_t low = bin_reaching(all->lows, target - slack), high = bin_reaching(all->highs, target + slack);
        double lower = overlay_bin_start(low),
               upper = high + 1 < OVERLAY_BINS ? overlay_bin_start(high + 1) : reach;
        distribution->percentiles[p] = (struct interval){fmin(lower, reach), fmax(lower, fmin(upper, reach))};
    }
}

/* By the histograms of the percentiles: what is certainly below the bin of a limit, and what may be in it. */
static void find_classes(const struct tally *all, double area, const struct distance_classes *classes,
                         struct interval *within)
{
    const double share_slack = DISTRIBUTION_SLACK_REL + TALLY_SLACK_REL,
                 slack = classes->margin + DEVIATION_SLACK;
    double certain = 0, possible = 0;
    size_t low = 0, high = 0;

    for (size_t c = 0; c < classes->limit_count; c++) {
        for (size_t end = overlay_bin(fmax(0, classes->limits[c] - slack)); high < end; high++)
            certain += all->highs[high];
        for (size_t end = overlay_bin(classes->limits[c] + slack); low <= end; low++)
            possible += all->lows[low];
        within[c] =
            (struct interval){fmax(0, certain / area - share_slack), fmin(1, possible / area + share_slack)};
    }
}

void tally_sum_up(const struct tally *tallies, size_t count, double reach, struct distribution *distribution,
                  struct interval *shares)
{
    struct tally all;

    tally_open(&all, tallies->tolerances, tallies->tolerance_count);
    for (size_t i = 0; i < count; i++)
        add_tally(&all, &tallies[i]);
    double area = distribution->area = exact_sum_value(all.area), slack = TALLY_SLACK_REL * reach,
           slack_sq = slack * reach;
    if (!(area > 0))
        return;
    distribution->mean = (struct interval){fmax(0, exact_sum_value(all.low) / area - slack),
                                           exact_sum_value(all.high) / area + slack};
    distribution->rms = (struct interval){sqrt(fmax(0, exact_sum_value(all.low_sq) / area - slack_sq)),
                                          sqrt(exact_sum_value(all.high_sq) / area + slack_sq)};
    find_percentiles(&all, area, reach, distribution);
    if (distribution->classes)
        find_classes(&all, area, distribution->classes, distribution->within);
    for (size_t t = 0; t < all.tolerance_count; t++)
        shares[t] =
            (struct interval){fmax(0, all.shares[t].lower / area - DISTRIBUTION_SLACK_REL - TALLY_SLACK_REL),
                              fmin(1, all.shares[t].upper / area + DISTRIBUTION_SLACK_REL + TALLY_SLACK_REL)};
}
