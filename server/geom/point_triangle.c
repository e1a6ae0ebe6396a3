/* point_triangle.c - the nearest point of a triangle with the feature it lies on. */
#include "geom/point_triangle.h"

/* Takes the side from `start` along `side` into foot where it is nearer. */
static void try_side(vec3 p, vec3 start, vec3 side, enum triangle_feature edge,
                     enum triangle_feature at_start, enum triangle_feature at_end, struct triangle_foot *foot)
{
    vec3 from = vec3_sub(p, start);
    double t = segment_nearest(from, side);
    double distance_sq = vec3_length_sq(vec3_sub(from, vec3_scale(side, t)));

    if (!(distance_sq < foot->distance_sq))
        return;
    foot->distance_sq = distance_sq;
    foot->point = vec3_add(start, vec3_scale(side, t));
    foot->feature = t <= 0 ? at_start : t >= 1 ? at_end : edge;
}

struct triangle_foot triangle_nearest(vec3 p, vec3 a, vec3 b, vec3 c)
{
    struct triangle_foot foot = {a, INFINITY, TRIANGLE_CORNER_A};
    vec3 ab = vec3_sub(b, a), ac = vec3_sub(c, a), ap = vec3_sub(p, a);
    double ab_sq = vec3_length_sq(ab);

    try_side(p, a, ab, TRIANGLE_EDGE_AB, TRIANGLE_CORNER_A, TRIANGLE_CORNER_B, &foot);
    try_side(p, a, ac, TRIANGLE_EDGE_CA, TRIANGLE_CORNER_A, TRIANGLE_CORNER_C, &foot);
    try_side(p, b, vec3_sub(c, b), TRIANGLE_EDGE_BC, TRIANGLE_CORNER_B, TRIANGLE_CORNER_C, &foot);
    if (ab_sq > 0) {
        double x = vec3_dot(ap, ab) / ab_sq, shift = vec3_dot(ac, ab) / ab_sq;
        vec3 height = vec3_sub(ac, vec3_scale(ab, shift)), q = vec3_sub(ap, vec3_scale(ab, x));
        double y = vec3_dot(q, height) / vec3_length_sq(height), u = x - y * shift;

        if (y > 0 && u > 0 && u + y < 1) {
            double plane = vec3_length_sq(vec3_sub(q, vec3_scale(height, y)));
            if (plane < foot.distance_sq) {
                foot.distance_sq = plane;
                foot.point = vec3_add(a, vec3_add(vec3_scale(ab, x), vec3_scale(height, y)));
                foot.feature = TRIANGLE_INSIDE;
            }
        }
    }
    return foot;
}
