/* quality_triangle.c - Verdict's metrics of one triangle. */
#include "measure/quality_triangle.h"

#include "measure/triangle_values.h"

const struct quality_metric triangle_metrics[TRIANGLE_METRIC_COUNT] = {
    [TRIANGLE_EDGE_RATIO] = {"edge_ratio", SCALE_RATIO, true},
    [TRIANGLE_ASPECT_RATIO] = {"aspect_ratio", SCALE_RATIO, true},
    [TRIANGLE_ASPECT_FROBENIUS] = {"aspect_frobenius", SCALE_RATIO, true},
    [TRIANGLE_SCALED_JACOBIAN] = {"scaled_jacobian", SCALE_SIGNED, false},
    [TRIANGLE_SHAPE] = {"shape", SCALE_SHARE, false},
    [TRIANGLE_EQUIANGLE_SKEW] = {"equiangle_skew", SCALE_SHARE, true},
    [TRIANGLE_MIN_ANGLE] = {"min_angle", SCALE_ANGLE, false},
    [TRIANGLE_MAX_ANGLE] = {"max_angle", SCALE_ANGLE, true},
    [TRIANGLE_AREA] = {"area", SCALE_NONE, false},
};

void triangle_quality(const vec3 corners[3], double guard, double values[TRIANGLE_METRIC_COUNT])
{
    struct triangle_sides sides;
    double largest = 0;

    for (size_t k = 0; k < 3; k++) {
        sides.edge[k] = vec3_sub(vec3_scale(corners[(k + 1) % 3], guard), vec3_scale(corners[k], guard));
        largest = larger(largest, largest_component(sides.edge[k]));
    }
    double scale = element_scale(largest);
    for (size_t k = 0; k < 3; k++) {
        sides.edge[k] = vec3_scale(sides.edge[k], scale);
        sides.length[k] = safe_length(sides.edge[k]);
    }
    sides.twice_area = safe_length(cross_of_shorter(&sides));
    put_values(&sides, values);
    values[TRIANGLE_AREA] = finite_or_nan(sides.twice_area / 2 / scale / guard / scale / guard);
}
