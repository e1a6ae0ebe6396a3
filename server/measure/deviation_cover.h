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
 * *face becomes the slot of one of the triangles over it. *work grows by nodes and
 * triangles looked at. */
double cover_bound(const struct bvh *to, const vec3 *corners, double limit, uint32_t *face, size_t *work);

#define COVER_FACES_MAX 256

/* The surface over and under a piece as heights along its normal, upwards as its corners run
 * counter-clockwise: linear between the values at the corners. */
struct cover_heights {
    double low[3], high[3];
    double scale; /* > 0 */
};

/* The triangles of `to` near the piece: all that come within `limit` of it are among them. Returns how many,
 * most + 1 when there are more than `most`. */
size_t cover_collect(const struct bvh *to, const vec3 *corners, double limit, uint32_t *slots, size_t most,
                     size_t *work);

/* Where the triangles T over the piece cover it as above, with all heights within `limit`: then at each point
 * x of the piece d <= max(high, -low), and, from the triangles near it, d >= scale max(0, low, -high).
 *
 * A plane is fitted to T's corners; the heights of T's parts over the piece stay between two planes parallel
 * to it, which gives the former. For the latter let no triangle that has a point nearer than that to the
 * piece leave the space between two such planes while it is over or beside the piece: the way from x to that
 * space is scale times the height, scale being the cosine of the planes' slope. slots must hold all triangles
 * within `limit` of the piece, as cover_collect gives them; at most COVER_FACES_MAX. T may leave out a rim of
 * the piece so narrow that the way over it widens the bounds by no more than `rim` (0 or more). False where
 * this way gives no bounds. */
bool cover_fit(const struct bvh *to, const vec3 *corners, double limit, double rim, const uint32_t *slots,
               size_t count, struct cover_heights *heights, size_t *work);

#endif
