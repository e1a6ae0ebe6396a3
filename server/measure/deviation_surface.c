/* deviation_surface.c - the common frame, the index of each surface, and the triangles both have. */
#include "measure/deviation_surface.h"

#include "base/ahead.h"
#include "base/tasks.h"
#include "measure/position_key.h"

#include <float.h>
#include <math.h>
#include <string.h>

#define CHUNK ((size_t)1 << 13)
#define SMALL 4096 /* triangles that are indexed before a thread starts */
#define ROOM 4096  /* bytes that cutting quads takes besides; more where there are polygons */

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
    uint64_t bits = (uint64_t)(exponent + 1023) << 52;
    double power;

    if (exponent <= -1000 || exponent >= 1000)
        return ldexp(x, exponent);
    memcpy(&power, &bits, sizeof power);
    return x * power;
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
    return (vec3){scaled(point.x, frame->exponent) + frame->centre.x,
                  scaled(point.y, frame->exponent) + frame->centre.y,
                  scaled(point.z, frame->exponent) + frame->centre.z};
}

double deviation_frame_length(const struct deviation_frame *frame, double frame_length)
{
    return scaled(frame_length, frame->exponent);
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

    const vec3 *positions = entering->mesh->positions, centre = entering->frame->centre;
    int exponent = entering->frame->exponent;
    /* as deviation_frame_enter, with its powers of two found once where they are doubles */
    bool plain = exponent > -1000 && exponent < 1000;
    double half = exponent < 0 ? 1 : 0.5,
           factor = plain ? ldexp(1, exponent < 0 ? -exponent : 1 - exponent) : 0;

    for (size_t v = chunk * CHUNK; v < chunk_end(chunk, entering->mesh->vertex_count); v++)
        entering->points[v] =
            plain ? vec3_scale(vec3_sub(vec3_scale(positions[v], half), vec3_scale(centre, half)), factor)
                  : deviation_frame_enter(entering->frame, positions[v]);
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

struct building {
    const struct measure_input *const *inputs;
    const struct deviation_frame *frame;
    size_t threads; /* of each */
    struct deviation_surface *const *surfaces;
    struct arena *keep[2], scratch[2];
    bool ok[2];
};

static void build_one(void *context, size_t i)
{
    struct building *building = context;
    struct error err; /* what it says is found again by building one after the other */

    building->ok[i] =
        deviation_surface_build(building->inputs[i], building->frame, building->threads,
                                building->surfaces[i], building->keep[i], building->scratch[i], &err);
}

static size_t triangles_of(const struct measure_input *input)
{
    return mesh_corner_count(input->mesh) - 2 * input->mesh->face_count;
}

/* Each by half of the threads loses less to waiting than one after the other by all. */
static bool are_worth_two(const struct measure_input *const inputs[2], size_t threads)
{
    size_t a = triangles_of(inputs[0]), b = triangles_of(inputs[1]);

    return threads >= 2 && a >= SMALL && b >= SMALL && a <= 2 * b && b <= 2 * a;
}

/* False where that was too much memory; then keep is as it was. */
static bool build_at_once(struct building *building, struct arena *keep, struct arena scratch)
{
    struct arena before = *keep, first;

    if (!arena_split(keep, deviation_surface_bytes(building->inputs[0]->mesh), &first)
        || !arena_split(&scratch, bvh_scratch_bytes(triangles_of(building->inputs[0])) + ROOM,
                        &building->scratch[0])) {
        *keep = before;
        return false;
    }
    building->keep[0] = &first;
    building->keep[1] = keep;
    building->scratch[1] = scratch;
    tasks_run(2, 2, build_one, building);
    if (!building->ok[0] || !building->ok[1])
        *keep = before;
    return building->ok[0] && building->ok[1];
}

bool deviation_surface_build_two(const struct measure_input *const inputs[2],
                                 const struct deviation_frame *frame, size_t threads,
                                 struct deviation_surface *const surfaces[2], struct arena *keep,
                                 struct arena scratch, struct error *err)
{
    struct building building = {inputs, frame, (threads + 1) / 2, surfaces, {0}, {{0}}, {false, false}};

    if (are_worth_two(inputs, threads) && build_at_once(&building, keep, scratch))
        return true;
    return deviation_surface_build(inputs[0], frame, threads, surfaces[0], keep, scratch, err)
           && deviation_surface_build(inputs[1], frame, threads, surfaces[1], keep, scratch, err);
}

/* True when the corners of triangle s are, in their order, corners i, j and k of triangle t. */
static inline bool same_corners(const struct deviation_surface *a, uint32_t s,
                                const struct deviation_surface *b, uint32_t t, int i, int j, int k)
{
    return position_equal(deviation_surface_corner(a, s, 0), deviation_surface_corner(b, t, i))
           && position_equal(deviation_surface_corner(a, s, 1), deviation_surface_corner(b, t, j))
           && position_equal(deviation_surface_corner(a, s, 2), deviation_surface_corner(b, t, k));
}

static inline bool same_triangle(const struct deviation_surface *a, uint32_t s,
                                 const struct deviation_surface *b, uint32_t t)
{
    return same_corners(a, s, b, t, 0, 1, 2) || same_corners(a, s, b, t, 1, 2, 0)
           || same_corners(a, s, b, t, 2, 0, 1) || same_corners(a, s, b, t, 2, 1, 0)
           || same_corners(a, s, b, t, 1, 0, 2) || same_corners(a, s, b, t, 0, 2, 1);
}

/* A bit for each hash of a surface's points: most points that it has not are told by it. */
struct point_bits {
    uint64_t *words;
    size_t mask;
};

/* A surface in the search for shared triangles. */
struct sharer {
    struct deviation_surface *surface;
    uint64_t *hashes;             /* [point_count] */
    size_t chunk_count;           /* of slots */
    const struct point_bits *may; /* triangles with a corner that is not among these are no candidates */
};

/* The candidates of one surface in a table of open addressing, those of the other are looked up; of equal
 * copies in the table one stands for all. */
struct sharing {
    struct sharer few, many;  /* triangles */
    struct point_bits points; /* of few */
    struct sharer *kept, *asked;
    uint64_t *places; /* upper half of the hash, then the slot; FREE where there is none */
    size_t mask;
    size_t candidates; /* of many */
    size_t copies;     /* candidates that were in the table already */
};

#define FREE UINT64_MAX

static void hash_points(void *context, size_t chunk)
{
    struct sharer *sharer = context;

    for (size_t v = chunk * CHUNK; v < chunk_end(chunk, sharer->surface->point_count); v++)
        sharer->hashes[v] = position_hash(sharer->surface->points[v]);
}

/* The same for any order of the corners. */
static uint64_t hash_triangle(const struct sharer *sharer, size_t slot)
{
    const uint32_t *corner = sharer->surface->bvh.corners[slot];

    return sharer->hashes[corner[0]] + sharer->hashes[corner[1]] + sharer->hashes[corner[2]];
}

static bool is_candidate(const struct sharer *sharer, size_t slot)
{
    const uint32_t *corner = sharer->surface->bvh.corners[slot];

    for (int i = 0; sharer->may && i < 3; i++) {
        size_t bit = sharer->hashes[corner[i]] & sharer->may->mask;
        if (!(sharer->may->words[bit / 64] >> bit % 64 & 1))
            return false;
    }
    return true;
}

static void count_candidates(void *context, size_t chunk)
{
    struct sharing *sharing = context;
    size_t end = chunk_end(chunk, sharing->many.surface->bvh.triangle_count), count = 0;

    for (size_t slot = chunk * CHUNK; slot < end; slot++)
        count += is_candidate(&sharing->many, slot);
    __atomic_fetch_add(&sharing->candidates, count, __ATOMIC_RELAXED);
}

/* The entry of a triangle equal to that of slot, or FREE; *at is where it is, or would go. */
static inline uint64_t look_up(const struct sharing *sharing, const struct sharer *sharer, size_t slot,
                               size_t *at)
{
    uint64_t hash = hash_triangle(sharer, slot);

    for (*at = hash & sharing->mask;; *at = (*at + 1) & sharing->mask) {
        uint64_t entry = __atomic_load_n(&sharing->places[*at], __ATOMIC_RELAXED);
        if (entry == FREE
            || (entry >> 32 == hash >> 32
                && same_triangle(sharer->surface, (uint32_t)slot, sharing->kept->surface, (uint32_t)entry)))
            return entry;
    }
}

static void ask_ahead(const struct sharing *sharing, const struct sharer *sharer, size_t slot)
{
    if (slot + AHEAD < sharer->surface->bvh.triangle_count)
        ahead_ask(&sharing->places[hash_triangle(sharer, slot + AHEAD) & sharing->mask]);
}

/* False when a copy of it is in the table. Of several threads the first to come to a free place has it, and
 * the others look on from there: which copy is in the table may differ, and what is found does not. */
static bool keep_triangle(const struct sharing *sharing, size_t slot)
{
    uint64_t entry = hash_triangle(sharing->kept, slot) >> 32 << 32 | slot, unclaimed;
    size_t at;

    do {
        unclaimed = FREE;
        if (look_up(sharing, sharing->kept, slot, &at) != FREE)
            return false;
    } while (!__atomic_compare_exchange_n(&sharing->places[at], &unclaimed, entry, false, __ATOMIC_RELAXED,
                                          __ATOMIC_RELAXED));
    return true;
}

static void keep_candidates(void *context, size_t chunk)
{
    struct sharing *sharing = context;
    size_t end = chunk_end(chunk, sharing->kept->surface->bvh.triangle_count), copies = 0;

    for (size_t slot = chunk * CHUNK; slot < end; slot++)
        if (is_candidate(sharing->kept, slot)) {
            ask_ahead(sharing, sharing->kept, slot);
            copies += !keep_triangle(sharing, slot);
        }
    __atomic_fetch_add(&sharing->copies, copies, __ATOMIC_RELAXED);
}

static void mark_candidates(void *context, size_t chunk)
{
    struct sharing *sharing = context;
    const struct deviation_surface *asked = sharing->asked->surface, *kept = sharing->kept->surface;
    size_t next = SIZE_MAX, at; /* most often the equal of the next slot follows that of the last one */

    for (size_t slot = chunk * CHUNK; slot < chunk_end(chunk, asked->bvh.triangle_count); slot++) {
        if (sharing->copies > 0 || next >= kept->bvh.triangle_count
            || !same_triangle(asked, (uint32_t)slot, kept, (uint32_t)next)) {
            uint64_t equal =
                is_candidate(sharing->asked, slot) ? look_up(sharing, sharing->asked, slot, &at) : FREE;
            if (equal == FREE)
                continue;
            next = (uint32_t)equal;
        }
        asked->shared[slot] = true;
        /* other chunks may find a copy of it at the same time, and write the same */
        __atomic_store_n(&kept->shared[next++], true, __ATOMIC_RELAXED);
    }
}

/* What stands for the copies was marked; so are they. */
static void mark_copies(const struct sharing *sharing)
{
    const struct deviation_surface *kept = sharing->kept->surface;
    size_t at;

    for (size_t slot = 0; sharing->copies > 0 && slot < kept->bvh.triangle_count; slot++)
        if (is_candidate(sharing->kept, slot))
            kept->shared[slot] = kept->shared[(uint32_t)look_up(sharing, sharing->kept, slot, &at)];
}

static bool open_sharer(struct deviation_surface *surface, struct sharer *sharer, struct arena *arena)
{
    sharer->surface = surface;
    sharer->hashes = ARENA_NEW(arena, uint64_t, surface->point_count);
    sharer->chunk_count = chunks_of(surface->bvh.triangle_count);
    return sharer->hashes != NULL;
}

static bool open_point_bits(struct sharing *sharing, struct arena *arena)
{
    struct point_bits *points = &sharing->points;
    size_t size = 64;

    while (size < 16 * sharing->few.surface->point_count)
        size *= 2;
    points->words = ARENA_ZERO(arena, uint64_t, size / 64);
    points->mask = size - 1;
    for (size_t v = 0; points->words && v < sharing->few.surface->point_count; v++) {
        size_t bit = sharing->few.hashes[v] & points->mask;
        points->words[bit / 64] |= (uint64_t)1 << bit % 64;
    }
    sharing->many.may = points;
    return points->words != NULL;
}

/* Room for the triangles of few, or the candidates of many, whichever are fewer. */
static bool open_places(struct sharing *sharing, struct arena *arena)
{
    bool few_are_kept = sharing->few.surface->bvh.triangle_count <= sharing->candidates;
    size_t size = 4, count = few_are_kept ? sharing->few.surface->bvh.triangle_count : sharing->candidates;

    sharing->kept = few_are_kept ? &sharing->few : &sharing->many;
    sharing->asked = few_are_kept ? &sharing->many : &sharing->few;
    while (size < 2 * count)
        size *= 2;
    sharing->places = ARENA_NEW(arena, uint64_t, size);
    sharing->mask = size - 1;
    if (sharing->places)
        memset(sharing->places, 0xff, size * sizeof *sharing->places);
    return sharing->places != NULL;
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

    if (!open_sharer(few, &sharing.few, &scratch) || !open_sharer(many, &sharing.many, &scratch))
        return arena_error(err);
    tasks_run(threads, chunks_of(few->point_count), hash_points, &sharing.few);
    tasks_run(threads, chunks_of(many->point_count), hash_points, &sharing.many);
    if (!open_point_bits(&sharing, &scratch))
        return arena_error(err);
    tasks_run(threads, sharing.many.chunk_count, count_candidates, &sharing);
    if (sharing.candidates == 0)
        return true;
    if (!open_places(&sharing, &scratch))
        return arena_error(err);
    tasks_run(threads, sharing.kept->chunk_count, keep_candidates, &sharing);
    tasks_run(threads, sharing.asked->chunk_count, mark_candidates, &sharing);
    mark_copies(&sharing);
    few->shared_count = count_shared(few);
    many->shared_count = count_shared(many);
    return true;
}
