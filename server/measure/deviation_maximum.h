/* deviation_maximum.h - the certified one-sided maximum distance by branch and bound.
 *
 * Lower bound: distances at points of the surface. Upper bound: pieces of it - nodes of its index, triangles,
 * parts of triangles - each with a bound (deviation_bound.h); a piece is dropped when its bound is within the
 * tolerance of the lower bound, else refined (Tang, Lee, Kim 2009, "Interactive Hausdorff distance
 * computation for general polygonal models"; Sacht and Jacobson 2024). What is ours: the corners of an index
 * box against one face, triangles against those of the same numbers (deviation_sweep.h); the faces mixed; a
 * piece bounded by the faces that cover it (deviation_cover.h), or cut by the prism over its nearest face
 * instead of halved.
 *
 * The search goes in rounds of fixed size, in each of which every chunk starts from the same lower bound and
 * the same luck (deviation_piece.h): the result does not depend on the number of threads. Work is counted in
 * boxes and triangles looked at, and when it exceeds the budget the search ends with the wider interval it
 * has. Lengths are in the frame. */
#ifndef MEASURE_DEVIATION_MAXIMUM_H
#define MEASURE_DEVIATION_MAXIMUM_H

#include "base/progress.h"
#include "measure/deviation_surface.h"

struct maximum_settings {
    double width;  /* wanted: upper - lower, DEVIATION_SLACK on both sides included */
    size_t budget; /* of work; 0: MAXIMUM_BUDGET of both surfaces */
    size_t threads;
    const struct progress *progress;
    double progress_from, progress_to; /* this search's part of the stage "hausdorff" */
};

struct maximum {
    double lower, upper; /* of max over `from` of the distance to `to`; rounding included */
    vec3 at;             /* where lower was found */
    uint32_t from_slot;  /* the triangle it is on */
    uint32_t to_slot;    /* the triangle nearest to it */
    size_t work;
    bool exhausted; /* upper - lower is more than was wanted, and more than rounding leaves */
};

/* The slack on both sides, and as much again for the search: what can always be had. */
#define MAXIMUM_WIDTH_MIN (4 * DEVIATION_SLACK)

/* Some seconds of one core, and the more the larger the surfaces. */
#define MAXIMUM_BUDGET(from_count, to_count) ((size_t)200000000 + 200 * ((from_count) + (to_count)))

/* ERROR_LIMIT when memory ends, ERROR_CANCELLED when the listener wants no more. */
bool maximum_find(const struct deviation_surface *from, const struct deviation_surface *to,
                  const struct maximum_settings *settings, struct maximum *maximum, struct arena scratch,
                  struct error *err);

#endif
