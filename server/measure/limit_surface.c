/* limit_surface.c - the cage about its centre, its limit as triangles, and back. */
#include "measure/limit_surface.h"

#include "base/tasks.h"
#include "measure/face_geometry.h"

#include <math.h>
#include <string.h>

#define EPS_LEAST 0x1p-36   /* in units of the cage's size; far above the rounding of limits, far below use */
#define EPS_MOST 64.0       /* as many units: wider than any cage, so that nothing is cut */
#define EPS_STEP_LEAST 1.25 /* wider by so much, when there is no room, */
#define EPS_STEP_MOST 16.0  /* or up to this, as the faces looked at suggest, */
#define EPS_STEP_WIDE 4.0   /* by half of that where it is more than this: they may be unlike the others; */
#define EPS_STEPS 4         /* after so many steps both grow, each time to their power 3/2 */
#define CHUNKS_MAX 256      /* parts of the faces */
#define TRIAL_STRIDE 16     /* one chunk of so many tells how many quads there will be */

/* --- the source --- */

static vec3 enter_centre(const struct measure_input *input, vec3 p)
{
    vec3 moved = vec3_sub(vec3_scale(p, input->guard), vec3_scale(input->centre, input->guard));

    return vec3_scale(vec3_scale(moved, 1 / input->unit), 1 / input->guard);
}

/* The cage about the centre of its box, in its unit. Vertices without faces are put to the centre, so that
 * they do not decide what rounding may be. */
static bool centre_cage(const struct measure_input *input, struct mesh *mesh, struct arena *keep,
                        struct error *err)
{
    *mesh = *input->mesh;
    mesh->positions = ARENA_NEW(keep, vec3, mesh->vertex_count);
    if (!mesh->positions)
        return arena_error(err);
    for (size_t v = 0; v < mesh->vertex_count; v++)
        mesh->positions[v] = input->fans.vertex_class_count[v] > 0
                                 ? enter_centre(input, input->mesh->positions[v])
                                 : (vec3){0, 0, 0};
    return true;
}

/* Moving to the centre and back rounds each coordinate twice, by 2^-53 of at most twice the largest. */
static double moving_error(const struct measure_input *input)
{
    return 0x1p-50 * fmax(largest_component(input->bounds.min), largest_component(input->bounds.max))
           + 0x1p-1070;
}

static void warn_of_parts(const struct cage *cage, const struct limit_base *base,
                          struct warning_list *warnings)
{
    size_t parts =
        base->nonmanifold_edge_count + base->nonmanifold_vertex_count + base->cage.face_left_out_count;

    if (cage->crease_unknown_count > 0)
        warning_add(warnings, "crease_without_edge", cage->crease_unknown_count,
                    "creases name two vertices that are not joined by an edge; they were not used");
    if (parts > 0)
        warning_add(
            warnings, "no_limit_surface", parts,
            "no limit surface is defined at %zu non-manifold edges, %zu such vertices, %zu faces "
            "that repeat a vertex; %s",
            base->nonmanifold_edge_count, base->nonmanifold_vertex_count, base->cage.face_left_out_count,
            base->cage.mesh.face_count ? "edges and vertices are held sharp there" : "nothing is left");
}

bool limit_source_open(const struct measure_input *input, const struct creases *creases,
                       enum boundary_rule rule, struct limit_source *source, struct warning_list *warnings,
                       struct arena *keep, struct arena scratch, struct error *err)
{
    const struct limit_settings settings = {EPS_MOST, LIMIT_SIDE_DEFAULT};
    struct cage cage;
    struct mesh mesh;

    *source = (struct limit_source){.cage = input, .moving = moving_error(input)};
    if (!centre_cage(input, &mesh, keep, err) || !cage_build(&mesh, creases, rule, &cage, keep, scratch, err)
        || !limit_base_build(&cage, settings, &source->base, keep, scratch, err))
        return false;
    warn_of_parts(&cage, &source->base, warnings);
    return true;
}

struct limit_place limit_source_place(const struct limit_source *source, aabb box, double reach)
{
    double rounding = source->moving + 0x1p-50 * fmax(largest_component(box.min), largest_component(box.max));

    return (struct limit_place){{enter_centre(source->cage, box.min), enter_centre(source->cage, box.max)},
                                (reach + rounding) / source->cage->unit * (1 + 0x1p-40)};
}

/* --- building --- */

static double between(double x, double least, double most)
{
    return fmin(fmax(x, least), most);
}

struct building {
    const struct limit_base *base;
    const struct limit_wish *wish;
    const struct progress *told;
    struct limit_chunk *chunks;       /* [chunk_count], then those built: empty ranges have none */
    size_t *ends;                     /* [chunk_count] of the faces of the base, ascending */
    size_t chunk_count, wanted_count; /* chunks; faces that are wanted */
    size_t quad_count, face_count;    /* quads, and faces looked at until there were too many */
    size_t work;                      /* since then */
    double least, most;               /* the next step of eps */
    unsigned step_count;
    size_t threads;
};

static bool is_wanted(const struct building *building, size_t f)
{
    return !building->wish->faces || building->wish->faces[building->base->cage.face_source[f]];
}

/* Runs of faces that are wanted or are not; all in CHUNKS_MAX where there is no choice. */
static bool list_chunks(struct building *building, struct arena *scratch, struct error *err)
{
    size_t faces = building->base->cage.mesh.face_count, most = building->wish->faces ? faces : CHUNKS_MAX,
           count = 0;

    building->ends = ARENA_NEW(scratch, size_t, most);
    building->chunks = arena_alloc(scratch, most, sizeof *building->chunks, 64);
    if (!building->ends || !building->chunks)
        return arena_error(err);
    if (!building->wish->faces)
        for (size_t k = 1; k <= CHUNKS_MAX && faces > 0; k++)
            building->ends[count++] = faces * k / CHUNKS_MAX;
    else
        for (size_t f = 0; f < faces; f++)
            if (f + 1 == faces || is_wanted(building, f) != is_wanted(building, f + 1))
                building->ends[count++] = f + 1;
    building->chunk_count = count;
    for (size_t f = 0; f < faces; f++)
        building->wanted_count += is_wanted(building, f);
    return true;
}

struct batch {
    const struct building *building;
    size_t first, stride;   /* its chunks */
    struct limit_room room; /* of each */
    struct arena keep[LIMIT_AT_ONCE], scratch[LIMIT_AT_ONCE];
    struct error errors[LIMIT_AT_ONCE];
    bool failed[LIMIT_AT_ONCE];
};

static void build_one(void *context, size_t i)
{
    struct batch *batch = context;
    const struct building *building = batch->building;
    size_t k = batch->first + i * batch->stride, first = k > 0 ? building->ends[k - 1] : 0;
    struct limit_chunk *chunk = &building->chunks[k];

    memset(chunk, 0, sizeof *chunk);
    batch->failed[i] = building->ends[k] > first && is_wanted(building, first)
                       && !limit_chunk_build(building->base, first, building->ends[k], batch->room, chunk,
                                             &batch->keep[i], batch->scratch[i], &batch->errors[i]);
}

static bool open_batch(struct batch *batch, struct arena keep, struct arena scratch, struct error *err)
{
    size_t keep_bytes = arena_left(&keep) / (LIMIT_AT_ONCE + 1),
           scratch_bytes = arena_left(&scratch) / (LIMIT_AT_ONCE + 1);

    for (size_t i = 0; i < LIMIT_AT_ONCE; i++)
        if (!arena_split(&keep, keep_bytes, &batch->keep[i])
            || !arena_split(&scratch, scratch_bytes, &batch->scratch[i]))
            return arena_error(err);
    return true;
}

static bool is_over(const struct building *building, struct limit_room room)
{
    return building->quad_count > room.quads || building->work > room.work;
}

/* False where a chunk failed. */
static bool add_up(struct building *building, const struct batch *batch, size_t count, struct error *err)
{
    for (size_t i = 0; i < count; i++) {
        const struct limit_chunk *chunk = &building->chunks[batch->first + i * batch->stride];
        if (batch->failed[i]) {
            *err = batch->errors[i];
            return false;
        }
        building->quad_count += chunk->quad_count;
        building->face_count += chunk->face_count;
        building->work += chunk->work;
    }
    return true;
}

/* Builds the pieces of every stride-th chunk, or until there is no room. The batches do not depend on the
 * number of threads. */
static bool build_chunks(struct limit_source *source, struct building *building, size_t stride,
                         struct limit_room room, struct arena keep, struct arena scratch, struct error *err)
{
    size_t count = (building->chunk_count + stride - 1) / stride;
    struct batch batch = {.building = building, .stride = stride};

    building->quad_count = building->face_count = building->work = 0;
    if (!open_batch(&batch, keep, scratch, err))
        return false;
    for (size_t k = 0; k < count && !is_over(building, room); k += LIMIT_AT_ONCE) {
        size_t left = count - k < LIMIT_AT_ONCE ? count - k : LIMIT_AT_ONCE;
        if (!progress_tell(building->told, "limit", stride > 1 ? 0 : (double)k / (double)count))
            return error_set(err, ERROR_CANCELLED, "measuring was stopped");
        batch.first = k * stride;
        batch.room = (struct limit_room){room.quads - building->quad_count, room.work - building->work};
        tasks_run(building->threads, left, build_one, &batch);
        if (!add_up(building, &batch, left, err))
            return false;
    }
    source->work += building->work;
    return true;
}

/* What all faces need of the room, by those looked at: 1 is all of it. */
static double share_needed(const struct building *building, struct limit_room room)
{
    double quads = (double)building->quad_count / (double)room.quads,
           work = (double)building->work / (double)room.work;

    return fmax(quads, work) * (double)building->wanted_count / fmax(1, (double)building->face_count);
}

/* A grid has about as many cells as 1 / eps. */
static void widen_eps(struct limit_base *base, struct building *building, double share)
{
    double step = share > EPS_STEP_WIDE ? fmax(share / 2, EPS_STEP_WIDE) : share;

    base->settings.eps = fmin(base->settings.eps * between(step, building->least, building->most), EPS_MOST);
    if (++building->step_count >= EPS_STEPS) {
        building->least *= sqrt(building->least);
        building->most *= sqrt(building->most);
    }
}

/* Widens eps until a part of the chunks says that there is room. Not where faces are chosen: there are few.
 */
static bool settle_eps(struct limit_source *source, struct building *building, struct limit_room room,
                       struct arena keep, struct arena scratch, struct error *err)
{
    const struct limit_room trial = {room.quads / TRIAL_STRIDE, room.work / TRIAL_STRIDE};

    while (!building->wish->faces && source->base.settings.eps < EPS_MOST) {
        if (!build_chunks(source, building, TRIAL_STRIDE, trial, keep, scratch, err))
            return false;
        double share = share_needed(building, room);
        if (share <= 1)
            break;
        widen_eps(&source->base, building, share);
    }
    return true;
}

/* Back to where the cage is. Points of the limit lie in its box, but for rounding. */
static vec3 leave_centre(const struct measure_input *input, vec3 p)
{
    const aabb box = input->bounds;
    vec3 at = vec3_add(input->centre, vec3_scale(p, input->unit));

    return (vec3){between(at.x, box.min.x, box.max.x), between(at.y, box.min.y, box.max.y),
                  between(at.z, box.min.z, box.max.z)};
}

static bool fill_mesh(const struct limit_source *source, struct limit_surface *surface, struct arena *keep,
                      struct error *err)
{
    const struct measure_input *cage = source->cage;
    struct limit_mesh *limit = &surface->limit;

    for (size_t v = 0; v < limit->position_count; v++)
        limit->positions[v] = leave_centre(cage, limit->positions[v]);
    surface->eps = nextafter(limit->eps_max * cage->unit + source->moving, INFINITY);
    surface->mesh = (struct mesh){.vertex_count = limit->position_count,
                                  .face_count = limit->triangle_count,
                                  .positions = limit->positions,
                                  .face_offsets = ARENA_NEW(keep, uint32_t, limit->triangle_count + 1),
                                  .face_vertices = *limit->triangles};
    if (!surface->mesh.face_offsets)
        return arena_error(err);
    for (size_t t = 0; t <= limit->triangle_count; t++)
        surface->mesh.face_offsets[t] = (uint32_t)(3 * t);
    surface->input = (struct measure_input){.mesh = &surface->mesh,
                                            .kind = MESH_SCAN,
                                            .bounds = cage->bounds,
                                            .centre = cage->centre,
                                            .diagonal = cage->diagonal,
                                            .unit = cage->unit,
                                            .guard = cage->guard};
    return true;
}

bool limit_surface_build(struct limit_source *source, const struct limit_wish *wish,
                         const struct progress *told, struct limit_surface *surface, struct arena *keep,
                         struct arena scratch, struct error *err)
{
    struct building building = {.base = &source->base,
                                .wish = wish,
                                .told = told,
                                .threads = wish->threads,
                                .least = EPS_STEP_LEAST,
                                .most = EPS_STEP_MOST};
    struct limit_room room = wish->room;
    struct arena pieces;

    surface->limit = (struct limit_mesh){0};
    source->base.choice = wish->choice;
    source->base.settings.eps =
        between((wish->eps - source->moving) / source->cage->unit, EPS_LEAST, EPS_MOST);
    if (!arena_split(&scratch, arena_left(&scratch) / 2, &pieces))
        return arena_error(err);
    if (!list_chunks(&building, &scratch, err) || !settle_eps(source, &building, room, pieces, scratch, err))
        return false;
    for (;;) {
        if (source->base.settings.eps >= EPS_MOST)
            room = limit_room_any();
        if (!build_chunks(source, &building, 1, room, pieces, scratch, err))
            return false;
        if (!is_over(&building, room))
            break;
        widen_eps(&source->base, &building, share_needed(&building, room));
        if (wish->eps_most > 0 && source->base.settings.eps * source->cage->unit > wish->eps_most)
            return true;
    }
    return limit_mesh_join(&source->base, building.chunks, building.chunk_count, &surface->limit, keep, err)
           && (surface->limit.triangle_count == 0 || fill_mesh(source, surface, keep, err));
}
