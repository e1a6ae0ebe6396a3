/* deviation_samples.h - normal angle and signed distance by area samples, and the statistics of the distance
 * where certified ones tell too little.
 *
 * One jittered point in each of N strata of equal area, in the order of the index, so that strata next to
 * each other mostly are so on the surface; random numbers are a function of seed and number, so that every
 * run draws the same. Errors are those of sample_errors.h; mean and RMS are told beside what is linear
 * between the distances of vertices, where these are found. Lengths are in the frame. */
#ifndef MEASURE_DEVIATION_SAMPLES_H
#define MEASURE_DEVIATION_SAMPLES_H

#include "measure/deviation.h"
#include "measure/deviation_side.h"
#include "measure/deviation_vertices.h"

#define SAMPLES_FEW ((size_t)1 << 14)    /* triangles of both surfaces: of fewer, */
#define SAMPLES_OF_FEW ((size_t)1 << 14) /* so many samples, as a fraction of a second does not matter */
#define SAMPLES_SHARE 32                 /* of more, triangles for each; */
#define SAMPLES_SHARE_SPARSE 64          /* where distances are not wanted, and samples are to be sparse */
#define SAMPLES_LEAST ((size_t)1 << 11)  /* of many triangles, whatever is wanted */
#define SAMPLES_FLOOR ((size_t)1 << 8)   /* whatever the budget */
#define SAMPLES_MAX ((size_t)1 << 14)
#define SAMPLES_OF_DISTANCE 4 /* times as many, and times the budget, for the distance's statistics, */
/* unless as many as for the normal angle leave no more than this of its mean, if it is spread as are those of
 * the vertices, and no coverage is asked for. Common practice, no source. */
#define SAMPLES_EVEN_SHARE 0.005
#define SAMPLES_EVEN_LEAST 0.75 /* of the middle of the certified mean must be told by the vertices */
/* Of work, as bvh_nearest counts it: fewer samples beyond it. */
#define SAMPLES_BUDGET(triangles) ((triangles) < SAMPLES_FEW ? (size_t)1 << 25 : (triangles) / 8 * 5)
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
    const struct distance_classes *classes;    /* NULL: none */
    const struct deviation_vertices *vertices; /* of `from`, found; or NULL */
};

/* Fills the normal angle of deviation; where distances are wanted, also all but max and the normal angle,
 * unless the certified mean that it comes with is the narrower one, within what is certified, and each
 * coverage that gets narrower. Of the class shares those that get narrower are marked as sampled, whatever is
 * wanted. `side` (of `to`) and `signed_` are NULL where sides are not wanted; of signed_, min and max are
 * over the samples. All are NaN and N is 0 where `from` has no area. */
bool samples_measure(const struct deviation_surface *from, const struct deviation_surface *to,
                     const struct deviation_side *side, const struct samples_settings *settings,
                     struct one_sided_deviation *deviation, struct signed_deviation *signed_,
                     struct arena scratch, struct error *err);

#endif
