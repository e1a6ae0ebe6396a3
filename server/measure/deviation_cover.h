/* deviation_cover.h - a bound for a piece that many small triangles of the other surface lie over.
 *
 * Let T be triangles of the other surface, projected along the normal of the piece P. Their boundary modulo 2
 * is the edges that an odd number of them have. Where no projected boundary edge meets P, the number of
 * triangles over a point of P is of the same parity all over P: that of the boundary edges that a ray from
 * one point of P crosses (the winding number modulo 2). Where it is odd, every point of P has a triangle of T
 * over or under it, so the distance is at most the largest height of T's corners. This holds for soups too:
 * nothing is asked of T but its listed edges. The idea is ours. */
#ifndef MEASURE_DEVIATION_COVER_H
#define MEASURE_DEVIATION_COVER_H

#include "bvh/bvh.h"

/* An upper bound, at most `limit`, of the distance from any point of the triangle `corners` to the surface
 * `to`, up to rounding far below DEVIATION_SLACK; INFINITY when this way gives none, else
 * *face, a slot near it or BVH_NONE, becomes that of one of the triangles over it. *work grows by nodes and
 * triangles looked at. */
double cover_bound(const struct bvh *to, const vec3 *corners, double limit, uint32_t *face, size_t *work);

/* The same for all triangles whose corners are among the points, which should lie near one plane with the
 * given normal (of any length but 0): the polygon is then a rectangle that holds their projections, and the
 * points' own heights add to the bound. */
double cover_bound_patch(const struct bvh *to, const vec3 *points, size_t count, vec3 normal, double limit,
                         uint32_t *face, size_t *work);

#endif
