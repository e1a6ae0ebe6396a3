/* quality_triangle.h - the shape of one triangle, as Verdict's code has it.
 *
 * C. J. Stimpson et al., The Verdict Library Reference Manual, Sandia National Laboratories, 2007, chapter
 * "Triangular Quality Metrics". Side lengths L0..L2, area A:
 *
 *   edge_ratio           longest / shortest side
 *   aspect_ratio         longest side times perimeter / (4 sqrt 3 A)
 *   aspect_frobenius     (L0^2 + L1^2 + L2^2) / (4 sqrt 3 A)
 *   scaled_jacobian      (2 / sqrt 3) 2 A / (product of the two longest sides)
 *   shape                1 / aspect_frobenius
 *   equiangle_skew       max((max_angle - 60) / 120, (60 - min_angle) / 60)
 *   min_angle, max_angle in degrees
 *   area                 A
 *
 * Not defined (NaN) only where the formula divides by exactly 0 or the result exceeds a double. */
#ifndef MEASURE_QUALITY_TRIANGLE_H
#define MEASURE_QUALITY_TRIANGLE_H

#include "measure/quality_metric.h"

enum triangle_metric {
    TRIANGLE_EDGE_RATIO,
    TRIANGLE_ASPECT_RATIO,
    TRIANGLE_ASPECT_FROBENIUS,
    TRIANGLE_SCALED_JACOBIAN,
    TRIANGLE_SHAPE,
    TRIANGLE_EQUIANGLE_SKEW,
    TRIANGLE_MIN_ANGLE,
    TRIANGLE_MAX_ANGLE,
    TRIANGLE_AREA
};

extern const struct quality_metric triangle_metrics[TRIANGLE_METRIC_COUNT];

/* Values of one triangle in the order of triangle_metrics. guard as for quad_quality. */
void triangle_quality(const vec3 corners[3], double guard, double values[TRIANGLE_METRIC_COUNT]);

#endif
