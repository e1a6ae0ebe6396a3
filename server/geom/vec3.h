/* vec3.h - vectors and boxes in double; pure functions that cannot fail. Lengths are in the file's units. */
#ifndef GEOM_VEC3_H
#define GEOM_VEC3_H

#include <math.h>
#include <stdbool.h>

typedef struct {
    double x, y, z;
} vec3;

typedef struct {
    vec3 min, max; /* empty when min > max */
} aabb;

static inline vec3 vec3_add(vec3 a, vec3 b)
{
    return (vec3){a.x + b.x, a.y + b.y, a.z + b.z};
}
static inline vec3 vec3_sub(vec3 a, vec3 b)
{
    return (vec3){a.x - b.x, a.y - b.y, a.z - b.z};
}
static inline vec3 vec3_scale(vec3 a, double s)
{
    return (vec3){a.x * s, a.y * s, a.z * s};
}
static inline double vec3_dot(vec3 a, vec3 b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}
static inline vec3 vec3_cross(vec3 a, vec3 b)
{
    return (vec3){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
static inline double vec3_length_sq(vec3 a)
{
    return vec3_dot(a, a);
}
static inline double vec3_length(vec3 a)
{
    return sqrt(vec3_dot(a, a));
}
static inline double vec3_distance(vec3 a, vec3 b)
{
    return vec3_length(vec3_sub(a, b));
}
/* a + t (b - a) */
static inline vec3 vec3_lerp(vec3 a, vec3 b, double t)
{
    return vec3_add(a, vec3_scale(vec3_sub(b, a), t));
}

static inline aabb aabb_empty(void)
{
    return (aabb){{INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}};
}
static inline bool aabb_is_empty(aabb box)
{
    return !(box.min.x <= box.max.x);
}
static inline aabb aabb_include(aabb box, vec3 p)
{
    /* not fmin and fmax: calls, and of +0 and -0 each machine picks its own */
    box.min = (vec3){p.x < box.min.x ? p.x : box.min.x, p.y < box.min.y ? p.y : box.min.y,
                     p.z < box.min.z ? p.z : box.min.z};
    box.max = (vec3){p.x > box.max.x ? p.x : box.max.x, p.y > box.max.y ? p.y : box.max.y,
                     p.z > box.max.z ? p.z : box.max.z};
    return box;
}
/* How far apart two ranges are; negative where they overlap. */
static inline double range_gap(double a_min, double a_max, double b_min, double b_max)
{
    double below = b_min - a_max, above = a_min - b_max;
    return below > above ? below : above;
}
/* Not more than the distance of two boxes; nothing is squared, so that nothing overflows. */
static inline double aabb_gap(aabb a, aabb b)
{
    double x = range_gap(a.min.x, a.max.x, b.min.x, b.max.x),
           y = range_gap(a.min.y, a.max.y, b.min.y, b.max.y),
           z = range_gap(a.min.z, a.max.z, b.min.z, b.max.z), most = x > y ? x : y;
    return most > z ? most : z;
}
/* The squared distance of two boxes. */
static inline double aabb_gap_sq(aabb a, aabb b)
{
    double x = range_gap(a.min.x, a.max.x, b.min.x, b.max.x),
           y = range_gap(a.min.y, a.max.y, b.min.y, b.max.y),
           z = range_gap(a.min.z, a.max.z, b.min.z, b.max.z);
    return (x > 0 ? x * x : 0) + (y > 0 ? y * y : 0) + (z > 0 ? z * z : 0);
}
/* The midpoint, without overflow for coordinates near the largest double. */
static inline vec3 aabb_centre(aabb box)
{
    return vec3_add(vec3_scale(box.min, 0.5), vec3_scale(box.max, 0.5));
}
/* Length of the box diagonal; scaled by a power of two so that it neither overflows nor underflows while the
 * result is finite. Not by hypot, whose last bits differ from machine to machine. */
static inline double aabb_diagonal(aabb box)
{
    vec3 extent = vec3_sub(box.max, box.min);
    double largest = extent.x > extent.y ? extent.x : extent.y;
    int exponent;
    largest = largest > extent.z ? largest : extent.z;
    if (largest == 0)
        return 0;
    if (!isfinite(largest))
        return (double)INFINITY;
    frexp(largest, &exponent);
    /* in two steps: a subnormal's own scale is beyond the largest double */
    vec3 near_one =
        vec3_scale(vec3_scale(extent, ldexp(1, -exponent / 2)), ldexp(1, -exponent - -exponent / 2));
    return ldexp(vec3_length(near_one), exponent);
}

#endif
