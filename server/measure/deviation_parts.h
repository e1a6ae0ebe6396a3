/* deviation_parts.h - a whole surface as parts, each with bounds of its distance to the other surface.
 *
 * At first every triangle is one part (deviation_triangles.h); refining cuts parts in four at the middles of
 * their sides, or flat ones in two. Batches do not depend on the number of threads, and work is counted in
 * boxes and triangles looked at. Lengths are in the frame. */
#ifndef MEASURE_DEVIATION_PARTS_H
#define MEASURE_DEVIATION_PARTS_H

#include "measure/deviation_bracket.h"
#include "measure/deviation_side.h"
#include "measure/deviation_vertices.h"

#define PARTS_BATCH_MAX ((size_t)1 << 14)
#define PARTS_OF_ONE 4
/* A mean or RMS within that share of itself tells enough even where it is wider than wanted. Common practice,
 * no source. */
#define PARTS_VAGUE_SHARE 0.02

/* Where a part is that is not a whole triangle. */
struct part_place {
    vec3 corners[3];
    uint32_t slot; /* of the triangle */
};

/* The parts of one leaf of the index. */
struct leaf_parts {
    uint32_t leaf;
    struct part parts[BVH_WIDTH];
};

/* Every point of a triangle is between these; both infinite before they are known. */
struct part_bounds {
    float low, high;
};

/* Bounded closely there are parts; quickly, there are bounds of triangles instead, and the parts of a few
 * leaves. */
struct surface_parts {
    const struct deviation_surface *from, *to;
    const struct deviation_side *side; /* of `to`, or NULL */
    double reach, wanted;              /* see deviation_bracket.h */
    bool frugal;                       /* see deviation_statistics.h */
    bool all_vertices;                 /* likewise */
    size_t threads;
    size_t count, capacity;
    struct part *parts;        /* [count]; first the triangle_count triangles by slot. A triangle that was cut
                                * has no area and a scale of -1 */
    struct part_place *places; /* of the parts after those */
    const struct deviation_vertices *vertices; /* where they were asked, or NULL */
    float *middles; /* [triangle_count] likewise, or NULL: the distance at the centroid, rounded down, of each
                     * triangle where that was asked; else 0 */
    struct part_bounds *bounds; /* [triangle_count] likewise, or NULL */
    struct leaf_parts *leaves;  /* [leaf_count] bounded closely nevertheless, or on trial; ascending */
    size_t leaf_count;
    size_t trial_stride; /* of so many chunks of triangles a trial has bounded the first; 0: none */
    size_t work, budget;
};

/* What refining a surface may make of it. */
#define PARTS_MORE(triangle_count) (((size_t)1 << 18) + (triangle_count) / 2)

/* Room for all triangles and for so many parts more. ERROR_LIMIT when memory ends. */
bool surface_parts_open(struct surface_parts *parts, size_t more, struct arena *keep, struct error *err);

/* No parts, but bounds of all triangles. Likewise. */
bool surface_parts_open_bounds(struct surface_parts *parts, struct arena *keep, struct error *err);

/* The parts of a leaf that was bounded closely, where parts are not kept; else NULL. */
const struct leaf_parts *surface_parts_leaf(const struct surface_parts *parts, size_t leaf);

/* What bounding takes; near: a slot to begin at, or BVH_NONE. */
struct bracketing surface_parts_begin(const struct surface_parts *parts, uint32_t near);

/* Cuts up the parts listed, at most PARTS_BATCH_MAX, for which there must be room: PARTS_OF_ONE for each; and
 * bounds what that makes. ERROR_LIMIT. */
bool surface_parts_refine(struct surface_parts *parts, const uint32_t *list, size_t count,
                          struct arena scratch, struct error *err);

/* The triangle that a part is of, or is part of. */
uint32_t surface_parts_slot(const struct surface_parts *parts, size_t part);
vec3 surface_parts_corner(const struct surface_parts *parts, size_t part, int i);

#endif
