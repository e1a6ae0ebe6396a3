/* measure_input.c - topology, box, areas and enclosed sides of a mesh, built once. */
#include "measure/measure_input.h"

#include <assert.h>
#include <string.h>

#include "base/tasks.h"
#include "measure/exact_sum.h"
#include "measure/face_geometry.h"

enum mesh_kind mesh_kind_guess(const struct mesh *mesh)
{
    size_t quads = 0;
    for (size_t f = 0; f < mesh->face_count; f++)
        quads += mesh_face_size(mesh, f) == 4;
    return 2 * quads > mesh->face_count ? MESH_CAGE : MESH_SCAN;
}

static void measure_box(struct measure_input *input)
{
    const struct mesh *mesh = input->mesh;
    double largest = 0;
    int exponent;
    input->bounds = aabb_empty();
    for (size_t v = 0; v < mesh->vertex_count; v++)
        if (input->fans.vertex_class_count[v] > 0) {
            input->bounds = aabb_include(input->bounds, mesh->positions[v]);
            largest = fmax(largest, largest_component(mesh->positions[v]));
        }
    input->guard = largest > 0x1p1000 ? 0x1p-4 : 1;
    input->unit = 1;
    input->centre = (vec3){0, 0, 0};
    input->diagonal = 0;
    if (aabb_is_empty(input->bounds))
        return;
    input->centre = aabb_centre(input->bounds);
    input->diagonal = aabb_diagonal(input->bounds);
    if (input->diagonal > 0) {
        double extent = largest_component(vec3_sub(vec3_scale(input->bounds.max, input->guard),
                                                   vec3_scale(input->bounds.min, input->guard)));
        frexp(extent, &exponent);
        exponent += input->guard < 1 ? 4 : 0;
        input->unit = ldexp(1, exponent < -1020 ? -1020 : exponent > 1020 ? 1020 : exponent);
    }
}

/* latest_face[v] is the last face that named v, plus one; it serves polygons alone and may be NULL for
 * others.
 */
static bool repeats_an_index(const struct mesh *mesh, size_t f, uint32_t *latest_face)
{
    const uint32_t *face = mesh_face(mesh, f);
    size_t size = mesh_face_size(mesh, f);
    if (size == 3)
        return face[0] == face[1] || face[1] == face[2] || face[2] == face[0];
    if (size == 4)
        return face[0] == face[1] || face[1] == face[2] || face[2] == face[3] || face[3] == face[0]
               || face[0] == face[2] || face[1] == face[3];
    for (size_t i = 0; i < size; i++) {
        if (latest_face[face[i]] == f + 1)
            return true;
        latest_face[face[i]] = (uint32_t)(f + 1);
    }
    return false;
}

static bool has_side_without_length(const struct mesh *mesh, size_t f)
{
    const uint32_t *face = mesh_face(mesh, f);
    size_t size = mesh_face_size(mesh, f);
    for (size_t i = 0; i < size; i++) {
        uint32_t a = face[i], b = face[i + 1 < size ? i + 1 : 0];
        vec3 p = mesh->positions[a], q = mesh->positions[b];
        if (a != b && p.x == q.x && p.y == q.y && p.z == q.z)
            return true;
    }
    return false;
}

static uint8_t classify_face(const struct measure_input *input, size_t f, struct face_geometry geometry,
                             uint32_t *latest_face)
{
    double diagonal = input->diagonal / input->unit; /* infinite where the diagonal is */
    unsigned class = 0;
    if (repeats_an_index(input->mesh, f, latest_face))
        class |= FACE_REPEATED;
    else if (geometry.zero_area)
        class |= FACE_ZERO_AREA;
    else if (geometry.area < 1e-12 * diagonal * diagonal)
        class |= FACE_NEAR_ZERO;
    if (has_side_without_length(input->mesh, f))
        class |= FACE_ZERO_SIDE;
    return (uint8_t) class;
}

struct shell_sums {
    struct exact_sum area, volume;  /* as listed */
    struct exact_sum facing_volume; /* with every face turned to agree with the first of its sheet */
    double volume_size;             /* sum of absolute contributions */
};

/* Faces in one chunk, and chunks that are measured before their sums are taken, in the order of faces. */
enum { CHUNK_FACES = 2048, CHUNKS_AT_ONCE = 32 };

struct measuring {
    struct measure_input *input;
    size_t begin;                   /* of the first chunk */
    struct face_geometry *geometry; /* [CHUNK_FACES * CHUNKS_AT_ONCE] */
};

static void measure_chunk(void *context, size_t chunk)
{
    struct measuring *measuring = context;
    struct measure_input *input = measuring->input;
    size_t begin = measuring->begin + chunk * CHUNK_FACES, left = input->mesh->face_count - begin;
    for (size_t f = begin; f < begin + (left < CHUNK_FACES ? left : CHUNK_FACES); f++) {
        face_geometry_ask(input, f + AHEAD);
        struct face_geometry geometry = face_geometry(input, f);
        measuring->geometry[f - measuring->begin] = geometry;
        if (mesh_face_size(input->mesh, f) <= 4)
            input->face_class[f] = classify_face(input, f, geometry, NULL);
    }
}

static void sum_face(struct measure_input *input, size_t f, struct face_geometry geometry,
                     struct shell_sums *shell)
{
    exact_sum_add(&shell->area, geometry.area);
    exact_sum_add(&shell->volume, geometry.volume);
    exact_sum_add(&shell->facing_volume, input->shells.face_reversed[f] ? -geometry.volume : geometry.volume);
    shell->volume_size += fabs(geometry.volume);
}

static void measure_faces(struct measuring *measuring, struct shell_sums *sums, uint32_t *latest_face)
{
    struct measure_input *input = measuring->input;
    size_t face_count = input->mesh->face_count;
    while (measuring->begin < face_count) {
        size_t begin = measuring->begin, chunks = tasks_chunks(face_count - begin, CHUNK_FACES);
        chunks = chunks < CHUNKS_AT_ONCE ? chunks : CHUNKS_AT_ONCE;
        size_t end = face_count - begin < chunks * CHUNK_FACES ? face_count : begin + chunks * CHUNK_FACES;
        tasks_run(input->threads, chunks, measure_chunk, measuring);
        for (size_t f = begin; f < end; f++) {
            struct face_geometry geometry = measuring->geometry[f - begin];
            if (mesh_face_size(input->mesh, f) > 4)
                input->face_class[f] = classify_face(input, f, geometry, latest_face);
            sum_face(input, f, geometry, &sums[input->shells.face_shell[f]]);
        }
        measuring->begin = end;
    }
}

/* +1 when the first face of the shell faces out, -1 when in, 0 when the shell encloses nothing that rounding
 * could not explain (2^-44 of the sum of absolute contributions). */
static int side_of_first_face(const struct measure_input *input, size_t s, const struct shell_sums *sums)
{
    const struct shell_numbers *shell = &input->genus.shells[s];
    double volume = exact_sum_value(sums->facing_volume);
    if (shell->open_edges > 0 || shell->nonmanifold_edges > 0 || !input->shells.orientable[s]
        || fabs(volume) <= 0x1p-44 * sums->volume_size)
        return 0;
    return volume > 0 ? 1 : -1;
}

static void sum_shells(struct measure_input *input, const struct shell_sums *sums, int8_t *shell_side)
{
    struct exact_sum area = {0, 0}, volume = {0, 0};
    input->closed_orientable =
        input->edges.count > 0 && input->edges.open_count == 0 && input->edges.nonmanifold_count == 0;
    for (size_t s = 0; s < input->shells.count; s++) {
        input->shell_area[s] = exact_sum_value(sums[s].area);
        input->shell_volume[s] = exact_sum_value(sums[s].volume);
        exact_sum_add(&area, input->shell_area[s]);
        exact_sum_add(&volume, input->shell_volume[s]);
        shell_side[s] = (int8_t)side_of_first_face(input, s, &sums[s]);
        input->closed_orientable = input->closed_orientable && input->shells.orientable[s];
    }
    input->area = exact_sum_value(area);
    input->volume = exact_sum_value(volume);
}

static bool measure_geometry(struct measure_input *input, struct arena *keep, struct arena scratch,
                             struct error *err)
{
    size_t face_count = input->mesh->face_count;
    input->face_class = ARENA_NEW(keep, uint8_t, face_count);
    input->face_side = ARENA_NEW(keep, int8_t, face_count);
    input->shell_area = ARENA_NEW(keep, double, input->shells.count);
    input->shell_volume = ARENA_NEW(keep, double, input->shells.count);
    struct shell_sums *sums = ARENA_ZERO(&scratch, struct shell_sums, input->shells.count);
    int8_t *shell_side = ARENA_NEW(&scratch, int8_t, input->shells.count);
    uint32_t *latest_face = ARENA_ZERO(&scratch, uint32_t, input->mesh->vertex_count);
    size_t room = face_count < CHUNK_FACES * CHUNKS_AT_ONCE ? face_count : CHUNK_FACES * CHUNKS_AT_ONCE;
    struct measuring measuring = {input, 0, ARENA_NEW(&scratch, struct face_geometry, room)};
    if (keep->failed || scratch.failed)
        return arena_error(err);
    measure_faces(&measuring, sums, latest_face);
    sum_shells(input, sums, shell_side);
    for (size_t f = 0; f < face_count; f++) {
        int8_t side = shell_side[input->shells.face_shell[f]];
        input->face_side[f] = input->shells.face_reversed[f] ? (int8_t)-side : side;
    }
    return true;
}

static bool tell(const struct progress *progress, double fraction, struct error *err)
{
    return progress_tell(progress, "topology", fraction)
           || error_set(err, ERROR_CANCELLED, "the measurement was stopped");
}

/* count numbers that stand elsewhere. */
static uint32_t *copied(const uint32_t *numbers, size_t count, struct arena *keep)
{
    uint32_t *copy = ARENA_NEW(keep, uint32_t, count);
    if (copy && count > 0)
        memcpy(copy, numbers, count * sizeof *copy);
    return copy;
}

/* Fans, shells and copies of faces need only the edges. With several threads they are made
 * at the same time, in arenas of their own. */
struct parts {
    struct measure_input *input;
    struct arena *keep[2], scratch[2];
    bool ok[2];
    struct error errors[2];
};

static bool make_fans(struct measure_input *input, struct arena *keep, struct arena scratch,
                      struct error *err)
{
    return fans_build(input->mesh, &input->edges, &input->fans, keep, scratch, err);
}

static bool make_shells(struct measure_input *input, struct arena *keep, struct arena scratch,
                        struct error *err)
{
    return shells_build(input->mesh, &input->edges, &input->shells, keep, scratch, err)
           && duplicates_build(input->mesh, &input->edges, input->threads, &input->duplicates, keep, scratch,
                               err);
}

static void make_part(void *context, size_t i)
{
    struct parts *parts = context;
    parts->ok[i] = (i == 0 ? make_fans : make_shells)(parts->input, parts->keep[i], parts->scratch[i],
                                                      &parts->errors[i]);
}

/* Fans get what they can need of scratch; what is not used is never touched. False where that was too much,
 * or there is one thread. */
static bool make_parts_at_once(struct measure_input *input, struct arena *fans, struct arena *topology,
                               struct arena scratch)
{
    struct arena fans_before = *fans, topology_before = *topology;
    struct parts parts = {.input = input, .keep = {fans, topology}};
    size_t fan_bytes = 4 * (input->edges.corner_count + input->mesh->vertex_count) + 4096;
    if (input->threads < 2 || !arena_split(&scratch, fan_bytes, &parts.scratch[0]))
        return false;
    parts.scratch[1] = scratch;
    tasks_run(2, 2, make_part, &parts);
    if (parts.ok[0] && parts.ok[1])
        return true;
    *fans = fans_before;
    *topology = topology_before;
    return false;
}

/* All that hangs on the edges. Of the fans no more is kept than how many there are at each vertex. */
static bool make_pieces(struct measure_input *input, struct arena *topology, struct arena scratch,
                        struct error *err)
{
    const struct mesh *mesh = input->mesh;
    struct arena fans;
    if (!arena_split(&scratch, 4 * (2 * input->edges.corner_count + mesh->vertex_count) + 4096, &fans))
        return arena_error(err);
    if (!make_parts_at_once(input, &fans, topology, scratch)
        && (!make_fans(input, &fans, scratch, err) || !make_shells(input, topology, scratch, err)))
        return false;
    if (!open_loops_build(mesh, &input->edges, &input->fans, &input->shells, &input->loops, topology, scratch,
                          err)
        || !genus_build(mesh, &input->edges, &input->fans, &input->shells, &input->loops, &input->genus,
                        topology, scratch, err))
        return false;
    input->fans.corner_fan = input->fans.first_corner = NULL;
    input->fans.vertex_class_count = copied(input->fans.vertex_class_count, mesh->vertex_count, topology);
    return input->fans.vertex_class_count || arena_error(err);
}

bool measure_input_build_threaded(const struct mesh *mesh, enum mesh_kind kind, size_t threads,
                                  const struct progress *progress, struct measure_input *input,
                                  struct arena *keep, struct arena *topology, struct arena scratch,
                                  struct error *err)
{
    assert(mesh_is_valid(mesh));
    memset(input, 0, sizeof *input);
    input->mesh = mesh;
    input->kind = kind;
    input->threads = threads;
    if (!tell(progress, 0, err) || !edges_build(mesh, threads, &input->edges, topology, scratch, err)
        || !tell(progress, 0.3, err) || !make_pieces(input, topology, scratch, err)
        || !tell(progress, 0.8, err))
        return false;
    measure_box(input);
    return measure_geometry(input, keep, scratch, err) && tell(progress, 1, err);
}

bool measure_input_build(const struct mesh *mesh, enum mesh_kind kind, const struct progress *progress,
                         struct measure_input *input, struct arena *keep, struct arena scratch,
                         struct error *err)
{
    return measure_input_build_threaded(mesh, kind, 1, progress, input, keep, keep, scratch, err);
}

static void forget_topology(struct measure_input *input)
{
    struct edges *edges = &input->edges;
    edges->low = edges->high = edges->side_begin = edges->sides = NULL;
    edges->corner_edge = edges->corner_face = NULL;
    input->shells.face_sheet = NULL;
    input->shells.orientable = input->shells.face_reversed = input->shells.sheet_orientable = NULL;
    input->loops.edges = input->loops.shell = input->loops.first_vertex = NULL;
    input->genus.shells = NULL;
    input->duplicates.first_copy = NULL;
}

bool measure_input_let_go(struct measure_input *input, struct arena *keep, struct error *err)
{
    const struct open_loops loops = input->loops;
    size_t open_count = input->edges.open_count;

    input->shells.face_shell =
        input->shells.count > 1 ? copied(input->shells.face_shell, input->mesh->face_count, keep) : NULL;
    input->shells.face_total = copied(input->shells.face_total, input->shells.count, keep);
    input->loops.edge_begin = copied(loops.edge_begin, loops.count + 1, keep);
    input->loops.ends = arena_alloc(keep, open_count, sizeof *loops.ends, _Alignof(uint32_t));
    input->fans.vertex_class_count =
        input->kind == MESH_CAGE ? copied(input->fans.vertex_class_count, input->mesh->vertex_count, keep)
                                 : NULL;
    if (keep->failed)
        return arena_error(err);
    memcpy(input->loops.ends, loops.ends, open_count * sizeof *loops.ends);
    forget_topology(input);
    return true;
}
