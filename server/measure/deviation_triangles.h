/* deviation_triangles.h - the first bounds of a surface: of every triangle of it, as a part.
 *
 * Closely, by deviation_bracket.h, as far as the budget goes. Or quickly, by deviation_quick.h, and closely
 * only where those farthest from the other surface are, which is what a worst place needs. A trial tells
 * whether the first is worth it. Chunks do not depend on the number of threads; each may spend its share of
 * the budget. Lengths are in the frame. */
#ifndef MEASURE_DEVIATION_TRIANGLES_H
#define MEASURE_DEVIATION_TRIANGLES_H

#include "base/progress.h"
#include "measure/deviation_parts.h"

/* Half the mean gap, over the area, of bounds found closely: of leaves spread evenly over the surface, at
 * least a few hundred of them, or of all where there are not many more. 0 without area. Unless all are tried,
 * what is more than `enough` may be told as too little, though more than that, and the bounds are of no use
 * then; else they are left, from keep, in parts->leaves, for triangles_bound. Tells the stage "statistics"
 * that it is still `at`. ERROR_LIMIT when memory ends, ERROR_CANCELLED. */
bool triangles_try(struct surface_parts *parts, const struct progress *progress, double at, double enough,
                   double *halfwidth, struct arena *keep, struct error *err);

/* Bounds every triangle closely, those of a trial before excepted. Tells the stage "statistics" from `from`
 * to `to`. ERROR_LIMIT, ERROR_CANCELLED. */
bool triangles_bound(struct surface_parts *parts, const struct progress *progress, double from, double to,
                     struct arena scratch, struct error *err);

/* Asks for what bounding every triangle quickly takes (quick_ask_vertices), then bounds the farthest closely:
 * sets parts->vertices and parts->leaves. Likewise. */
bool triangles_bound_quickly(struct surface_parts *parts, struct deviation_vertices *vertices,
                             const struct progress *progress, double from, double to, struct arena *keep,
                             struct error *err);

#endif
