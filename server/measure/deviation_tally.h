/* deviation_tally.h - mean, RMS, percentiles and coverage from bounds that are added up one by one, so that
 * nothing is kept of them.
 *
 * For percentiles each bound is cut at a few values that lie evenly between its least and its greatest; the
 * area between two of them counts in a histogram as if the distance were there the lesser, for the lower
 * bound, or the greater. What is told holds as in deviation_distribution.h. Lengths are in the frame. */
#ifndef MEASURE_DEVIATION_TALLY_H
#define MEASURE_DEVIATION_TALLY_H

#include "measure/deviation_distribution.h"
#include "measure/exact_sum.h"

#define TALLY_BIN_BITS 6 /* 64 bins to each power of two, */
#define TALLY_OCTAVES 42 /* from 2^-40: what is less counts as 0, or as that */
#define TALLY_BINS ((TALLY_OCTAVES << TALLY_BIN_BITS) + 2)
#define TALLY_SLACK_REL 0x1p-34 /* of the area of a triangle: what pieces may leave out or have twice */

struct tally {
    const double *tolerances;
    size_t tolerance_count;
    struct exact_sum area, low, high, low_sq, high_sq;
    double lows[TALLY_BINS], highs[TALLY_BINS];       /* areas */
    struct interval shares[DEVIATION_TOLERANCES_MAX]; /* likewise */
};

void tally_open(struct tally *tally, const double *tolerances, size_t tolerance_count);

void tally_add_part(struct tally *tally, const struct part *part);

/* A triangle of that area over whose points x the other surface is at a height h(x), of either sign and
 * linear between its values at the corners: scale |h| <= d <= |h|. */
void tally_add_heights(struct tally *tally, const double *heights, double scale, double area);

/* All tallies together; no distance is more than reach. shares[tolerance]. Sets no more than the area where
 * that is 0. */
void tally_sum_up(const struct tally *tallies, size_t count, double reach, struct distribution *distribution,
                  struct interval *shares);

#endif
