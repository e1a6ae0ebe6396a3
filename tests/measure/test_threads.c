/* test_threads.c - one mesh measured by one thread and by several: the same bytes.
 *   same_*  random soups large enough that every loop has several chunks, with fans of thousands of faces
 * about one vertex, edges of many faces, polygons, copies and degenerate faces; and a clean surface
 */
#include <criterion/criterion.h>
#include <string.h>

#include "measure/measure_input.h"
#include "measure/mesh_report.h"
#include "support/fixture_shapes.h"

enum { FACES = 60000, VERTICES = 30000, ARENA_BYTES = 160 << 20 };

struct measured_by {
    struct measure_input input;
    struct mesh_report report;
    struct warning_list warnings;
    struct arena keep, scratch;
};

static void measure_by(size_t threads, const struct mesh *mesh, struct measured_by *by)
{
    struct error err = {.text = ""};
    memset(by, 0, sizeof *by);
    cr_assert(arena_open(&by->keep, ARENA_BYTES, &err));
    cr_assert(arena_open(&by->scratch, ARENA_BYTES, &err));
    cr_assert(measure_input_build_threaded(mesh, MESH_SCAN, threads, NULL, &by->input, &by->keep, &by->keep,
                                           by->scratch, &err),
              "%s", err.text);
    cr_assert(mesh_report_build(&by->input, NULL, &by->report, &by->warnings, &by->keep, by->scratch, &err),
              "%s", err.text);
}

#define EXPECT_SAME(a, b, member, count)                                                                     \
    cr_expect(memcmp((a)->member, (b)->member, (count) * sizeof *(a)->member) == 0, "%s differs", #member)

static void expect_same_input(const struct measure_input *a, const struct measure_input *b)
{
    size_t faces = a->mesh->face_count, corners = a->edges.corner_count, edges = a->edges.count;
    cr_assert_eq(edges, b->edges.count);
    cr_assert_eq(a->fans.count, b->fans.count);
    cr_assert_eq(a->shells.count, b->shells.count);
    cr_expect_eq(a->edges.open_count, b->edges.open_count);
    cr_expect_eq(a->edges.nonmanifold_count, b->edges.nonmanifold_count);
    cr_expect_eq(a->edges.inconsistent_count, b->edges.inconsistent_count);
    cr_expect_eq(a->edges.incidence_max, b->edges.incidence_max);
    cr_expect_eq(a->duplicates.extra_count, b->duplicates.extra_count);
    EXPECT_SAME(a, b, edges.low, edges);
    EXPECT_SAME(a, b, edges.high, edges);
    EXPECT_SAME(a, b, edges.side_begin, edges + 1);
    EXPECT_SAME(a, b, edges.sides, a->edges.side_begin[edges]);
    EXPECT_SAME(a, b, edges.corner_edge, corners);
    cr_assert((a->edges.corner_face == NULL) == (b->edges.corner_face == NULL));
    if (a->edges.corner_face)
        EXPECT_SAME(a, b, edges.corner_face, corners);
    EXPECT_SAME(a, b, fans.vertex_class_count, a->mesh->vertex_count);
    EXPECT_SAME(a, b, shells.face_shell, faces);
    EXPECT_SAME(a, b, shells.face_sheet, faces);
    EXPECT_SAME(a, b, shells.face_reversed, faces);
    EXPECT_SAME(a, b, duplicates.first_copy, faces);
    EXPECT_SAME(a, b, face_class, faces);
    EXPECT_SAME(a, b, face_side, faces);
    EXPECT_SAME(a, b, shell_area, a->shells.count);
    EXPECT_SAME(a, b, shell_volume, a->shells.count);
    cr_expect(memcmp(&a->area, &b->area, sizeof a->area) == 0);
    cr_expect(memcmp(&a->volume, &b->volume, sizeof a->volume) == 0);
}

static void expect_same_metric(const struct metric_report *a, const struct metric_report *b)
{
    const double x[] = {a->min, a->mean, a->median, a->p05, a->p95, a->p99, a->max};
    const double y[] = {b->min, b->mean, b->median, b->p05, b->p95, b->p99, b->max};
    cr_expect(memcmp(x, y, sizeof x) == 0, "%s differs", a->name);
    cr_expect_eq(a->count, b->count);
    cr_expect_eq(a->undefined, b->undefined);
    cr_expect_eq(a->worst_face, b->worst_face);
    cr_expect_eq(a->below, b->below);
    cr_expect_eq(a->above, b->above);
    if (a->bin_count > 0)
        EXPECT_SAME(a, b, histogram_counts, a->bin_count);
}

static void expect_same_by_threads(const struct mesh *mesh)
{
    static struct measured_by one, many;
    measure_by(1, mesh, &one);
    for (size_t threads = 2; threads <= 5; threads += 3) {
        measure_by(threads, mesh, &many);
        expect_same_input(&one.input, &many.input);
        for (size_t m = 0; m < QUAD_METRIC_COUNT; m++)
            expect_same_metric(&one.report.quality.quad[m], &many.report.quality.quad[m]);
        for (size_t m = 0; m < TRIANGLE_METRIC_COUNT; m++)
            expect_same_metric(&one.report.quality.triangle[m], &many.report.quality.triangle[m]);
        cr_expect_eq(one.report.quality.concave_quads, many.report.quality.concave_quads);
        cr_expect_eq(one.warnings.count, many.warnings.count);
        arena_close(&many.keep);
        arena_close(&many.scratch);
    }
    arena_close(&one.keep);
    arena_close(&one.scratch);
}

static struct mesh room(struct arena *arena, uint64_t *state)
{
    struct mesh mesh = fixture_room(arena, VERTICES, FACES, 6 * FACES);
    for (size_t v = 0; v < VERTICES; v++)
        mesh.positions[v] =
            (vec3){fixture_random_unit(state), fixture_random_unit(state), fixture_random_unit(state)};
    return mesh;
}

Test(measure_threads, same_for_soups)
{
    struct arena arena;
    struct error err;
    cr_assert(arena_open(&arena, 16 << 20, &err));
    uint64_t state = 5;
    struct mesh mesh = room(&arena, &state);
    for (size_t f = 0; f < FACES; f++) {
        uint32_t corners[6];
        size_t size = 3 + fixture_random_below(&state, 4), near = fixture_random_below(&state, VERTICES - 40);
        for (size_t i = 0; i < size; i++)
            corners[i] = (uint32_t)(near + fixture_random_below(&state, 40));
        if (f % 10 == 0)
            corners[0] = 7; /* thousands of faces about one vertex */
        if (f % 50 == 0)
            corners[1] = 9; /* hundreds about one edge */
        fixture_add_face(&mesh, corners, size);
    }
    expect_same_by_threads(&mesh);
    arena_close(&arena);
}

Test(measure_threads, same_for_a_closed_surface)
{
    const uint32_t n = 150;
    struct arena arena;
    struct error err;
    cr_assert(arena_open(&arena, 16 << 20, &err));
    uint64_t state = 6;
    struct mesh mesh = room(&arena, &state);
    for (uint32_t i = 0; i < n; i++)
        for (uint32_t j = 0; j < n; j++) {
            uint32_t a = i * n + j, b = (i + 1) % n * n + j, c = (i + 1) % n * n + (j + 1) % n,
                     d = i * n + (j + 1) % n;
            if ((i + j) % 3) {
                fixture_add_face(&mesh, (uint32_t[]){a, b, c}, 3);
                fixture_add_face(&mesh, (uint32_t[]){a, c, d}, 3);
            } else {
                fixture_add_face(&mesh, (uint32_t[]){a, b, c, d}, 4);
            }
        }
    expect_same_by_threads(&mesh);
    arena_close(&arena);
}
