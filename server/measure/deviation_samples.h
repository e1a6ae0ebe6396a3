/* deviation_samples.h - normal angle and signed distance by area samples, and the statistics of the distance
 * where certified ones tell too little.
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
#ifndef MEASURE_DEVIATION_SAMPLES_H
#define MEASURE_DEVIATION_SAMPLES_H

#include "measure/deviation.h"
#include "measure/deviation_side.h"

#define SAMPLES_MAX ((size_t)1 << 15)
#define SAMPLES_MIN ((size_t)1 << 14)   /* of surfaces with few triangles; but for the budget */
#define SAMPLES_LEAST ((size_t)1 << 10) /* whatever the budget */
#define SAMPLES_SPARSE 16               /* triangles for each, where samples are to be sparse */
#define SAMPLES_OF_DISTANCE 4 /* times as many, and times the budget, for the distance's statistics */
#define SAMPLES_BUDGET ((size_t)1 << 25) /* of work, as bvh_nearest counts it: fewer samples beyond it */
#define SAMPLES_SEED 1

struct samples_settings {
    size_t threads;
    const struct progress *progress;
    double progress_from, progress_to; /* this part of the stage "statistics" */
    bool sparse;                       /* where distances are not wanted */
    bool want_distances;
    double reach; /* certified upper bound of the distance; read where distances are wanted, as the rest */
    size_t tolerance_count;
    const double *tolerances;
    const struct distance_classes *classes; /* NULL: none */
    const uint32_t *near;                   /* [vertex of `from`] a slot near it, to begin at; or NULL */
};

/* Fills the normal angle of deviation; where distances are wanted, also all but max and the normal angle,
 * unless the certified mean that it comes with is the narrower one, and each coverage that gets narrower.
 * Of the class shares those that get narrower are marked as sampled, whatever is wanted. `side` (of `to`) and
 * `signed_` are NULL where sides are not wanted; of signed_, min and max are over the samples. All are NaN
 * and N is 0 where `from` has no area. */
bool samples_measure(const struct deviation_surface *from, const struct deviation_surface *to,
                     const struct deviation_side *side, const struct samples_settings *settings,
                     struct one_sided_deviation *deviation, struct signed_deviation *signed_,
                     struct arena scratch, struct error *err);

#endif
