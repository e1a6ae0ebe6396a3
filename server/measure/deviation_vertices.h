/* deviation_vertices.h - the distance at every vertex of a surface: for first bounds of its triangles, for
 * --fields and for the signed extremes. Lengths are in the frame.
 */
#ifndef MEASURE_DEVIATION_VERTICES_H
#define MEASURE_DEVIATION_VERTICES_H

#include "measure/deviation.h"
#include "measure/deviation_side.h"

/* Per vertex of a surface, in its file's order; NaN and BVH_NONE at vertices that no face uses. */
struct deviation_vertices {
    size_t count;
    double *distances; /* or, where not exact, what they are at least */
    uint32_t *nearest; /* slots of the other surface; or of a face near it */
    bool exact;        /* false before they are found, or where there was no work left for some */
};

struct vertices_settings {
    size_t threads;
    size_t allowance; /* of work, for each vertex on average; SIZE_MAX: as much as it takes */
    const struct progress *progress;
    double progress_from, progress_to; /* this part of the stage "statistics" */
};

/* Room for them. ERROR_LIMIT when memory ends. */
bool deviation_vertices_open(const struct deviation_surface *from, struct deviation_vertices *vertices,
                             struct arena *keep, struct error *err);

/* Asks for all of them. ERROR_LIMIT, ERROR_CANCELLED. */
bool deviation_vertices_find(const struct deviation_surface *from, const struct deviation_surface *to,
                             const struct vertices_settings *settings, struct deviation_vertices *vertices,
                             struct arena scratch, struct error *err);

/* Widens min and max of signed_ (frame) by the vertices. */
void deviation_vertices_widen_signed(const struct deviation_vertices *vertices,
                                     const struct deviation_surface *subject,
                                     const struct deviation_side *side, size_t threads,
                                     struct signed_deviation *signed_);

/* The fields of --fields, in the units of the file: distance, its certified bounds, the nearest face, the
 * angle between pseudonormals in degrees, and, where the reference has sides, the signed distance. */
bool deviation_vertices_fields(const struct deviation_vertices *vertices, const struct deviation_frame *frame,
                               const struct deviation_side *subject_side,
                               const struct deviation_side *reference_side, bool has_sides,
                               struct deviation_fields *fields, struct arena *keep, struct error *err);

#endif
