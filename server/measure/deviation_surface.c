/* deviation_surface.c - the common frame, the index of each surface, and the triangles both have. */
#include "measure/deviation_surface.h"

#include "base/tasks.h"
#include "measure/position_key.h"

#include <float.h>
#include <math.h>
#include <string.h>

#define CHUNK ((size_t)1 << 13)

/* The largest distance along an axis from the centre to the box; infinite beyond the largest double. */
static double reach_of(aabb box, vec3 centre)
{
    double reach = 0;
    const double ends[2][3] = {{box.min.x, box.min.y, box.min.z}, {box.max.x, box.max.y, box.max.z}};
    const double from[3] = {centre.x, centre.y, centre.z};

    for (int end = 0; end < 2; end++)
        for (int axis = 0; axis < 3; axis++)
            reach = fmax(reach, fabs(ends[end][axis] - from[axis]));
    return reach;
}

struct deviation_frame deviation_frame_of(const struct measure_input *subject,
                                          const struct measure_input *reference)
{
    struct deviation_frame frame = {reference->centre, 0};
    double reach = fmax(reach_of(subject->bounds, frame.centre), reach_of(reference->bounds, frame.centre));

    if (isfinite(reach))
        frexp(reach, &frame.exponent); /* reach < 2^exponent; 0 for 0 */
    else
        frame.exponent = DBL_MAX_EXP + 1;
    return frame;
}

/* As ldexp, which is slow, where the power of two is a double. */
static double scaled(double x, int exponent)
{
    return exponent > -1000 && exponent < 1000 ? x * ldexp(1, exponent) : ldexp(x, exponent);
}

/* Large lengths are halved first, as their difference may overflow; small ones are not, as halving would
 * round subnormals. */
static double enter(double x, double centre, int exponent)
{
    return exponent < 0 ? scaled(x - centre, -exponent) : scaled(x * 0.5 - centre * 0.5, 1 - exponent);
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

double deviation_frame_lower(const struct deviation_frame *frame, double frame_length)
{
    double length = ldexp(frame_length, frame->exponent);

    return ldexp(length, -frame->exponent) > frame_length ? nextafter(length, -INFINITY) : length;
}

double deviation_frame_upper(const struct deviation_frame *frame, double frame_length)
{
    double length = ldexp(frame_length, frame->exponent);

    return ldexp(length, -frame->exponent) < frame_length ? nextafter(length, INFINITY) : length;
}

size_t deviation_surface_bytes(const struct mesh *mesh)
{
    size_t triangle_count = mesh_corner_count(mesh) - 2 * mesh->face_count;
    size_t triangulation = triangle_count == mesh->face_count ? 0 : sizeof(uint32_t[3]) + sizeof(uint32_t);
    size_t per_triangle = triangulation + sizeof(uint32_t[3]) + sizeof(uint32_t) + sizeof(bool)
                          + sizeof(struct bvh_node) / (BVH_WIDTH - 1) + 1; /* 1/8 + 1/64 + ... = 1/7 */

    return mesh->vertex_count * sizeof(vec3) + triangle_count * per_triangle
           + BVH_LEVELS_MAX * (sizeof(struct bvh_node) + 128) + 1024;
}

struct entering {
    const struct deviation_frame *frame;
    const struct mesh *mesh;
    vec3 *points;
};

static size_t chunks_of(size_t count)
{
    return (count + CHUNK - 1) / CHUNK;
}

static size_t chunk_end(size_t chunk, size_t count)
{
    return (chunk + 1) * CHUNK < count ? (chunk + 1) * CHUNK : count;
}

static void enter_chunk(void *context, size_t chunk)
{
    struct entering *entering = context;

    for (size_t v = chunk * CHUNK; v < chunk_end(chunk, entering->mesh->vertex_count); v++)
        entering->points[v] = deviation_frame_enter(entering->frame, entering->mesh->positions[v]);
}

bool deviation_surface_build(const struct measure_input *input, const struct deviation_frame *frame,
                             size_t threads, struct deviation_surface *surface, struct arena *keep,
                             struct arena scratch, struct error *err)
{
    const struct mesh *mesh = input->mesh;

    memset(surface, 0, sizeof *surface);
    surface->input = input;
    surface->point_count = mesh->vertex_count;
    surface->points = ARENA_NEW(keep, vec3, mesh->vertex_count);
    if (!surface->points)
        return arena_error(err);
    struct entering entering = {frame, mesh, surface->points};
    tasks_run(threads, chunks_of(mesh->vertex_count), enter_chunk, &entering);
    if (!triangulation_build(mesh, &surface->triangulation, keep, scratch, err)
        || !bvh_build(surface->points, surface->triangulation.triangle_count, surface->triangulation.corners,
                      threads, &surface->bvh, keep, scratch, err))
        return false;
    surface->shared = ARENA_ZERO(keep, bool, surface->bvh.triangle_count);
    return surface->shared || arena_error(err);
}

static bool same_triangle(const struct deviation_surface *a, uint32_t s, const struct deviation_surface *b,
                          uint32_t t)
{
    for (int turn = 0; turn < 6; turn++) {
        bool same = true;
        for (int i = 0; i < 3 && same; i++) {
            int j = turn < 3 ? (i + turn) % 3 : (5 - i + turn) % 3;
            same = position_equal(deviation_surface_corner(a, s, i), deviation_surface_corner(b, t, j));
        }
        if (same)
            return true;
    }
    return false;
}

/* A surface in the search for shared triangles. */
struct sharer {
    struct deviation_surface *surface;
    uint64_t *hashes;   /* [point_count] */
    size_t chunk_count; /* of slots */
    size_t *candidates; /* [chunk_count] slots whose corners may all be points of the other surface */
};

/* The triangles of `few` in a table of open addressing; of equal copies the first stands for all. */
struct sharing {
    struct sharer few, many;
    uint64_t *points; /* a bit for each hash of few's points: most points of many are told apart by it */
    size_t point_mask;
    uint64_t *places; /* upper half of the hash, then the slot; FREE where there is none */
    size_t mask;
    size_t copies; /* triangles of few that were in the table already */
};

#define FREE UINT64_MAX

static void hash_points(void *context, size_t chunk)
{
    struct sharer *sharer = context;

    for (size_t v = chunk * CHUNK; v < chunk_end(chunk, sharer->surface->point_count); v++)
        sharer->hashes[v] = position_hash(sharer->surface->points[v]);
}

/* The same for any order of the corners. */
static uint64_t hash_triangle(const struct sharer *sharer, uint32_t slot)
{
    const uint32_t *corner = sharer->surface->bvh.corners[slot];

    return sharer->hashes[corner[0]] + sharer->hashes[corner[1]] + sharer->hashes[corner[2]];
}

static bool is_candidate(const struct sharing *sharing, uint32_t slot)
{
    const uint32_t *corner = sharing->many.surface->bvh.corners[slot];

    for (int i = 0; i < 3; i++) {
        size_t bit = sharing->many.hashes[corner[i]] & sharing->point_mask;
        if (!(sharing->points[bit / 64] >> bit % 64 & 1))
            return false;
    }
    return true;
}

static void count_candidates(void *context, size_t chunk)
{
    struct sharing *sharing = context;
    size_t end = chunk_end(chunk, sharing->many.surface->bvh.triangle_count);

    sharing->many.candidates[chunk] = 0;
    for (size_t slot = chunk * CHUNK; slot < end; slot++)
        sharing->many.candidates[chunk] += is_candidate(sharing, (uint32_t)slot);
}

/* Where the table has a triangle equal to that of slot, or the free place where it would go. */
static uint64_t *look_up(const struct sharing *sharing, const struct sharer *sharer, uint32_t slot)
{
    uint64_t hash = hash_triangle(sharer, slot);
    size_t at = hash & sharing->mask;

    while (sharing->places[at] != FREE
           && (sharing->places[at] >> 32 != hash >> 32
               || !same_triangle(sharer->surface, slot, sharing->few.surface, (uint32_t)sharing->places[at])))
        at = (at + 1) & sharing->mask;
    return &sharing->places[at];
}

static void mark_candidates(void *context, size_t chunk)
{
    struct sharing *sharing = context;
    const struct deviation_surface *few = sharing->few.surface;
    size_t end = chunk_end(chunk, sharing->many.surface->bvh.triangle_count);
    uint32_t next = UINT32_MAX; /* most often the equal of the next slot follows that of the last one */

    for (size_t slot = chunk * CHUNK; sharing->many.candidates[chunk] > 0 && slot < end; slot++) {
        if (!is_candidate(sharing, (uint32_t)slot))
            continue;
        if (sharing->copies > 0 || next >= few->bvh.triangle_count
            || !same_triangle(sharing->many.surface, (uint32_t)slot, few, next)) {
            uint64_t equal = *look_up(sharing, &sharing->many, (uint32_t)slot);
            if (equal == FREE)
                continue;
            next = (uint32_t)equal;
        }
        sharing->many.surface->shared[slot] = true;
        /* other chunks may find a copy of it at the same time, and write the same */
        __atomic_store_n(&sharing->few.surface->shared[next++], true, __ATOMIC_RELAXED);
    }
}

static bool open_sharer(struct deviation_surface *surface, struct sharer *sharer, struct arena *arena)
{
    sharer->surface = surface;
    sharer->hashes = ARENA_NEW(arena, uint64_t, surface->point_count);
    sharer->chunk_count = chunks_of(surface->bvh.triangle_count);
    sharer->candidates = ARENA_NEW(arena, size_t, sharer->chunk_count);
    return sharer->hashes && sharer->candidates;
}

static bool open_point_bits(struct sharing *sharing, struct arena *arena)
{
    size_t size = 64;

    while (size < 16 * sharing->few.surface->point_count)
        size *= 2;
    sharing->points = ARENA_ZERO(arena, uint64_t, size / 64);
    sharing->point_mask = size - 1;
    for (size_t v = 0; sharing->points && v < sharing->few.surface->point_count; v++) {
        size_t bit = sharing->few.hashes[v] & sharing->point_mask;
        sharing->points[bit / 64] |= (uint64_t)1 << bit % 64;
    }
    return sharing->points != NULL;
}

/* Puts the triangles of few into the table. */
static bool open_places(struct sharing *sharing, struct arena *arena)
{
    size_t size = 4, count = sharing->few.surface->bvh.triangle_count;

    while (size < 2 * count)
        size *= 2;
    sharing->places = ARENA_NEW(arena, uint64_t, size);
    sharing->mask = size - 1;
    if (!sharing->places)
        return false;
    memset(sharing->places, 0xff, size * sizeof *sharing->places);
    for (uint32_t slot = 0; slot < count; slot++) {
        uint64_t *place = look_up(sharing, &sharing->few, slot);
        if (*place == FREE)
            *place = hash_triangle(&sharing->few, slot) >> 32 << 32 | slot;
        else
            sharing->copies++;
    }
    return true;
}

static size_t count_shared(const struct deviation_surface *surface)
{
    size_t count = 0;

    for (size_t slot = 0; slot < surface->bvh.triangle_count; slot++)
        count += surface->shared[slot];
    return count;
}

bool deviation_surface_find_shared(struct deviation_surface *a, struct deviation_surface *b, size_t threads,
                                   struct arena scratch, struct error *err)
{
    bool a_is_few = a->bvh.triangle_count < b->bvh.triangle_count;
    struct deviation_surface *few = a_is_few ? a : b, *many = a_is_few ? b : a;
    struct sharing sharing = {0};
    size_t candidates = 0;

    if (!open_sharer(few, &sharing.few, &scratch) || !open_sharer(many, &sharing.many, &scratch))
        return arena_error(err);
    tasks_run(threads, chunks_of(few->point_count), hash_points, &sharing.few);
    tasks_run(threads, chunks_of(many->point_count), hash_points, &sharing.many);
    if (!open_point_bits(&sharing, &scratch))
        return arena_error(err);
    tasks_run(threads, sharing.many.chunk_count, count_candidates, &sharing);
    for (size_t chunk = 0; chunk < sharing.many.chunk_count; chunk++)
        candidates += sharing.many.candidates[chunk];
    if (candidates == 0)
        return true;
    if (!open_places(&sharing, &scratch))
        return arena_error(err);
    tasks_run(threads, sharing.many.chunk_count, mark_candidates, &sharing);
    for (uint32_t slot = 0; sharing.copies > 0 && slot < few->bvh.triangle_count; slot++)
        few->shared[slot] = few->shared[(uint32_t)*look_up(&sharing, &sharing.few, slot)];
    few->shared_count = count_shared(few);
    many->shared_count = count_shared(many);
    return true;
}
