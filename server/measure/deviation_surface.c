/* deviation_surface.c - the common frame, the index of each surface, and the triangles both have. */
#include "measure/deviation_surface.h"

#include "base/mix64.h"

#include <math.h>
#include <string.h>

/* Half of the largest distance along an axis from the centre to the box. */
static double half_reach(aabb box, vec3 centre)
{
    double reach = 0;
    const double ends[2][3] = {{box.min.x, box.min.y, box.min.z}, {box.max.x, box.max.y, box.max.z}};
    const double from[3] = {centre.x, centre.y, centre.z};

    for (int end = 0; end < 2; end++)
        for (int axis = 0; axis < 3; axis++)
            reach = fmax(reach, fabs(ends[end][axis] * 0.5 - from[axis] * 0.5));
    return reach;
}

struct deviation_frame deviation_frame_of(const struct measure_input *subject,
                                          const struct measure_input *reference)
{
    struct deviation_frame frame = {reference->centre, 0};
    double half =
        fmax(half_reach(subject->bounds, frame.centre), half_reach(reference->bounds, frame.centre));

    if (half > 0) {
        frexp(half, &frame.exponent); /* half < 2^exponent */
        frame.exponent += 1;
    }
    return frame;
}

static double enter(double x, double centre, int exponent)
{
    return ldexp(x * 0.5 - centre * 0.5, 1 - exponent);
}

vec3 deviation_frame_enter(const struct deviation_frame *frame, vec3 position)
{
    return (vec3){enter(position.x, frame->centre.x, frame->exponent),
                  enter(position.y, frame->centre.y, frame->exponent),
                  enter(position.z, frame->centre.z, frame->exponent)};
}

vec3 deviation_frame_leave(const struct deviation_frame *frame, vec3 point)
{
    return (vec3){ldexp(point.x, frame->exponent) + frame->centre.x,
                  ldexp(point.y, frame->exponent) + frame->centre.y,
                  ldexp(point.z, frame->exponent) + frame->centre.z};
}

double deviation_frame_length(const struct deviation_frame *frame, double frame_length)
{
    return ldexp(frame_length, frame->exponent);
}

size_t deviation_surface_bytes(const struct mesh *mesh)
{
    size_t triangle_count = mesh_corner_count(mesh) - 2 * mesh->face_count;
    size_t per_triangle = 2 * sizeof(uint32_t[3]) + 2 * sizeof(uint32_t) + sizeof(bool)
                          + sizeof(struct bvh_node) / (BVH_WIDTH - 1) + 1; /* 1/8 + 1/64 + ... = 1/7 */

    return mesh->vertex_count * sizeof(vec3) + triangle_count * per_triangle
           + BVH_LEVELS_MAX * (sizeof(struct bvh_node) + 128) + 1024;
}

bool deviation_surface_build(const struct measure_input *input, const struct deviation_frame *frame,
                             struct deviation_surface *surface, struct arena *keep, struct arena scratch,
                             struct error *err)
{
    const struct mesh *mesh = input->mesh;

    memset(surface, 0, sizeof *surface);
    surface->input = input;
    surface->point_count = mesh->vertex_count;
    surface->points = ARENA_NEW(keep, vec3, mesh->vertex_count);
    if (!surface->points)
        return arena_error(err);
    for (size_t v = 0; v < mesh->vertex_count; v++)
        surface->points[v] = deviation_frame_enter(frame, mesh->positions[v]);
    if (!triangulation_build(mesh, &surface->triangulation, keep, scratch, err)
        || !bvh_build(surface->points, surface->triangulation.triangle_count, surface->triangulation.corners,
                      &surface->bvh, keep, scratch, err))
        return false;
    surface->shared = ARENA_ZERO(keep, bool, surface->bvh.triangle_count);
    return surface->shared || arena_error(err);
}

static uint64_t hash_double(double x)
{
    uint64_t bits;

    x += 0.0; /* -0 becomes +0 */
    memcpy(&bits, &x, sizeof bits);
    return bits;
}

static uint64_t hash_point(vec3 p)
{
    return mix64(hash_double(p.x) + mix64(hash_double(p.y) + mix64(hash_double(p.z))));
}

/* The same for any order of the corners. */
static uint64_t hash_triangle(const struct deviation_surface *surface, uint32_t slot)
{
    return hash_point(deviation_surface_corner(surface, slot, 0))
           + hash_point(deviation_surface_corner(surface, slot, 1))
           + hash_point(deviation_surface_corner(surface, slot, 2));
}

static bool same_point(vec3 a, vec3 b)
{
    return a.x == b.x && a.y == b.y && a.z == b.z;
}

static bool same_triangle(const struct deviation_surface *a, uint32_t s, const struct deviation_surface *b,
                          uint32_t t)
{
    for (int turn = 0; turn < 6; turn++) {
        bool same = true;
        for (int i = 0; i < 3 && same; i++) {
            int j = turn < 3 ? (i + turn) % 3 : (5 - i + turn) % 3;
            same = same_point(deviation_surface_corner(a, s, i), deviation_surface_corner(b, t, j));
        }
        if (same)
            return true;
    }
    return false;
}

static size_t count_shared(const struct deviation_surface *surface)
{
    size_t count = 0;

    for (size_t slot = 0; slot < surface->bvh.triangle_count; slot++)
        count += surface->shared[slot];
    return count;
}

/* Open addressing over b's slots; of equal copies the first one stands for all. */
struct triangle_table {
    const struct deviation_surface *of;
    uint32_t *slots;
    size_t mask;
};

/* Where the table has a triangle equal to that of slot, or the free place where it would go. */
static uint32_t *look_up(const struct triangle_table *table, const struct deviation_surface *surface,
                         uint32_t slot)
{
    size_t at = hash_triangle(surface, slot) & table->mask;

    while (table->slots[at] != BVH_NONE && !same_triangle(surface, slot, table->of, table->slots[at]))
        at = (at + 1) & table->mask;
    return &table->slots[at];
}

bool deviation_surface_find_shared(struct deviation_surface *a, struct deviation_surface *b,
                                   struct arena scratch, struct error *err)
{
    size_t size = 4;

    while (size < 2 * b->bvh.triangle_count)
        size *= 2;
    struct triangle_table table = {b, ARENA_NEW(&scratch, uint32_t, size), size - 1};
    if (!table.slots)
        return arena_error(err);
    memset(table.slots, 0xff, size * sizeof *table.slots);
    for (uint32_t slot = 0; slot < b->bvh.triangle_count; slot++) {
        uint32_t *place = look_up(&table, b, slot);
        *place = *place == BVH_NONE ? slot : *place;
    }
    for (uint32_t slot = 0; slot < a->bvh.triangle_count; slot++) {
        uint32_t equal = *look_up(&table, a, slot);
        if (equal != BVH_NONE)
            a->shared[slot] = b->shared[equal] = true;
    }
    for (uint32_t slot = 0; slot < b->bvh.triangle_count; slot++)
        b->shared[slot] = b->shared[*look_up(&table, b, slot)];
    a->shared_count = count_shared(a);
    b->shared_count = count_shared(b);
    return true;
}
