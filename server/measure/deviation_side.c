/* deviation_side.c - the triangles at each vertex, and the sums of their normals. */
#include "measure/deviation_side.h"

#include "base/tasks.h"
#include "geom/angle.h"

#include <math.h>
#include <string.h>

#define DEGREES (180 / 3.14159265358979323846)

struct building {
    struct deviation_side *side;
    size_t ranges; /* of vertices: each sees all triangles, and writes what is of its own */
};

/* Counts them in offsets. */
static void count_range(void *context, size_t range)
{
    const struct building *building = context;
    const struct deviation_surface *surface = building->side->surface;
    uint32_t *offsets = building->side->offsets;
    size_t begin = surface->point_count * range / building->ranges,
           end = surface->point_count * (range + 1) / building->ranges;

    memset(&offsets[begin], 0, (end - begin) * sizeof *offsets);
    for (size_t slot = 0; slot < surface->bvh.triangle_count; slot++)
        for (int i = 0; i < 3; i++) {
            uint32_t v = surface->bvh.corners[slot][i];
            if (v >= begin && v < end)
                offsets[v]++;
        }
}

/* Offsets of the ends come in, and move back to those of the beginnings. */
static void fill_range(void *context, size_t range)
{
    const struct building *building = context;
    const struct deviation_side *side = building->side;
    const struct deviation_surface *surface = side->surface;
    size_t begin = surface->point_count * range / building->ranges,
           end = surface->point_count * (range + 1) / building->ranges;

    for (size_t slot = surface->bvh.triangle_count; slot-- > 0;)
        for (int i = 0; i < 3; i++) {
            uint32_t v = surface->bvh.corners[slot][i];
            if (v >= begin && v < end)
                side->slots[--side->offsets[v]] = (uint32_t)slot;
        }
}

bool deviation_side_build(const struct deviation_surface *surface, size_t threads,
                          struct deviation_side *side, struct arena *keep, struct error *err)
{
    struct building building = {side, threads > 1 ? threads : 1};
    uint32_t sum = 0;

    *side = (struct deviation_side){surface, ARENA_NEW(keep, uint32_t, surface->point_count + 1),
                                    ARENA_NEW(keep, uint32_t, 3 * surface->bvh.triangle_count)};
    if (!side->offsets || !side->slots)
        return arena_error(err);
    tasks_run(threads, building.ranges, count_range, &building);
    for (size_t v = 0; v < surface->point_count; v++)
        side->offsets[v] = sum += side->offsets[v];
    side->offsets[surface->point_count] = sum;
    tasks_run(threads, building.ranges, fill_range, &building);
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
