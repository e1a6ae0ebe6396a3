/* measure_input.c - topology, box, areas and enclosed sides of a mesh, built once. */
#include "measure/measure_input.h"

#include <assert.h>
#include <string.h>

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

/* latest_face[v] is the last face that named v, plus one. */
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

static void measure_faces(struct measure_input *input, struct shell_sums *sums, uint32_t *latest_face)
{
    for (size_t f = 0; f < input->mesh->face_count; f++) {
        struct face_geometry geometry = face_geometry(input, f);
        struct shell_sums *shell = &sums[input->shells.face_shell[f]];
        input->face_area[f] = geometry.area;
        input->face_class[f] = classify_face(input, f, geometry, latest_face);
        exact_sum_add(&shell->area, geometry.area);
        exact_sum_add(&shell->volume, geometry.volume);
        exact_sum_add(&shell->facing_volume,
                      input->shells.face_reversed[f] ? -geometry.volume : geometry.volume);
        shell->volume_size += fabs(geometry.volume);
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
    input->face_area = ARENA_NEW(keep, double, face_count);
    input->face_class = ARENA_NEW(keep, uint8_t, face_count);
    input->face_side = ARENA_NEW(keep, int8_t, face_count);
    input->shell_area = ARENA_NEW(keep, double, input->shells.count);
    input->shell_volume = ARENA_NEW(keep, double, input->shells.count);
    struct shell_sums *sums = ARENA_ZERO(&scratch, struct shell_sums, input->shells.count);
    int8_t *shell_side = ARENA_NEW(&scratch, int8_t, input->shells.count);
    uint32_t *latest_face = ARENA_ZERO(&scratch, uint32_t, input->mesh->vertex_count);
    if (keep->failed || scratch.failed)
        return arena_error(err);
    measure_faces(input, sums, latest_face);
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

bool measure_input_build_threaded(const struct mesh *mesh, enum mesh_kind kind, size_t threads,
                                  const struct progress *progress, struct measure_input *input,
                                  struct arena *keep, struct arena scratch, struct error *err)
{
    assert(mesh_is_valid(mesh));
    memset(input, 0, sizeof *input);
    input->mesh = mesh;
    input->kind = kind;
    input->threads = threads;
    if (!tell(progress, 0, err) || !edges_build(mesh, &input->edges, keep, scratch, err)
        || !tell(progress, 0.3, err) || !fans_build(mesh, &input->edges, &input->fans, keep, scratch, err)
        || !tell(progress, 0.5, err) || !shells_build(mesh, &input->edges, &input->shells, keep, scratch, err)
        || !open_loops_build(mesh, &input->edges, &input->fans, &input->shells, &input->loops, keep, scratch,
                             err)
        || !genus_build(mesh, &input->edges, &input->fans, &input->shells, &input->loops, &input->genus, keep,
                        scratch, err)
        || !duplicates_build(mesh, &input->duplicates, keep, scratch, err) || !tell(progress, 0.8, err))
        return false;
    measure_box(input);
    return measure_geometry(input, keep, scratch, err) && tell(progress, 1, err);
}

bool measure_input_build(const struct mesh *mesh, enum mesh_kind kind, const struct progress *progress,
                         struct measure_input *input, struct arena *keep, struct arena scratch,
                         struct error *err)
{
    return measure_input_build_threaded(mesh, kind, 1, progress, input, keep, scratch, err);
}
