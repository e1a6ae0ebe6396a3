/* point_triangle.h - the nearest point of a triangle or segment; pure functions that cannot fail.
 *
 * Zero area and repeated corners are fine: the triangle is then the segment or point that it is. Lengths are
 * in the units of the arguments; nothing here depends on scale, but squares must neither overflow nor vanish:
 * keep coordinates near 1. */
#ifndef GEOM_POINT_TRIANGLE_H
#define GEOM_POINT_TRIANGLE_H

#include "geom/vec3.h"

/* Where on a triangle a, b, c a point lies. */
enum triangle_feature {
    TRIANGLE_INSIDE,
    TRIANGLE_EDGE_AB,
    TRIANGLE_EDGE_BC,
    TRIANGLE_EDGE_CA,
    TRIANGLE_CORNER_A,
    TRIANGLE_CORNER_B,
    TRIANGLE_CORNER_C
};

struct triangle_foot {
    vec3 point; /* nearest point of the triangle */
    double distance_sq;
    enum triangle_feature feature;
};

/* Parameter in [0, 1] of the point of the segment from 0 to `along` that is nearest to `from`; 0 where the
 * segment has no length. */
static inline double segment_nearest(vec3 from, vec3 along)
{
    double length_sq = vec3_length_sq(along), t = vec3_dot(from, along);

    if (!(length_sq > 0) || t <= 0)
        return 0;
    return t >= length_sq ? 1 : t / length_sq;
}

/* Squared distance from p to the triangle: the least of the distances to its three sides and, where the foot
 * on its plane falls inside, to its plane.
 *
 * The foot on the plane is found by Gram-Schmidt along the side ab first and then along the height over it,
 * not from a normal: with ab the longest side the error of the distance stays near the last place of |p - a|
 * + |ab| for needles and caps too, where a cross product would lose all its figures. Callers that need this
 * order the corners with triangle_longest_first; any other order is right for well-shaped triangles. */
static inline double triangle_distance_sq(vec3 p, vec3 a, vec3 b, vec3 c)
{
    vec3 ab = vec3_sub(b, a), ac = vec3_sub(c, a), bc = vec3_sub(c, b);
    vec3 ap = vec3_sub(p, a), bp = vec3_sub(p, b);
    double ab_sq = vec3_length_sq(ab), along = vec3_dot(ap, ab);
    double best = vec3_length_sq(vec3_sub(ap, vec3_scale(ab, segment_nearest(ap, ab))));
    double ca = vec3_length_sq(vec3_sub(ap, vec3_scale(ac, segment_nearest(ap, ac))));
    double cb = vec3_length_sq(vec3_sub(bp, vec3_scale(bc, segment_nearest(bp, bc))));

    best = ca < best ? ca : best;
    best = cb < best ? cb : best;
    if (ab_sq > 0) {
        double x = along / ab_sq, shift = vec3_dot(ac, ab) / ab_sq;
        vec3 height = vec3_sub(ac, vec3_scale(ab, shift)), q = vec3_sub(ap, vec3_scale(ab, x));
        double y = vec3_dot(q, height) / vec3_length_sq(height), u = x - y * shift;

        if (y > 0 && u > 0 && u + y < 1) { /* false for NaN: no height */
            double plane = vec3_length_sq(vec3_sub(q, vec3_scale(height, y)));
            best = plane < best ? plane : best;
        }
    }
    return best;
}

/* How far to rotate (0, 1 or 2) the list a, b, c so that its first side is the longest; a tie: the first. */
static inline unsigned triangle_longest_first(vec3 a, vec3 b, vec3 c)
{
    double ab = vec3_length_sq(vec3_sub(b, a)), bc = vec3_length_sq(vec3_sub(c, b)),
           ca = vec3_length_sq(vec3_sub(a, c));

    /* no branch: nothing foretells it */
    return (unsigned)!((ab >= bc) & (ab >= ca)) * (2 - (unsigned)(bc >= ca));
}

/* The foot behind triangle_distance_sq, which gives exactly the same squared distance. Of equally near
 * features the first of: ab, ca, bc, inside. */
struct triangle_foot triangle_nearest(vec3 p, vec3 a, vec3 b, vec3 c);

/* Twice the area times the unit normal, (b - a) x (c - a), counter-clockwise positive. */
static inline vec3 triangle_normal(vec3 a, vec3 b, vec3 c)
{
    return vec3_cross(vec3_sub(b, a), vec3_sub(c, a));
}

/* Area by the sides' Gram-Schmidt height, accurate for needles when ab is the longest side. */
static inline double triangle_area(vec3 a, vec3 b, vec3 c)
{
    vec3 ab = vec3_sub(b, a), ac = vec3_sub(c, a);
    double ab_sq = vec3_length_sq(ab);

    if (!(ab_sq > 0))
        return 0;
    return 0.5 * sqrt(ab_sq) * vec3_length(vec3_sub(ac, vec3_scale(ab, vec3_dot(ac, ab) / ab_sq)));
}

#endif
