/* triangle_values.h - the values of a triangle from its sides, for one triangle and for lanes of them.
 *
 * No branches, so that compilers make vectors of loops over it. */
#ifndef MEASURE_TRIANGLE_VALUES_H
#define MEASURE_TRIANGLE_VALUES_H

#include "geom/angle.h"
#include "measure/quality_triangle.h"

/* Sides from corner 0, 1 and 2 to the next one, and what is told from them. */
struct triangle_sides {
    vec3 edge[3];
    double length[3];
    double twice_area;
};

static inline double least_of(const double *v)
{
    return smaller(v[0], smaller(v[1], v[2]));
}

static inline double most_of(const double *v)
{
    return larger(v[0], larger(v[1], v[2]));
}

/* fmax and fmin pass over a NaN; a value that is not defined stays so. */
static inline double at_least(double value, double low)
{
    return value < low ? low : value;
}
static inline double at_most(double value, double high)
{
    return value > high ? high : value;
}

static inline vec3 either(bool first, vec3 a, vec3 b)
{
    return (vec3){first ? a.x : b.x, first ? a.y : b.y, first ? a.z : b.z};
}

/* Twice the vector area, by the two shorter sides, so that a needle's short side is not told from two long
 * ones. */
static inline vec3 cross_of_shorter(const struct triangle_sides *sides)
{
    const double *length = sides->length;
    const vec3 *edge = sides->edge;
    bool second = length[1] > length[0], third = length[2] > larger(length[0], length[1]);
    vec3 a = either(third, edge[0], either(second, edge[2], edge[1])),
         b = either(third, edge[1], either(second, edge[0], edge[2]));

    return vec3_cross(a, b);
}

/* Least and largest angle in degrees: an angle falls as the product of its sides rises. */
static inline void put_angles(const struct triangle_sides *sides, double *values)
{
    const double degrees = 180 / 3.14159265358979323846;
    double along[3];

    for (int k = 0; k < 3; k++)
        along[k] = -vec3_dot(sides->edge[(k + 2) % 3], sides->edge[k]);
    bool defined = (sides->length[0] != 0) & (sides->length[1] != 0) & (sides->length[2] != 0);
    double least = angle_of(sides->twice_area, most_of(along)) * degrees,
           largest = angle_of(sides->twice_area, least_of(along)) * degrees;
    values[TRIANGLE_MIN_ANGLE] = defined ? least : NAN;
    values[TRIANGLE_MAX_ANGLE] = defined ? largest : NAN;
}

/* All but the area. */
static inline void put_values(const struct triangle_sides *sides, double *values)
{
    const double *length = sides->length;
    double shortest = least_of(length), longest = most_of(length),
           squares = length[0] * length[0] + length[1] * length[1] + length[2] * length[2],
           products[3] = {length[0] * length[1], length[1] * length[2], length[2] * length[0]},
           root3_area = 2 * sqrt(3) * sides->twice_area; /* 4 sqrt 3 A */

    values[TRIANGLE_EDGE_RATIO] = quality_ratio(longest, shortest);
    values[TRIANGLE_ASPECT_RATIO] =
        at_least(quality_ratio(longest * (length[0] + length[1] + length[2]), root3_area), 1);
    values[TRIANGLE_ASPECT_FROBENIUS] = at_least(quality_ratio(squares, root3_area), 1);
    values[TRIANGLE_SCALED_JACOBIAN] =
        at_most(quality_ratio(2 / sqrt(3) * sides->twice_area, most_of(products)), 1);
    values[TRIANGLE_SHAPE] = at_most(quality_ratio(root3_area, squares), 1);
    put_angles(sides, values);
    double skewed = larger((values[TRIANGLE_MAX_ANGLE] - 60) / 120, (60 - values[TRIANGLE_MIN_ANGLE]) / 60);
    values[TRIANGLE_EQUIANGLE_SKEW] = at_least(skewed, 0); /* NaN where the angles are */
}

#endif
