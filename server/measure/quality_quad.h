/* quality_quad.h - the shape of one quadrilateral, as Verdict's code has it.
 *
 * C. J. Stimpson et al., The Verdict Library Reference Manual, Sandia National Laboratories, 2007, chapter
 * "Quadrilateral Quality Metrics"; where manual and code of the library differ (warpage, area), the code.
 * Corners P0..P3, edges e0 = P1-P0, e1 = P2-P1, e2 = P3-P2, e3 = P0-P3 of lengths L0..L3; principal axes X1 =
 * e0-e2, X2 = e1-e3; corner normals N0 = e3 x e0, N1 = e0 x e1, ...; centre normal Nc = X1 x X2, nc of length
 * 1; signed corner areas a_k = nc . N_k, all 0 where Nc is.
 *
 *   edge_ratio           longest / shortest side
 *   aspect_ratio         longest side times perimeter / (4 area)
 *   max_aspect_frobenius largest over corners of (L_{k-1}^2 + L_k^2) / (2 |N_k|)
 *   skew                 |x1 . x2| of the unit principal axes
 *   taper                |X12| / min(|X1|, |X2|), X12 = (P0-P1) + (P2-P3)
 *   warpage              min((n0.n2)^3, (n1.n3)^3); 1 is planar
 *   stretch              sqrt 2 times shortest side / longer diagonal
 *   scaled_jacobian      least over corners of a_k / (L_{k-1} L_k)
 *   shape                max(0, least over corners of 2 a_k / (L_{k-1}^2 + L_k^2))
 *   equiangle_skew       max((max_angle - 90) / 90, (90 - min_angle) / 90)
 *   min_angle, max_angle in degrees; where some a_k < 0 the largest is replaced by 360 minus itself
 *   area                 |Nc| / 4: of the projection on the mean plane
 *
 * No threshold: a value is not defined (NaN) only where its own formula divides by exactly 0 or the result
 * exceeds a double. Numbers that lie in a closed range by proof are held in it against rounding. */
#ifndef MEASURE_QUALITY_QUAD_H
#define MEASURE_QUALITY_QUAD_H

#include "measure/quality_metric.h"

enum quad_metric {
    QUAD_EDGE_RATIO,
    QUAD_ASPECT_RATIO,
    QUAD_MAX_ASPECT_FROBENIUS,
    QUAD_SKEW,
    QUAD_TAPER,
    QUAD_WARPAGE,
    QUAD_STRETCH,
    QUAD_SCALED_JACOBIAN,
    QUAD_SHAPE,
    QUAD_EQUIANGLE_SKEW,
    QUAD_MIN_ANGLE,
    QUAD_MAX_ANGLE,
    QUAD_AREA
};

extern const struct quality_metric quad_metrics[QUAD_METRIC_COUNT];

/* Values of one quad in the order of quad_metrics; returns whether it is concave: some a_k < 0. Positions
 * times guard must have differences that do not overflow (struct measure_input); the area is in the file's
 * units. */
bool quad_quality(const vec3 corners[4], double guard, double values[QUAD_METRIC_COUNT]);

#endif
