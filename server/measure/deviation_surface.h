/* deviation_surface.h - both meshes as triangles in one frame, indexed for distance queries.
 *
 * The frame: positions about the centre of the reference's box, scaled by a power of two so that both meshes
 * fit in [-1, 1]. Scaling is exact; moving rounds once, by at most 2^-53 of the frame. Everything that
 * deviation_* files compute is in this frame until deviation.c turns it back. */
#ifndef MEASURE_DEVIATION_SURFACE_H
#define MEASURE_DEVIATION_SURFACE_H

#include "bvh/bvh.h"
#include "measure/measure_input.h"
#include "mesh/triangulation.h"

/* Bound on the rounding of any distance computed in the frame: moving the corners (2^-53 a coordinate), the
 * point-triangle arithmetic (some ten roundings of lengths up to 2 sqrt 3, see point_triangle.h) and points
 * cut from pieces (one rounding a split). It is added to every certified upper bound and taken off every
 * lower. */
#define DEVIATION_SLACK 0x1p-43

struct deviation_frame {
    vec3 centre;
    int exponent; /* frame length = length * 2^-exponent */
};

struct deviation_surface {
    const struct measure_input *input;
    aabb bounds;  /* of the input, in the frame */
    vec3 *points; /* [vertex_count] in the frame */
    size_t point_count;
    struct triangulation triangulation;
    struct bvh bvh;
    bool *shared;        /* [triangle_count] by slot: the other surface has the same triangle */
    size_t shared_count; /* how many are */
    uint32_t *twins;     /* [triangle_count] by slot, the other's slot of the same triangle, or BVH_NONE; NULL
                          * where the indices hold all triangles. Else they hold those that can be nearest to one
                          * that is not shared: ask them from no other */
    double reach; /* no point of a triangle that is not shared is farther from the other surface; INFINITY
                   * where that is not known */
};

struct deviation_frame deviation_frame_of(const struct measure_input *subject,
                                          const struct measure_input *reference);
vec3 deviation_frame_enter(const struct deviation_frame *frame, vec3 position);
vec3 deviation_frame_leave(const struct deviation_frame *frame, vec3 point);
double deviation_frame_length(const struct deviation_frame *frame, double frame_length);
/* The same for bounds: where the length is subnormal and must be rounded, or overflows, it is to that side.
 */
double deviation_frame_lower(const struct deviation_frame *frame, double frame_length);
double deviation_frame_upper(const struct deviation_frame *frame, double frame_length);

/* Bytes of `keep` that deviation_surface_build takes at most. */
size_t deviation_surface_bytes(const struct mesh *mesh);

/* The mesh must have a face. ERROR_LIMIT when memory ends. */
bool deviation_surface_build(const struct measure_input *input, const struct deviation_frame *frame,
                             size_t threads, struct deviation_surface *surface, struct arena *keep,
                             struct arena scratch, struct error *err);

/* Builds both, at the same time where they are about as large and there are threads. */
bool deviation_surface_build_two(const struct measure_input *const inputs[2],
                                 const struct deviation_frame *frame, size_t threads,
                                 struct deviation_surface *const surfaces[2], struct arena *keep,
                                 struct arena scratch, struct error *err);

/* Likewise, to be measured against each other: marks what they share (deviation_shared.h), and where that is
 * most of them, as of a mended scan, indexes only what is asked for (deviation_cells.h). */
bool deviation_surface_build_pair(const struct measure_input *const inputs[2],
                                  const struct deviation_frame *frame, size_t threads,
                                  struct deviation_surface *const surfaces[2], struct arena *keep,
                                  struct arena scratch, struct error *err);

/* Face of the mesh that the triangle of a slot belongs to. */
static inline size_t deviation_surface_face(const struct deviation_surface *surface, uint32_t slot)
{
    return triangulation_face(&surface->triangulation, surface->bvh.triangles[slot]);
}

/* BVH_WIDTH slots in a row make a leaf, also of triangles that the index does not hold. */
static inline size_t deviation_surface_leaves(const struct deviation_surface *surface)
{
    return (surface->bvh.triangle_count + BVH_WIDTH - 1) / BVH_WIDTH;
}

/* Corner i of a slot's triangle, in the order of the index. */
static inline vec3 deviation_surface_corner(const struct deviation_surface *surface, uint32_t slot, int i)
{
    return surface->points[surface->bvh.corners[slot][i]];
}

#endif
