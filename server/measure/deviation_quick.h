/* deviation_quick.h - first bounds of the triangles of a surface from few questions.
 *
 * One for each vertex, which three to six triangles share. Of a surface that has half as many triangles as
 * the other or fewer, one more for some centroids, since what sticks out between vertices that are near would
 * be missed. From each distance the way bounds both ends; above, so do the distances to the faces found,
 * which are convex. Where nearest faces are hard to tell, as in the middle of a ball, most of a chunk is
 * bounded by the way from one point. Bounds hold up to rounding below DEVIATION_SLACK. Lengths are in the
 * frame. */
#ifndef MEASURE_DEVIATION_QUICK_H
#define MEASURE_DEVIATION_QUICK_H

#include "base/progress.h"
#include "measure/deviation_parts.h"

/* Work of a question, on average: three to five times what one mostly takes; measured. */
#define QUICK_WORK ((size_t)128)

/* Finds vertices and sets parts->vertices. Tells the stage "statistics" from `from` to `to`. ERROR_LIMIT when
 * memory ends, ERROR_CANCELLED. */
bool quick_ask_vertices(struct surface_parts *parts, struct deviation_vertices *vertices,
                        const struct progress *progress, double from, double to, struct arena scratch,
                        struct error *err);

/* Where parts->bounds are known: asks, where that is worth it, for the centroids of triangles that may be
 * farther than `level` and notably farther than at their vertices, and sets, from keep, parts->middles. Tells
 * the stage that it is still `at`. Likewise. */
bool quick_ask_middles(struct surface_parts *parts, double level, const struct progress *progress, double at,
                       struct arena *keep, struct error *err);

/* Whether it is of use to ask a surface's triangles in the middle, or to cut them up: they are not much
 * smaller than the other's. */
bool quick_is_coarse(const struct surface_parts *parts);

/* Bounds those triangles of a leaf whose bits are set, after quick_ask_vertices, and leaves the others as
 * they are; those that are shared have their area alone. What is asked takes from *left; nothing is asked
 * once that is 0. */
#define QUICK_ALL ((1u << BVH_WIDTH) - 1)
void quick_bound_leaf(const struct surface_parts *parts, size_t leaf, unsigned wanted, struct part *bounds,
                      size_t *left);

/* The largest distance known on a triangle that is not shared, and where: it is at least so far. */
struct quick_peak {
    double distance;
    uint32_t vertex; /* BVH_NONE: the centroid */
};
struct quick_peak quick_peak(const struct surface_parts *parts, uint32_t slot);
vec3 quick_centroid(const struct surface_parts *parts, uint32_t slot);

/* No point of a triangle is farther, as the vertices tell; INFINITY where they are not exact. A part's upper
 * bound, chosen for its mean, can be higher somewhere. */
double quick_most(const struct surface_parts *parts, uint32_t slot);

/* Whether cutting a triangle up twice may leave it known narrowly enough for mean and RMS: each piece is
 * known by the way from its middle, within some eighth of the triangle's longest side. */
bool quick_is_cut_of_use(const struct surface_parts *parts, double longest, double farthest);

#endif
