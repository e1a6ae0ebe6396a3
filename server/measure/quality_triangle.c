/* quality_triangle.c - Verdict's metrics of one triangle. */
#include "measure/quality_triangle.h"

#include "geom/angle.h"

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

/* fmax and fmin pass over a NaN; a value that is not defined stays so. */
static double at_least(double value, double low)
{
    return value < low ? low : value;
}
static double at_most(double value, double high)
{
    return value > high ? high : value;
}

static void angles(const vec3 edge[3], double twice_area, const double length[3], double *least,
                   double *largest)
{
    const double degrees = 180 / 3.14159265358979323846;
    *least = 180;
    *largest = 0;
    for (size_t k = 0; k < 3; k++) {
        double angle = angle_of(twice_area, -vec3_dot(edge[(k + 2) % 3], edge[k])) * degrees;
        *least = smaller(*least, angle);
        *largest = larger(*largest, angle);
    }
    if (length[0] == 0 || length[1] == 0 || length[2] == 0)
        *least = *largest = NAN;
}

void triangle_quality(const vec3 corners[3], double guard, double values[TRIANGLE_METRIC_COUNT])
{
    vec3 edge[3];
    double length[3], largest = 0;
    for (size_t k = 0; k < 3; k++) {
        edge[k] = vec3_sub(vec3_scale(corners[(k + 1) % 3], guard), vec3_scale(corners[k], guard));
        largest = larger(largest, largest_component(edge[k]));
    }
    double scale = element_scale(largest);
    for (size_t k = 0; k < 3; k++) {
        edge[k] = vec3_scale(edge[k], scale);
        length[k] = safe_length(edge[k]);
    }
    /* By the two shorter sides, so that a needle's short side is not told from two long ones. */
    size_t k = length[1] > length[0] ? 1 : 0;
    k = length[2] > length[k] ? 2 : k;
    double twice_area = safe_length(vec3_cross(edge[(k + 1) % 3], edge[(k + 2) % 3]));
    double shortest = smaller(length[0], smaller(length[1], length[2]));
    double longest = larger(length[0], larger(length[1], length[2]));
    double squares = length[0] * length[0] + length[1] * length[1] + length[2] * length[2];
    double two_longest = larger(length[0] * length[1], larger(length[1] * length[2], length[2] * length[0]));
    double root3_area = 2 * sqrt(3) * twice_area; /* 4 sqrt 3 A */

    values[TRIANGLE_EDGE_RATIO] = quality_ratio(longest, shortest);
    values[TRIANGLE_ASPECT_RATIO] =
        at_least(quality_ratio(longest * (length[0] + length[1] + length[2]), root3_area), 1);
    values[TRIANGLE_ASPECT_FROBENIUS] = at_least(quality_ratio(squares, root3_area), 1);
    values[TRIANGLE_SCALED_JACOBIAN] = at_most(quality_ratio(2 / sqrt(3) * twice_area, two_longest), 1);
    values[TRIANGLE_SHAPE] = at_most(quality_ratio(root3_area, squares), 1);
    angles(edge, twice_area, length, &values[TRIANGLE_MIN_ANGLE], &values[TRIANGLE_MAX_ANGLE]);
    double skewed = larger((values[TRIANGLE_MAX_ANGLE] - 60) / 120, (60 - values[TRIANGLE_MIN_ANGLE]) / 60);
    values[TRIANGLE_EQUIANGLE_SKEW] = at_least(skewed, 0); /* NaN where the angles are */
    values[TRIANGLE_AREA] = finite_or_nan(twice_area / 2 / scale / guard / scale / guard);
}
