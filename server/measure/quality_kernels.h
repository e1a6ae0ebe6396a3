/* quality_kernels.h - triangle_quality of several triangles at once, compiled once for each kind of vector
 * unit.
 *
 * All paths give the values of triangle_quality to the last bit: the same operations in the same order on
 * each lane, and no fused one (-ffp-contract=off). */
#ifndef MEASURE_QUALITY_KERNELS_H
#define MEASURE_QUALITY_KERNELS_H

#include "measure/quality_triangle.h"

#define QUALITY_LANES 8

/* Corners in the units of the file. */
struct quality_corners {
    double x[3][QUALITY_LANES], y[3][QUALITY_LANES], z[3][QUALITY_LANES]; /* [corner][lane] */
};

struct quality_kernels {
    const char *name;
    /* False, and nothing that counts in values, where the squares of some triangle's lengths may leave the
     * range of doubles, or are 0. */
    bool (*triangles)(const struct quality_corners *corners,
                      double values[TRIANGLE_METRIC_COUNT][QUALITY_LANES]);
};

extern const struct quality_kernels quality_kernels_plain;
#if defined(__x86_64__)
extern const struct quality_kernels quality_kernels_avx2, quality_kernels_avx512;
#endif

/* Path number i that this machine can run, from 0, the plainest; NULL after the last, the fastest. */
const struct quality_kernels *quality_kernels_at(size_t i);
const struct quality_kernels *quality_kernels_best(void);

#endif
