/* deviation_samples.h - normal angle and signed distance by area samples.
 *
 * One jittered point in each of N strata of equal area, in the order of the index; random numbers are a
 * function of seed and number, so that every run draws the same. Errors stated are those of N independent
 * draws, which stratifying only makes smaller (Cochran 1977, "Sampling Techniques", section 5.6):
 *   - means: four standard errors s / sqrt(N);
 *   - percentiles: the order statistics four binomial standard errors of the rank away, which holds for any
 *     distribution (Conover 1999, "Practical Nonparametric Statistics", section 3.2).
 * Lengths are in the frame. */
#ifndef MEASURE_DEVIATION_SAMPLES_H
#define MEASURE_DEVIATION_SAMPLES_H

#include "measure/deviation.h"
#include "measure/deviation_side.h"

#define SAMPLES_MAX ((size_t)1 << 15)
#define SAMPLES_MIN ((size_t)1 << 14)    /* of surfaces with few triangles; but for the budget */
#define SAMPLES_BUDGET ((size_t)1 << 25) /* of work, as bvh_nearest counts it: fewer samples beyond it */
#define SAMPLES_SEED 1

struct samples_settings {
    size_t threads;
    const struct progress *progress;
    double progress_from, progress_to; /* this part of the stage "statistics" */
};

/* Fills the normal angle of deviation. `side` (of `to`) and `signed_` are NULL where sides are not wanted; of
 * signed_, min and max are over the samples. All are NaN and N is 0 where `from` has no area. */
bool samples_measure(const struct deviation_surface *from, const struct deviation_surface *to,
                     const struct deviation_side *side, const struct samples_settings *settings,
                     struct one_sided_deviation *deviation, struct signed_deviation *signed_,
                     struct arena scratch, struct error *err);

#endif
