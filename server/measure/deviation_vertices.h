/* deviation_vertices.h - the distance at every vertex of the subject, for --fields and the signed extremes.
 */
#ifndef MEASURE_DEVIATION_VERTICES_H
#define MEASURE_DEVIATION_VERTICES_H

#include "measure/deviation.h"
#include "measure/deviation_side.h"

/* Per vertex of the subject, in its file's order; NaN and BVH_NONE at vertices that no face uses. Frame. */
struct deviation_vertices {
    size_t count;
    double *distances;
    uint32_t *nearest; /* slots of the reference */
};

/* progress is told of stage "statistics" from `from` to `to`. */
bool deviation_vertices_find(const struct deviation_surface *subject,
                             const struct deviation_surface *reference, size_t threads,
                             const struct progress *progress, double from, double to,
                             struct deviation_vertices *vertices, struct arena *keep, struct error *err);

/* Widens min and max of signed_ (frame) by the vertices. */
void deviation_vertices_widen_signed(const struct deviation_vertices *vertices,
                                     const struct deviation_surface *subject,
                                     const struct deviation_side *side, struct signed_deviation *signed_);

/* The fields of --fields, in the units of the file: distance, its certified bounds, the nearest face, the
 * angle between pseudonormals in degrees, and, where the reference has sides, the signed distance. */
bool deviation_vertices_fields(const struct deviation_vertices *vertices, const struct deviation_frame *frame,
                               const struct deviation_side *subject_side,
                               const struct deviation_side *reference_side, bool has_sides,
                               struct deviation_fields *fields, struct arena *keep, struct error *err);

#endif
