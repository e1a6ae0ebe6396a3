/* deviation_statistics.h - mean, RMS, percentiles, coverage, normal angle and signed distance by area
 * samples.
 *
 * One jittered point in each of N strata of equal area, in the order of the index; random numbers are a
 * function of seed and number, so that every run draws the same. Errors stated are those of N independent
 * draws, which stratifying only makes smaller (Cochran 1977, "Sampling Techniques", section 5.6):
 *   - mean and RMS: four standard errors s / sqrt(N) (RMS: of the mean square);
 *   - percentiles: the order statistics four binomial standard errors of the rank away, which holds for any
 *     distribution (Conover 1999, "Practical Nonparametric Statistics", section 3.2);
 *   - coverage: Wilson's interval at four standard errors (Wilson 1927, "Probable inference, the law of
 *     succession, and statistical inference").
 * Lengths are in the frame. */
#ifndef MEASURE_DEVIATION_STATISTICS_H
#define MEASURE_DEVIATION_STATISTICS_H

#include "measure/deviation.h"
#include "measure/deviation_side.h"

#define STATISTICS_SAMPLES_MAX ((size_t)1 << 17)
#define STATISTICS_BUDGET                                                                                    \
    ((size_t)200000000) /* of work, as bvh_nearest counts it: fewer samples beyond it                        \
                         */
#define STATISTICS_SEED 1

struct statistics_settings {
    double reach; /* certified upper bound of the distance */
    size_t tolerance_count;
    double tolerances[DEVIATION_TOLERANCES_MAX];
    size_t threads;
    const struct progress *progress;
    double progress_from, progress_to; /* this part of the stage "statistics" */
};

/* Fills all of deviation but max. `side` (of `to`) and `signed_` are NULL where sides are not wanted; of
 * signed_, min and max are over the samples. All are NaN, coverage is [0, 1] and N is 0 where `from` has no
 * area. */
bool statistics_measure(const struct deviation_surface *from, const struct deviation_surface *to,
                        const struct deviation_side *side, const struct statistics_settings *settings,
                        struct one_sided_deviation *deviation, struct signed_deviation *signed_,
                        struct arena scratch, struct error *err);

#endif
