/* quality_metric.h - one quality metric over many faces: statistics, worst face, histogram.
 *
 * Values that are not defined are NaN: they are counted apart and left out. Histogram edges are fixed for
 * each scale, so that histograms of different meshes overlay. */
#ifndef MEASURE_QUALITY_METRIC_H
#define MEASURE_QUALITY_METRIC_H

#include "measure/face_geometry.h"
#include "measure/mesh_report.h"

enum quality_scale {
    SCALE_RATIO,  /* 1 to 10 in 60 geometric steps */
    SCALE_SHARE,  /* 0 to 1 by 0.02 */
    SCALE_SIGNED, /* -1 to 1 by 0.04 */
    SCALE_ANGLE,  /* 0 to 360 degrees by 5 */
    SCALE_NONE    /* no histogram */
};

struct quality_metric {
    const char *name; /* Verdict's, in snake case */
    enum quality_scale scale;
    bool worst_is_largest; /* else the smallest value is worst; for an area that is the smallest face */
};

/* Not defined where the denominator is exactly 0 or the quotient exceeds a double. */
static inline double quality_ratio(double numerator, double denominator)
{
    return denominator > 0 ? finite_or_nan(numerator / denominator) : NAN;
}

/* The report before any value is known; edges and counts of the histogram come from keep. */
bool quality_metric_begin(const struct quality_metric *metric, size_t degenerate,
                          struct metric_report *report, struct arena *keep, struct error *err);

/* values[i] belongs to face faces[i], faces ascending; degenerate ones are not among them. values are
 * reordered. The worst face is the lowest of equals. */
bool quality_metric_report(const struct quality_metric *metric, double *values, const uint32_t *faces,
                           size_t count, struct metric_report *report, struct arena scratch,
                           struct error *err);

#endif
