/* deviation_overlay.h - bounds of the distance from what lies straight over or under a triangle.
 *
 * Let T be a triangle, n a direction and R what is within `reach` of T. Suppose that every triangle of the
 * other surface near R shares each of its sides with just one other, not folded (their normals, of one
 * orientation, less than 90 degrees apart), and that its normal is at most an angle t from n; t is below 45
 * degrees, or it is below 60, each triangle steeper than 45 has the orientation of those that it shares a
 * side with, and all near R show the same side along n. Two of them that share a side then lie on its two
 * sides in the projection along n, so that the number of triangles over a point of T is the same all over T,
 * as long as they stay within reach: what it is at one corner, or the sum of the areas that they cover
 * divided by that of T. Where it is one, every point x of T has just one height h(x) along n, linear in each
 * of the polygons that T is cut into, and |h| >= d. From the nearest point of the other surface one gets on
 * it to the point over x, straight in the projection, since no side ends it; the way rises by no more than
 * tan t times its length: hence d >= cos t |h|. T itself may be at any angle with n. The idea is ours.
 * Lengths are in the frame. */
#ifndef MEASURE_DEVIATION_OVERLAY_H
#define MEASURE_DEVIATION_OVERLAY_H

#include "measure/deviation_parts.h"
#include "measure/deviation_tally.h"

/* Adds up the bounds of all triangles of parts->from, after quick_ask_vertices: by what is over them where
 * that is known, else by the parts of leaves bounded closely, else quickly. Those of a leaf are looked at
 * together; what that does not tell is looked at alone, and cut up, as long as there is work left for it.
 * Sets parts->bounds, and distribution and shares as tally_sum_up does. Tells the stage "statistics" from
 * `from` to `to`. ERROR_LIMIT when memory ends, ERROR_CANCELLED. */
bool overlay_sum_up(const struct surface_parts *parts, const double *tolerances, size_t tolerance_count,
                    struct distribution *distribution, struct interval *shares,
                    const struct progress *progress, double from, double to, struct arena scratch,
                    struct error *err);

#endif
