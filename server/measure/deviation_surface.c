/* deviation_surface.c - the common frame, and the index of each surface, or of what of it is asked for. */
#include "measure/deviation_surface.h"

#include "base/tasks.h"
#include "measure/deviation_cells.h"
#include "measure/deviation_shared.h"

#include <float.h>
#include <math.h>
#include <string.h>

#define CHUNK ((size_t)1 << 13)
#define SMALL 4096 /* triangles that are indexed before a thread starts */
#define ROOM 4096  /* bytes that cutting quads takes besides; more where there are polygons */
#define MARK_BYTES                                                                                           \
    (sizeof(uint32_t) + sizeof(bool)) /* of each triangle: its twin, and whether it is held                  \
                                       */
#define OWN_SHARE 4                   /* one such part of all triangles may be in one surface alone, */
#define HELD_SHARE                                                                                           \
    2 /* and one such part of each surface held, where an index of a part is of use; what that               \
       * saves has room for the twins */

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

static void enter_chunk(void *context, size_t chunk)
{
    struct entering *entering = context;

    const vec3 *positions = entering->mesh->positions, centre = entering->frame->centre;
    int exponent = entering->frame->exponent;
    /* as deviation_frame_enter, with its powers of two found once where they are doubles */
    bool plain = exponent > -1000 && exponent < 1000;
    double half = exponent < 0 ? 1 : 0.5,
           factor = plain ? ldexp(1, exponent < 0 ? -exponent : 1 - exponent) : 0;

    for (size_t v = chunk * CHUNK; v < tasks_chunk_end(chunk, CHUNK, entering->mesh->vertex_count); v++)
        entering->points[v] =
            plain ? vec3_scale(vec3_sub(vec3_scale(positions[v], half), vec3_scale(centre, half)), factor)
                  : deviation_frame_enter(entering->frame, positions[v]);
}

static bool open_surface(const struct measure_input *input, const struct deviation_frame *frame,
                         size_t threads, struct deviation_surface *surface, struct arena *keep,
                         struct arena scratch, struct error *err)
{
    const struct mesh *mesh = input->mesh;

    memset(surface, 0, sizeof *surface);
    surface->input = input;
    surface->bounds = (aabb){deviation_frame_enter(frame, input->bounds.min),
                             deviation_frame_enter(frame, input->bounds.max)};
    surface->reach = INFINITY;
    surface->point_count = mesh->vertex_count;
    surface->points = ARENA_NEW(keep, vec3, mesh->vertex_count);
    if (!surface->points)
        return arena_error(err);
    struct entering entering = {frame, mesh, surface->points};
    tasks_run(threads, tasks_chunks(mesh->vertex_count, CHUNK), enter_chunk, &entering);
    return triangulation_build(mesh, &surface->triangulation, keep, scratch, err);
}

/* marked: NULL, or the triangles that the index is to hold. */
static bool index_surface(struct deviation_surface *surface, const bool *marked, size_t threads,
                          struct arena *keep, struct arena scratch, struct error *err)
{
    if (!bvh_build_part(surface->points, surface->triangulation.triangle_count,
                        surface->triangulation.corners, marked, surface->bounds, threads, &surface->bvh, keep,
                        scratch, err))
        return false;
    surface->shared = ARENA_ZERO(keep, bool, surface->bvh.triangle_count);
    return surface->shared || arena_error(err);
}

bool deviation_surface_build(const struct measure_input *input, const struct deviation_frame *frame,
                             size_t threads, struct deviation_surface *surface, struct arena *keep,
                             struct arena scratch, struct error *err)
{
    return open_surface(input, frame, threads, surface, keep, scratch, err)
           && index_surface(surface, NULL, threads, keep, scratch, err);
}

/* Both surfaces, step by step: at the same time where that is of use and there is memory. */
struct building {
    const struct measure_input *const *inputs;
    const struct deviation_frame *frame;
    bool at_once;
    size_t threads, threads_of_one;
    struct deviation_surface *const *surfaces;
    const bool *marked[2]; /* see index_surface */
    struct arena first, *keep[2], scratch[2];
    bool ok[2];
    struct error err[2];
};

static void open_one(void *context, size_t i)
{
    struct building *building = context;

    building->ok[i] =
        open_surface(building->inputs[i], building->frame, building->threads_of_one, building->surfaces[i],
                     building->keep[i], building->scratch[i], &building->err[i]);
}

static void index_one(void *context, size_t i)
{
    struct building *building = context;

    building->ok[i] = index_surface(building->surfaces[i], building->marked[i], building->threads_of_one,
                                    building->keep[i], building->scratch[i], &building->err[i]);
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

static void begin_both(struct building *building, struct arena *keep)
{
    building->keep[0] = building->keep[1] = keep;
    building->at_once =
        are_worth_two(building->inputs, building->threads)
        && arena_split(keep, deviation_surface_bytes(building->inputs[0]->mesh), &building->first);
    if (building->at_once)
        building->keep[0] = &building->first;
}

/* False where that was too much memory; then nothing has been done. */
static bool step_at_once(struct building *building, void (*step)(void *context, size_t i),
                         struct arena scratch)
{
    const struct arena before[2] = {*building->keep[0], *building->keep[1]};

    if (!arena_split(&scratch, bvh_scratch_bytes(triangles_of(building->inputs[0])) + ROOM,
                     &building->scratch[0]))
        return false;
    building->scratch[1] = scratch;
    building->threads_of_one = (building->threads + 1) / 2;
    tasks_run(2, 2, step, building);
    for (int i = 0; i < 2 && !(building->ok[0] && building->ok[1]); i++)
        *building->keep[i] = before[i];
    return building->ok[0] && building->ok[1];
}

static bool step_both(struct building *building, void (*step)(void *context, size_t i), struct arena scratch,
                      struct error *err)
{
    if (building->at_once && step_at_once(building, step, scratch))
        return true;
    building->threads_of_one = building->threads;
    for (size_t i = 0; i < 2; i++) {
        building->scratch[i] = scratch;
        step(building, i);
        if (!building->ok[i]) {
            *err = building->err[i];
            return false;
        }
    }
    return true;
}

bool deviation_surface_build_two(const struct measure_input *const inputs[2],
                                 const struct deviation_frame *frame, size_t threads,
                                 struct deviation_surface *const surfaces[2], struct arena *keep,
                                 struct arena scratch, struct error *err)
{
    struct building building = {.inputs = inputs, .frame = frame, .threads = threads, .surfaces = surfaces};

    begin_both(&building, keep);
    return step_both(&building, open_one, scratch, err) && step_both(&building, index_one, scratch, err);
}

/* So few that an index of what is near them costs less than one of all. */
static bool are_mostly_shared(const struct shared_triangles *shared, size_t triangle_count)
{
    return shared->unique
           && triangle_count - shared->counts[0] - shared->counts[1] <= triangle_count / OWN_SHARE;
}

/* What is told of each surface, by slot, of the triangles that both have. */
struct telling {
    struct deviation_surface *const *surfaces;
    const struct shared_triangles *shared;
    uint32_t *slots[2]; /* [triangle_count] of each triangle, as listed; NULL: twins are not told */
};

static void find_slots(void *context, size_t i)
{
    const struct telling *telling = context;
    const struct bvh *bvh = &telling->surfaces[i]->bvh;

    for (size_t slot = 0; slot < bvh->triangle_count; slot++)
        telling->slots[i][bvh->triangles[slot]] = (uint32_t)slot;
}

static void tell_one(void *context, size_t i)
{
    const struct telling *telling = context;
    struct deviation_surface *surface = telling->surfaces[i];
    const uint32_t *twins = telling->shared->twins[i], *slots = telling->slots[1 - i];

    surface->shared_count = telling->shared->counts[i];
    for (size_t slot = 0; surface->shared_count > 0 && slot < surface->bvh.triangle_count; slot++)
        surface->shared[slot] = twins[surface->bvh.triangles[slot]] != BVH_NONE;
    for (size_t slot = 0; slots && slot < surface->bvh.triangle_count; slot++) {
        uint32_t twin = twins[surface->bvh.triangles[slot]];
        surface->twins[slot] = twin == BVH_NONE ? BVH_NONE : slots[twin];
    }
}

static bool tell_shared(const struct building *building, const struct shared_triangles *shared, bool is_part,
                        struct arena scratch)
{
    struct telling telling = {building->surfaces, shared, {NULL, NULL}};

    for (int i = 0; i < 2 && is_part; i++) {
        size_t count = building->surfaces[i]->bvh.triangle_count;
        telling.slots[i] = ARENA_NEW(&scratch, uint32_t, count);
        building->surfaces[i]->twins = ARENA_NEW(building->keep[i], uint32_t, count);
        if (!telling.slots[i] || !building->surfaces[i]->twins)
            return false;
    }
    if (is_part)
        tasks_run(building->threads, 2, find_slots, &telling);
    tasks_run(building->threads, 2, tell_one, &telling);
    return true;
}

/* Which triangles the indices are to hold, where they need not hold all. */
static bool choose_held(const struct building *building, const struct shared_triangles *shared,
                        struct held_triangles *held, bool *is_part, struct arena *keep, struct arena scratch,
                        struct error *err)
{
    const struct deviation_surface *const surfaces[2] = {building->surfaces[0], building->surfaces[1]};
    size_t count = triangles_of(building->inputs[0]) + triangles_of(building->inputs[1]);

    *is_part = are_mostly_shared(shared, count);
    if (!*is_part)
        return true;
    if (!cells_mark(surfaces, shared, building->threads, held, keep, scratch, err))
        return false;
    for (int i = 0; i < 2; i++)
        *is_part = *is_part && held->counts[i] <= triangles_of(building->inputs[i]) / HELD_SHARE;
    return true;
}

bool deviation_surface_build_pair(const struct measure_input *const inputs[2],
                                  const struct deviation_frame *frame, size_t threads,
                                  struct deviation_surface *const surfaces[2], struct arena *keep,
                                  struct arena scratch, struct error *err)
{
    struct building building = {.inputs = inputs, .frame = frame, .threads = threads, .surfaces = surfaces};
    const struct deviation_surface *const opened[2] = {surfaces[0], surfaces[1]};
    struct arena marks;
    struct shared_triangles shared;
    struct held_triangles held;
    bool is_part;

    begin_both(&building, keep);
    if (!step_both(&building, open_one, scratch, err))
        return false;
    if (!arena_split(&scratch, (triangles_of(inputs[0]) + triangles_of(inputs[1])) * MARK_BYTES + ROOM,
                     &marks))
        return arena_error(err);
    if (!shared_find(opened, threads, &shared, &marks, scratch, err)
        || !choose_held(&building, &shared, &held, &is_part, &marks, scratch, err))
        return false;
    for (int i = 0; i < 2; i++)
        building.marked[i] = is_part ? held.marked[i] : NULL;
    if (!step_both(&building, index_one, scratch, err))
        return false;
    for (int i = 0; i < 2 && is_part; i++)
        surfaces[i]->reach = held.reach[i];
    return tell_shared(&building, &shared, is_part, scratch) || arena_error(err);
}
