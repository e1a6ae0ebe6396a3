/* limit_surface.c - the cage about its centre, its limit as triangles, and back. */
#include "measure/limit_surface.h"

#include "base/tasks.h"
#include "measure/face_geometry.h"

#include <math.h>
#include <string.h>

#define EPS_LEAST 0x1p-36   /* in units of the cage's size; far above the rounding of limits, far below use */
#define EPS_MOST 64.0       /* as many units: wider than any cage, so that nothing is cut */
#define EPS_STEP_LEAST 1.25 /* wider by so much, when there are too many quads, */
#define EPS_STEP_MOST 4.0   /* or up to this, as the parts looked at suggest */
#define CHUNKS_MAX 256      /* parts of the faces */
#define BATCH 8             /* so many are built at once; after them, the number of quads is looked at */
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
    struct limit_chunk *chunks; /* [chunk_count], then those built: empty ranges have none */
    size_t *ends;               /* [chunk_count] of the faces of the base, ascending */
    size_t chunk_count;
    size_t quad_count, looked_at; /* quads; chunks looked at until there were too many */
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
    return true;
}

struct batch {
    const struct building *building;
    size_t first, stride; /* its chunks */
    size_t quads_max;     /* of each */
    struct arena keep[BATCH], scratch[BATCH];
    struct error errors[BATCH];
    bool failed[BATCH];
};

static void build_one(void *context, size_t i)
{
    struct batch *batch = context;
    const struct building *building = batch->building;
    size_t k = batch->first + i * batch->stride, first = k > 0 ? building->ends[k - 1] : 0;
    struct limit_chunk *chunk = &building->chunks[k];

    memset(chunk, 0, sizeof *chunk);
    batch->failed[i] = building->ends[k] > first && is_wanted(building, first)
                       && !limit_chunk_build(building->base, first, building->ends[k], batch->quads_max,
                                             chunk, &batch->keep[i], batch->scratch[i], &batch->errors[i]);
}

static bool open_batch(struct batch *batch, struct arena keep, struct arena scratch, struct error *err)
{
    size_t keep_bytes = arena_left(&keep) / (BATCH + 1), scratch_bytes = arena_left(&scratch) / (BATCH + 1);

    for (size_t i = 0; i < BATCH; i++)
        if (!arena_split(&keep, keep_bytes, &batch->keep[i])
            || !arena_split(&scratch, scratch_bytes, &batch->scratch[i]))
            return arena_error(err);
    return true;
}

/* Builds the pieces of every stride-th chunk, or until there are more than quads_max quads. The batches do
 * not depend on the number of threads. */
static bool build_chunks(struct building *building, size_t stride, size_t quads_max, struct arena keep,
                         struct arena scratch, struct error *err)
{
    size_t count = (building->chunk_count + stride - 1) / stride;
    struct batch batch = {.building = building, .stride = stride};

    building->quad_count = building->looked_at = 0;
    if (!open_batch(&batch, keep, scratch, err))
        return false;
    for (size_t k = 0; k < count && building->quad_count <= quads_max; k += BATCH) {
        size_t left = count - k < BATCH ? count - k : BATCH;
        if (!progress_tell(building->told, "limit", stride > 1 ? 0 : (double)k / (double)count))
            return error_set(err, ERROR_CANCELLED, "measuring was stopped");
        batch.first = k * stride;
        batch.quads_max = quads_max - building->quad_count;
        tasks_run(building->threads, left, build_one, &batch);
        for (size_t i = 0; i < left; i++) {
            if (batch.failed[i]) {
                *err = batch.errors[i];
                return false;
            }
            building->quad_count += building->chunks[batch.first + i * stride].quad_count;
        }
        building->looked_at += left;
    }
    return true;
}

/* Quads of all chunks, by those of the chunks looked at. */
static double quads_expected(const struct building *building)
{
    return (double)building->quad_count * (double)building->chunk_count
           / (double)(building->looked_at ? building->looked_at : 1);
}

/* A grid has about as many cells as 1 / eps. */
static void widen_eps(struct limit_base *base, double quads, double quads_max)
{
    base->settings.eps =
        fmin(base->settings.eps * between(quads / quads_max, EPS_STEP_LEAST, EPS_STEP_MOST), EPS_MOST);
}

/* Widens eps until a part of the chunks says that the quads will do. Not where faces are chosen: there are
 * few. */
static bool settle_eps(struct limit_source *source, struct building *building, size_t quads_max,
                       struct arena keep, struct arena scratch, struct error *err)
{
    while (!building->wish->faces && source->base.settings.eps < EPS_MOST) {
        if (!build_chunks(building, TRIAL_STRIDE, quads_max / TRIAL_STRIDE, keep, scratch, err))
            return false;
        if (quads_expected(building) <= (double)quads_max)
            break;
        widen_eps(&source->base, quads_expected(building), (double)quads_max);
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
    struct building building = {.base = &source->base, .wish = wish, .told = told, .threads = wish->threads};
    size_t quads_max = wish->quads_max;
    struct arena pieces;

    surface->limit = (struct limit_mesh){0};
    source->base.choice = wish->choice;
    source->base.settings.eps =
        between((wish->eps - source->moving) / source->cage->unit, EPS_LEAST, EPS_MOST);
    if (!arena_split(&scratch, arena_left(&scratch) / 2, &pieces))
        return arena_error(err);
    if (!list_chunks(&building, &scratch, err)
        || !settle_eps(source, &building, quads_max, pieces, scratch, err))
        return false;
    for (;;) {
        if (source->base.settings.eps >= EPS_MOST)
            quads_max = SIZE_MAX;
        if (!build_chunks(&building, 1, quads_max, pieces, scratch, err))
            return false;
        if (building.quad_count <= quads_max)
            break;
        widen_eps(&source->base, quads_expected(&building), (double)quads_max);
        if (wish->eps_most > 0 && source->base.settings.eps * source->cage->unit > wish->eps_most)
            return true;
    }
    return limit_mesh_join(&source->base, building.chunks, building.chunk_count, &surface->limit, keep, err)
           && (surface->limit.triangle_count == 0 || fill_mesh(source, surface, keep, err));
}
