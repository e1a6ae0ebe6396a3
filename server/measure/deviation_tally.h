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
#include "measure/overlay_kernels.h"

#define TALLY_SLACK_REL 0x1p-34 /* of the area of a triangle: what pieces may leave out or have twice */

struct tally {
    const double *tolerances;
    size_t tolerance_count;
    struct exact_sum area, low, high, low_sq, high_sq;
    double lows[OVERLAY_BINS], highs[OVERLAY_BINS];   /* areas */
    struct interval shares[DEVIATION_TOLERANCES_MAX]; /* likewise */
    const struct overlay_kernels *kernels;
    struct overlay_pieces pieces; /* not yet added up */
};

void tally_open(struct tally *tally, const double *tolerances, size_t tolerance_count);

void tally_add_part(struct tally *tally, const struct part *part);

/* Room for the pieces of OVERLAY_LANES triangles: whatever is put there counts. */
struct overlay_pieces *tally_pieces(struct tally *tally);

/* Adds up the pieces that are left. */
void tally_end(struct tally *tally);

/* All tallies together, which have ended; no distance is more than reach. shares[tolerance]. Sets no more
 * than the area where that is 0. */
void tally_sum_up(const struct tally *tallies, size_t count, double reach, struct distribution *distribution,
                  struct interval *shares);

#endif
