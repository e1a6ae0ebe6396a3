/* deviation_side.h - pseudonormals of a surface, and on which side of it a point lies.
 *
 * Baerentzen and Aanaes 2005, "Signed distance computation using the angle weighted pseudonormal": at a point
 * inside a face the pseudonormal is the face's normal, on a side the sum of the normals that meet there, at a
 * corner their sum weighted by the angles; its sign against the way to the foot is right for any closed,
 * oriented surface that does not cut itself. Normals are of the orientation that face_side tells; where it
 * tells none, of the listing. Read only once built. */
#ifndef MEASURE_DEVIATION_SIDE_H
#define MEASURE_DEVIATION_SIDE_H

#include "geom/point_triangle.h"
#include "measure/deviation_surface.h"

struct deviation_side {
    const struct deviation_surface *surface;
    uint32_t *offsets; /* [point_count + 1] */
    uint32_t *slots;   /* the slots at each vertex, ascending */
};

/* The same for any number of threads. ERROR_LIMIT when memory ends. */
bool deviation_side_build(const struct deviation_surface *surface, size_t threads,
                          struct deviation_side *side, struct arena *keep, struct error *err);

/* Unit normal of a triangle; zero where it has no area. */
vec3 deviation_side_face_normal(const struct deviation_surface *surface, uint32_t slot);
/* Angle-weighted sum at a vertex, not normalised; zero where nothing with area meets there. */
vec3 deviation_side_vertex_normal(const struct deviation_side *side, uint32_t vertex);
/* At a foot on the triangle of a slot, not normalised. */
vec3 deviation_side_foot_normal(const struct deviation_side *side, uint32_t slot,
                                enum triangle_feature feature);

/* The nearest point of a slot's triangle. */
struct triangle_foot deviation_side_foot(const struct deviation_surface *surface, vec3 p, uint32_t slot);
/* -1 inside, else 1: the side of p, whose nearest triangle is that of the slot. */
double deviation_side_of(const struct deviation_side *side, vec3 p, uint32_t slot);

/* Degrees between two vectors of any length; NaN where one is zero. */
double deviation_side_angle_deg(vec3 a, vec3 b);

#endif
