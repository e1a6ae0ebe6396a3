/* deviation_heights.h - the surface over and under a piece as heights along its normal, bounded by planes.
 *
 * As deviation_cover.h tells, triangles T of the other surface may be known to be over or under every point
 * of the piece. A plane is fitted to T's corners; the heights of T's parts over the piece stay between two
 * planes parallel to it, which bounds the distance from above. From below, let no triangle that has a point
 * nearer than that to the piece leave the space between two such planes while it is over or beside the piece:
 * the way from x to that space is the height times the cosine of the planes' slope. The idea is ours. */
#ifndef MEASURE_DEVIATION_HEIGHTS_H
#define MEASURE_DEVIATION_HEIGHTS_H

#include "bvh/bvh.h"

#define HEIGHTS_FACES_MAX 256 /* a power of two */

/* Upwards as the piece's corners run counter-clockwise: linear between the values at the corners. */
struct heights {
    double low[3], high[3];
    double scale; /* > 0 */
};

/* The triangles of `to` near the piece: all that come within `limit` of it are among them. Returns how many,
 * most + 1 when there are more than `most`. */
size_t heights_collect(const struct bvh *to, const vec3 *corners, double limit, uint32_t *slots, size_t most,
                       size_t *work);

/* Where triangles T cover the piece, with all heights within `limit`: then at each point x of the piece the
 * distance d <= max(high, -low) and d >= scale max(0, low, -high). slots must hold all triangles within
 * `limit` of the piece, as heights_collect gives them; at most HEIGHTS_FACES_MAX. T may leave out a rim of
 * the piece so narrow that the way over it is no longer than `rim` (0 or more), which is tried where T does
 * not cover all. False where this way gives no bounds. */
bool heights_fit(const struct bvh *to, const vec3 *corners, double limit, double rim, const uint32_t *slots,
                 size_t count, struct heights *heights, size_t *work);

#endif
