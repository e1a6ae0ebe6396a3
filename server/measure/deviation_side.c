/* deviation_side.c - the triangles at each vertex, and the sums of their normals. */
#include "measure/deviation_side.h"

#include "geom/angle.h"
#include "topology/incidence.h"

#include <math.h>
#include <string.h>

#define DEGREES (180 / 3.14159265358979323846)

bool deviation_side_build(const struct deviation_surface *surface, size_t threads,
                          struct deviation_side *side, struct arena *keep, struct error *err)
{
    const struct incidence_faces triangles = {surface->point_count, surface->bvh.triangle_count,
                                              surface->bvh.corners[0], NULL};
    struct incidence incidence;

    if (!incidence_build(&triangles, threads, &incidence, keep, err))
        return false;
    *side = (struct deviation_side){surface, incidence.begin, incidence.faces};
    return true;
}

vec3 deviation_side_face_normal(const struct deviation_surface *surface, uint32_t slot)
{
    vec3 normal = triangle_normal(deviation_surface_corner(surface, slot, 0),
                                  deviation_surface_corner(surface, slot, 1),
                                  deviation_surface_corner(surface, slot, 2));
    double length = vec3_length(normal);
    const int8_t *face_side = surface->input->face_side;

    if (!(length > 0))
        return (vec3){0, 0, 0};
    if (face_side && face_side[deviation_surface_face(surface, slot)] < 0)
        length = -length;
    return vec3_scale(normal, 1 / length);
}

static double angle_rad(vec3 a, vec3 b)
{
    return angle_of(vec3_length(vec3_cross(a, b)), vec3_dot(a, b));
}

vec3 deviation_side_vertex_normal(const struct deviation_side *side, uint32_t vertex)
{
    const struct deviation_surface *surface = side->surface;
    vec3 sum = {0, 0, 0};

    for (uint32_t k = side->offsets[vertex]; k < side->offsets[vertex + 1]; k++) {
        uint32_t slot = side->slots[k];
        const uint32_t *corner = surface->bvh.corners[slot];
        int i = corner[0] == vertex ? 0 : corner[1] == vertex ? 1 : 2;
        vec3 at = deviation_surface_corner(surface, slot, i);
        double weight = angle_rad(vec3_sub(deviation_surface_corner(surface, slot, (i + 1) % 3), at),
                                  vec3_sub(deviation_surface_corner(surface, slot, (i + 2) % 3), at));
        sum = vec3_add(sum, vec3_scale(deviation_side_face_normal(surface, slot), weight));
    }
    return sum;
}

static vec3 edge_normal(const struct deviation_side *side, uint32_t a, uint32_t b)
{
    vec3 sum = {0, 0, 0};

    for (uint32_t k = side->offsets[a]; k < side->offsets[a + 1]; k++) {
        const uint32_t *corner = side->surface->bvh.corners[side->slots[k]];
        if (corner[0] == b || corner[1] == b || corner[2] == b)
            sum = vec3_add(sum, deviation_side_face_normal(side->surface, side->slots[k]));
    }
    return sum;
}

vec3 deviation_side_foot_normal(const struct deviation_side *side, uint32_t slot,
                                enum triangle_feature feature)
{
    const uint32_t *corner = side->surface->bvh.corners[slot];

    switch (feature) {
    case TRIANGLE_EDGE_AB:
        return edge_normal(side, corner[0], corner[1]);
    case TRIANGLE_EDGE_BC:
        return edge_normal(side, corner[1], corner[2]);
    case TRIANGLE_EDGE_CA:
        return edge_normal(side, corner[2], corner[0]);
    case TRIANGLE_CORNER_A:
        return deviation_side_vertex_normal(side, corner[0]);
    case TRIANGLE_CORNER_B:
        return deviation_side_vertex_normal(side, corner[1]);
    case TRIANGLE_CORNER_C:
        return deviation_side_vertex_normal(side, corner[2]);
    case TRIANGLE_INSIDE:
        break;
    }
    return deviation_side_face_normal(side->surface, slot);
}

struct triangle_foot deviation_side_foot(const struct deviation_surface *surface, vec3 p, uint32_t slot)
{
    return triangle_nearest(p, deviation_surface_corner(surface, slot, 0),
                            deviation_surface_corner(surface, slot, 1),
                            deviation_surface_corner(surface, slot, 2));
}

double deviation_side_of(const struct deviation_side *side, vec3 p, uint32_t slot)
{
    struct triangle_foot foot = deviation_side_foot(side->surface, p, slot);
    vec3 normal = deviation_side_foot_normal(side, slot, foot.feature);

    return vec3_dot(vec3_sub(p, foot.point), normal) < 0 ? -1 : 1;
}

double deviation_side_angle_deg(vec3 a, vec3 b)
{
    if (!(vec3_length_sq(a) > 0) || !(vec3_length_sq(b) > 0))
        return NAN;
    return angle_rad(a, b) * DEGREES;
}
