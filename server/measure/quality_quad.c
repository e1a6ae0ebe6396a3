/* quality_quad.c - Verdict's metrics of one quadrilateral. */
#include "measure/quality_quad.h"

#include "geom/angle.h"

const struct quality_metric quad_metrics[QUAD_METRIC_COUNT] = {
    [QUAD_EDGE_RATIO] = {"edge_ratio", SCALE_RATIO, true},
    [QUAD_ASPECT_RATIO] = {"aspect_ratio", SCALE_RATIO, true},
    [QUAD_MAX_ASPECT_FROBENIUS] = {"max_aspect_frobenius", SCALE_RATIO, true},
    [QUAD_SKEW] = {"skew", SCALE_SHARE, true},
    [QUAD_TAPER] = {"taper", SCALE_SHARE, true},
    [QUAD_WARPAGE] = {"warpage", SCALE_SIGNED, false},
    [QUAD_STRETCH] = {"stretch", SCALE_SHARE, false},
    [QUAD_SCALED_JACOBIAN] = {"scaled_jacobian", SCALE_SIGNED, false},
    [QUAD_SHAPE] = {"shape", SCALE_SHARE, false},
    [QUAD_EQUIANGLE_SKEW] = {"equiangle_skew", SCALE_SHARE, true},
    [QUAD_MIN_ANGLE] = {"min_angle", SCALE_ANGLE, false},
    [QUAD_MAX_ANGLE] = {"max_angle", SCALE_ANGLE, true},
    [QUAD_AREA] = {"area", SCALE_NONE, false},
};

/* What the formulas share, with the quad scaled by a power of two to a size near 1 where it is far from it.
 */
struct quad {
    double scale;
    vec3 edge[4];
    double length[4], shortest, longest;
    vec3 normal[4]; /* corner k lies between edges k - 1 and k */
    double normal_length[4];
    vec3 axis[2];
    double axis_length[2];
    double longest_diagonal;
    double area;
    double corner_area[4], least_corner_area; /* signed */
};

static struct quad quad_of(const vec3 corners[4], double guard)
{
    struct quad quad = {.scale = 1};
    double largest = 0;
    for (size_t k = 0; k < 4; k++) {
        quad.edge[k] = vec3_sub(vec3_scale(corners[(k + 1) % 4], guard), vec3_scale(corners[k], guard));
        largest = larger(largest, largest_component(quad.edge[k]));
    }
    quad.scale = element_scale(largest);
    for (size_t k = 0; k < 4; k++) {
        quad.edge[k] = vec3_scale(quad.edge[k], quad.scale);
        quad.length[k] = safe_length(quad.edge[k]);
    }
    quad.scale *= guard;
    quad.shortest = smaller(smaller(quad.length[0], quad.length[1]), smaller(quad.length[2], quad.length[3]));
    quad.longest = larger(larger(quad.length[0], quad.length[1]), larger(quad.length[2], quad.length[3]));
    quad.longest_diagonal = larger(safe_length(vec3_add(quad.edge[0], quad.edge[1])),
                                   safe_length(vec3_add(quad.edge[1], quad.edge[2])));
    quad.axis[0] = vec3_sub(quad.edge[0], quad.edge[2]);
    quad.axis[1] = vec3_sub(quad.edge[1], quad.edge[3]);
    quad.axis_length[0] = safe_length(quad.axis[0]);
    quad.axis_length[1] = safe_length(quad.axis[1]);

    vec3 centre = vec3_cross(quad.axis[0], quad.axis[1]);
    double centre_length = safe_length(centre);
    vec3 direction = centre_length > 0 ? vec3_scale(centre, 1 / centre_length) : (vec3){0, 0, 0};
    quad.area = centre_length / 4;
    for (size_t k = 0; k < 4; k++) {
        quad.normal[k] = vec3_cross(quad.edge[(k + 3) % 4], quad.edge[k]);
        quad.normal_length[k] = safe_length(quad.normal[k]);
        quad.corner_area[k] = vec3_dot(direction, quad.normal[k]);
    }
    quad.least_corner_area = smaller(smaller(quad.corner_area[0], quad.corner_area[1]),
                                     smaller(quad.corner_area[2], quad.corner_area[3]));
    return quad;
}

static double hold(double value, double low, double high)
{
    return value < low ? low : value > high ? high : value;
}

/* At least 1: the larger of two arithmetic against geometric means. */
static double max_aspect_frobenius(const struct quad *quad)
{
    double worst = 1;
    for (size_t k = 0; k < 4; k++) {
        double before = quad->length[(k + 3) % 4], after = quad->length[k];
        double corner = quality_ratio(before * before + after * after, 2 * quad->normal_length[k]);
        if (isnan(corner))
            return NAN;
        worst = larger(worst, corner);
    }
    return worst;
}

static double skew(const struct quad *quad)
{
    if (quad->axis_length[0] == 0 || quad->axis_length[1] == 0)
        return NAN;
    vec3 first = vec3_scale(quad->axis[0], 1 / quad->axis_length[0]);
    vec3 second = vec3_scale(quad->axis[1], 1 / quad->axis_length[1]);
    return hold(fabs(vec3_dot(first, second)), 0, 1);
}

static double taper(const struct quad *quad)
{
    /* X12 = (P0 - P1) + (P2 - P3) = -(e0 + e2) */
    double cross = safe_length(vec3_add(quad->edge[0], quad->edge[2]));
    return quality_ratio(cross, smaller(quad->axis_length[0], quad->axis_length[1]));
}

static double warpage(const struct quad *quad)
{
    vec3 unit[4];
    for (size_t k = 0; k < 4; k++) {
        if (quad->normal_length[k] == 0)
            return NAN;
        unit[k] = vec3_scale(quad->normal[k], 1 / quad->normal_length[k]);
    }
    double least = hold(smaller(vec3_dot(unit[0], unit[2]), vec3_dot(unit[1], unit[3])), -1, 1);
    return least * least * least;
}

/* Can exceed 1 for a concave or warped quad; an excess within rounding of a square's 1 is none. */
static double stretch(const struct quad *quad)
{
    double value = quality_ratio(sqrt(2) * quad->shortest, quad->longest_diagonal);
    return value > 1 && value < 1 + 8 * 0x1p-52 ? 1 : value;
}

static double scaled_jacobian(const struct quad *quad)
{
    double least = 1;
    for (size_t k = 0; k < 4; k++) {
        double product = quad->length[(k + 3) % 4] * quad->length[k];
        double corner = quality_ratio(quad->corner_area[k], product);
        if (isnan(corner))
            return NAN;
        least = smaller(least, corner);
    }
    return hold(least, -1, 1);
}

static double shape(const struct quad *quad)
{
    double least = 1;
    for (size_t k = 0; k < 4; k++) {
        double before = quad->length[(k + 3) % 4], after = quad->length[k];
        double corner = quality_ratio(2 * quad->corner_area[k], before * before + after * after);
        if (isnan(corner))
            return NAN;
        least = smaller(least, corner);
    }
    return hold(least, 0, 1);
}

static void angles(const struct quad *quad, double *least, double *largest)
{
    const double degrees = 180 / 3.14159265358979323846;
    *least = 360;
    *largest = 0;
    for (size_t k = 0; k < 4; k++) {
        vec3 before = quad->edge[(k + 3) % 4], after = quad->edge[k];
        double angle = angle_of(quad->normal_length[k], -vec3_dot(before, after)) * degrees;
        *least = smaller(*least, angle);
        *largest = larger(*largest, angle);
    }
    if (quad->shortest == 0)
        *least = *largest = NAN;
    else if (quad->least_corner_area < 0)
        *largest = 360 - *largest;
}

bool quad_quality(const vec3 corners[4], double guard, double values[QUAD_METRIC_COUNT])
{
    const struct quad quad = quad_of(corners, guard);
    double perimeter = quad.length[0] + quad.length[1] + quad.length[2] + quad.length[3];
    values[QUAD_EDGE_RATIO] = quality_ratio(quad.longest, quad.shortest);
    /* at least 1: the isoperimetric inequality of quadrilaterals, and longest >= perimeter / 4 */
    values[QUAD_ASPECT_RATIO] = quality_ratio(quad.longest * perimeter, 4 * quad.area);
    if (values[QUAD_ASPECT_RATIO] < 1)
        values[QUAD_ASPECT_RATIO] = 1;
    values[QUAD_MAX_ASPECT_FROBENIUS] = max_aspect_frobenius(&quad);
    values[QUAD_SKEW] = skew(&quad);
    values[QUAD_TAPER] = taper(&quad);
    values[QUAD_WARPAGE] = warpage(&quad);
    values[QUAD_STRETCH] = stretch(&quad);
    values[QUAD_SCALED_JACOBIAN] = scaled_jacobian(&quad);
    values[QUAD_SHAPE] = shape(&quad);
    angles(&quad, &values[QUAD_MIN_ANGLE], &values[QUAD_MAX_ANGLE]);
    double skewed = larger((values[QUAD_MAX_ANGLE] - 90) / 90, (90 - values[QUAD_MIN_ANGLE]) / 90);
    values[QUAD_EQUIANGLE_SKEW] = isnan(values[QUAD_MIN_ANGLE]) ? NAN : larger(0, skewed);
    values[QUAD_AREA] = finite_or_nan(quad.area / quad.scale / quad.scale);
    return quad.least_corner_area < 0;
}
