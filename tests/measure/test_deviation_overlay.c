/* test_deviation_overlay.c
 *   truth_*   what is summed up against quadrature of the distance to every face in turn
 *   near_*    how narrow it is where one surface lies over the other
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "measure/deviation_overlay.h"
#include "measure/deviation_pair.h"
#include "measure/deviation_quick.h"
#include "support/fixture_share.h"

#define TOLERANCES 3

struct summed {
    struct distribution distribution;
    struct interval shares[TOLERANCES];
    double scale; /* of the frame */
};

static size_t budget = (size_t)1 << 30; /* of work */

/* Whatever the number of triangles. */
static struct summed sum_up(const struct mesh *from, const struct mesh *to, const double *tolerances,
                            size_t threads)
{
    struct arena keep = pair_arena(0), scratch = pair_arena(1);
    struct measure_input inputs[2];
    struct deviation_surface surfaces[2];
    struct deviation_vertices vertices;
    struct surface_parts parts = {
        .from = &surfaces[0], .to = &surfaces[1], .threads = threads, .budget = budget};
    struct summed summed = {.scale = 0};
    struct error err = {.text = ""};
    struct distance_classes classes = {.limit_count = TOLERANCES};
    double in_frame[TOLERANCES];

    cr_assert(measure_input_build(from, MESH_SCAN, NULL, &inputs[0], &keep, scratch, &err)
              && measure_input_build(to, MESH_SCAN, NULL, &inputs[1], &keep, scratch, &err));
    struct deviation_frame frame = deviation_frame_of(&inputs[0], &inputs[1]);
    for (size_t t = 0; t < TOLERANCES; t++)
        in_frame[t] = classes.limits[t] = ldexp(tolerances[t], -frame.exponent);
    summed.distribution.classes = &classes;
    parts.reach = 4;
    cr_assert(deviation_surface_build(&inputs[0], &frame, threads, &surfaces[0], &keep, scratch, &err)
              && deviation_surface_build(&inputs[1], &frame, threads, &surfaces[1], &keep, scratch, &err)
              && deviation_vertices_open(&surfaces[0], &vertices, &keep, &err)
              && surface_parts_open_bounds(&parts, &keep, &err)
              && quick_ask_vertices(&parts, &vertices, NULL, 0, 1, scratch, &err)
              && overlay_sum_up(&parts, in_frame, TOLERANCES, &summed.distribution, summed.shares, NULL, 0, 1,
                                scratch, &err));
    summed.distribution.classes = NULL;
    summed.scale = ldexp(1, frame.exponent);
    return summed;
}

struct cell {
    double d, radius, area;
};

/* Along a side of a face. */
static size_t cells_each(void)
{
    return fixture_size(6, 2);
}

static int compare_cells(const void *a, const void *b)
{
    double x = ((const struct cell *)a)->d, y = ((const struct cell *)b)->d;

    return (x > y) - (x < y);
}

/* Distances at the centroids of cells of equal area in each face. */
static size_t make_cells(const struct mesh *from, const struct mesh *to, struct cell *cells)
{
    size_t count = 0, n = cells_each();

    for (size_t f = 0; f < from->face_count; f++) {
        const uint32_t *corner = mesh_face(from, f);
        vec3 a = from->positions[corner[0]], b = from->positions[corner[1]], c = from->positions[corner[2]];
        vec3 u = vec3_scale(vec3_sub(b, a), 1.0 / (double)n), v = vec3_scale(vec3_sub(c, a), 1.0 / (double)n);
        double radius = fmax(vec3_length(u), fmax(vec3_length(v), vec3_distance(u, v)));
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j < 2 * (n - i) - 1; j++) {
                double third = j % 2 ? 2.0 / 3 : 1.0 / 3, x = (double)i + third, y = (double)(j / 2) + third;
                vec3 p = vec3_add(a, vec3_add(vec3_scale(u, x), vec3_scale(v, y)));
                cells[count++] =
                    (struct cell){pair_distance(to, p), radius, vec3_length(vec3_cross(u, v)) / 2};
            }
    }
    return count;
}

static void expect_within(struct interval interval, double scale, double value, double error,
                          const char *name, const char *what)
{
    cr_expect(interval.lower * scale <= value + error && value - error <= interval.upper * scale,
              "%s, %s: %g not in %g to %g", name, what, value, interval.lower * scale,
              interval.upper * scale);
}

/* In a cell the distance is d within its radius; the midpoint rule errs by far less than a tenth of that. */
static struct summed expect_truth(const struct mesh *from, const struct mesh *to, const char *name)
{
    struct cell *cells = calloc(from->face_count * cells_each() * cells_each(), sizeof *cells);
    size_t count = make_cells(from, to, cells), p = 0;
    double area = 0, mean = 0, square = 0, way = 0, until = 0, tolerances[TOLERANCES];

    for (size_t i = 0; i < count; i++) {
        area += cells[i].area;
        mean += cells[i].area * cells[i].d;
        square += cells[i].area * cells[i].d * cells[i].d;
        way = fmax(way, cells[i].radius);
    }
    qsort(cells, count, sizeof *cells, compare_cells);
    for (size_t t = 0; t < TOLERANCES; t++)
        tolerances[t] = cells[(t + 1) * count / 4].d;
    struct summed got = sum_up(from, to, tolerances, 2);
    expect_within(got.distribution.mean, got.scale, mean / area, 0.1 * way, name, "mean");
    expect_within(got.distribution.rms, got.scale, sqrt(square / area), 0.1 * way, name, "rms");
    for (size_t i = 0; i < count && p < DISTRIBUTION_PERCENTILES; i++) {
        until += cells[i].area / area;
        for (; p < DISTRIBUTION_PERCENTILES && until >= distribution_percentile_shares[p]; p++)
            expect_within(got.distribution.percentiles[p], got.scale, cells[i].d, way, name, "percentile");
    }
    for (size_t t = 0; t < TOLERANCES; t++) {
        double surely = 0, possibly = 0;
        for (size_t i = 0; i < count; i++) {
            surely += cells[i].d + cells[i].radius <= tolerances[t] ? cells[i].area / area : 0;
            possibly += cells[i].d - cells[i].radius <= tolerances[t] ? cells[i].area / area : 0;
        }
        cr_expect(got.shares[t].upper >= surely - 1e-9 && got.shares[t].lower <= possibly + 1e-9, "%s", name);
        const struct interval within = got.distribution.within[t];
        cr_expect(within.upper >= surely - 1e-9 && within.lower <= possibly + 1e-9, "%s", name);
        cr_expect(within.lower <= got.shares[t].upper && got.shares[t].lower <= within.upper, "%s", name);
    }
    free(cells);
    return got;
}

static struct mesh sphere(struct arena *arena, size_t k, double noise, uint64_t seed)
{
    struct mesh quads = fixture_cubed_sphere(arena, k), mesh = fixture_fanned(arena, &quads);

    for (size_t v = 0; v < mesh.vertex_count; v++)
        mesh.positions[v] = vec3_scale(mesh.positions[v], 1 + noise * (2 * fixture_random_unit(&seed) - 1));
    return mesh;
}

/* Without every third face. */
static struct mesh pierced(struct arena *arena, const struct mesh *mesh)
{
    struct mesh left = fixture_room(arena, mesh->vertex_count, mesh->face_count, 3 * mesh->face_count);

    for (size_t v = 0; v < mesh->vertex_count; v++)
        left.positions[v] = mesh->positions[v];
    for (size_t f = 0; f < mesh->face_count; f++)
        if (f % 3 > 0)
            fixture_add_face(&left, mesh_face(mesh, f), 3);
    return left;
}

static void expect_both(const struct mesh *a, const struct mesh *b, const char *name)
{
    expect_truth(a, b, name);
    expect_truth(b, a, name);
}

Test(deviation_overlay, truth_of_rough_spheres, .timeout = 300)
{
    const double noises[] = {0, 1e-3, 0.01, 0.03, 0.1, 0.4};

    for (size_t n = 0; n < sizeof noises / sizeof *noises; n++) {
        struct arena arena = pair_arena(4);
        struct mesh fine = sphere(&arena, 9, noises[n], 3), coarse = sphere(&arena, 4, noises[n], 7);
        char name[32];
        snprintf(name, sizeof name, "noise %g", noises[n]);
        expect_both(&fine, &coarse, name);
    }
}

/* Where triangles may not be looked at alone, or only as long as work is left. */
Test(deviation_overlay, truth_where_work_ends, .timeout = 300)
{
    static const size_t budgets[] = {0, 2000, 20000, 2000000};
    struct arena arena = pair_arena(4);
    struct mesh fine = sphere(&arena, 9, 0.1, 3), coarse = sphere(&arena, 4, 0.1, 7);
    double widths[4];

    for (size_t b = 0; b < 4; b++) {
        char name[32];
        budget = budgets[b];
        snprintf(name, sizeof name, "budget %zu", budget);
        struct interval mean = expect_truth(&coarse, &fine, name).distribution.mean;
        expect_truth(&fine, &coarse, name);
        widths[b] = mean.upper - mean.lower;
    }
    cr_expect(widths[3] < 0.8 * widths[0] && widths[2] <= widths[0] && widths[3] <= widths[1],
              "%g, %g, %g, %g", widths[0], widths[1], widths[2], widths[3]);
}

/* Sides without another triangle, with two others, folds, sheets near each other, and a side that only looks
 * the same: what is over a triangle does not tell there. */
Test(deviation_overlay, truth_where_one_height_does_not_tell, .timeout = 300)
{
    struct arena arena = pair_arena(4);
    struct mesh fine = sphere(&arena, 8, 0.01, 3), coarse = sphere(&arena, 4, 0.01, 7),
                holes = pierced(&arena, &fine), soup = fixture_soup(&arena, &fine),
                inner = fixture_moved(&arena, &fine, 0.98, (vec3){0, 0, 0}),
                sheets = fixture_joined(&arena, &fine, &inner), twice = fixture_joined(&arena, &fine, &fine),
                reversed = fixture_reversed(&arena, &fine), folded = sphere(&arena, 8, 0.01, 3),
                band = fixture_moebius(&arena, 24), grid = fixture_grid(&arena, 9, 9),
                triangles = fixture_fanned(&arena, &grid),
                plate = fixture_moved(&arena, &triangles, 0.1, (vec3){-0.45, -0.45, 0.02}),
                strip = fixture_fanned(&arena, &band);

    for (size_t v = 0; v < folded.vertex_count; v += 5) /* pulled aside, over their neighbours */
        folded.positions[v] = vec3_add(folded.positions[v], (vec3){0.3, 0.1, 0});
    expect_both(&coarse, &holes, "holes");
    expect_both(&coarse, &soup, "soup");
    expect_both(&coarse, &sheets, "sheets");
    expect_both(&coarse, &twice, "twice");
    expect_both(&coarse, &reversed, "reversed");
    expect_both(&coarse, &folded, "folded");
    expect_both(&strip, &plate, "band and plate");
    expect_both(&strip, &coarse, "band and sphere");
    expect_both(&plate, &coarse, "plate in a sphere");
}

/* Two triangles with one side, open like a book by any angle, and a sheet over them; of one orientation, and
 * not. */
Test(deviation_overlay, truth_over_a_fold_of_any_angle, .timeout = 300)
{
    for (int k = 1; k <= 48; k++) {
        struct arena arena = pair_arena(4);
        double angle = (k + 1) / 2 * 3.14159265358979323846 / 24;
        const vec3 corners[4] = {{-2, 0, 0},
                                 {2, 0, 0},
                                 {0, 2 * cos(angle / 2), 2 * sin(angle / 2)},
                                 {0, 2 * cos(angle / 2), -2 * sin(angle / 2)}};
        const uint32_t faces[4][3] = {{0, 1, 2}, {1, 0, 3}, {2, 1, 3}, {0, 2, 3}}, other[3] = {0, 1, 3};
        struct mesh book = fixture_room(&arena, 4, 4, 12), grid = fixture_grid(&arena, 6, 6),
                    fanned = fixture_fanned(&arena, &grid),
                    sheet = fixture_moved(&arena, &fanned, 0.1, (vec3){-0.3, 0.1, 0.2});
        char name[32];
        for (size_t v = 0; v < 4; v++)
            book.positions[v] = corners[v];
        for (size_t f = 0; f < 4; f++)
            fixture_add_face(&book, k % 2 && f == 1 ? other : faces[f], 3);
        snprintf(name, sizeof name, "angle %d / 24%s", (k + 1) / 2, k % 2 ? ", turned" : "");
        expect_both(&book, &sheet, name);
    }
}

/* A sheet 0.6 wide beside a plane that rises by tan t: at x the distance is (x + 0.1) sin t. */
Test(deviation_overlay, truth_over_a_tilted_plane_in_closed_form)
{
    const double none[TOLERANCES] = {0, 0, 0};

    for (int k = 1; k <= 8; k++) {
        struct arena arena = pair_arena(4);
        double angle = k * 5 * 3.14159265358979323846 / 180;
        struct mesh grid = fixture_grid(&arena, 6, 6), triangles = fixture_fanned(&arena, &grid),
                    sheet = fixture_moved(&arena, &triangles, 0.1, (vec3){0, 0, 0}),
                    plane = fixture_moved(&arena, &triangles, 1, (vec3){-2.7, -2.7, 0});
        for (size_t v = 0; v < plane.vertex_count; v++)
            plane.positions[v].z = tan(angle) * (plane.positions[v].x + 0.1);
        struct summed got = sum_up(&sheet, &plane, none, 1);
        expect_within(got.distribution.mean, got.scale, 0.4 * sin(angle), 1e-9, "tilted", "mean");
        expect_within(got.distribution.rms, got.scale, sin(angle) * sqrt((0.343 - 0.001) / 1.8), 1e-9,
                      "tilted", "rms");
        expect_within(got.distribution.percentiles[0], got.scale, 0.4 * sin(angle), 1e-9, "tilted", "median");
        cr_expect(got.distribution.mean.lower * got.scale >= 0.399 * sin(angle) * cos(angle), "%d", k);
    }
}

/* A plane over a small sheet, and a loose triangle beside the sheet, which is nearer. */
Test(deviation_overlay, truth_beside_a_loose_triangle)
{
    struct arena arena = pair_arena(4);
    struct mesh grid = fixture_grid(&arena, 6, 6), triangles = fixture_fanned(&arena, &grid),
                plane = fixture_moved(&arena, &triangles, 0.5, (vec3){-1.4, -1.4, 0.1}),
                one = fixture_grid(&arena, 1, 1), two = fixture_fanned(&arena, &one),
                sheet = fixture_moved(&arena, &two, 0.2, (vec3){0, 0, 0});
    const vec3 corners[3] = {{-0.02, -0.1, 0}, {-0.02, 0.3, 0}, {-0.1, 0.1, 0}};
    struct mesh loose = pair_soup(&arena, corners, 1), both = fixture_joined(&arena, &plane, &loose);

    expect_truth(&sheet, &both, "loose");
}

static double width_of(struct interval interval)
{
    return interval.upper - interval.lower;
}

Test(deviation_overlay, near_surfaces_get_narrow_values)
{
    struct arena arena = pair_arena(4);
    struct mesh rough = sphere(&arena, 24, 0.003, 3), round = sphere(&arena, 12, 0, 7);
    const struct summed got[2] = {expect_truth(&rough, &round, "rough"),
                                  expect_truth(&round, &rough, "round")};

    for (int i = 0; i < 2; i++) {
        const struct distribution *d = &got[i].distribution;
        cr_expect(width_of(d->mean) <= 0.2 * d->mean.upper, "%d: %g of %g", i, width_of(d->mean),
                  d->mean.upper);
        cr_expect(width_of(d->rms) <= 0.2 * d->rms.upper, "%d: %g of %g", i, width_of(d->rms), d->rms.upper);
    }
}

Test(deviation_overlay, truth_is_the_same_for_any_threads)
{
    struct arena arena = pair_arena(4);
    struct mesh rough = sphere(&arena, 24, 0.02, 3), round = sphere(&arena, 12, 0, 7);
    const double tolerances[TOLERANCES] = {0.001, 0.01, 0.02};
    struct summed one = sum_up(&rough, &round, tolerances, 1), more = sum_up(&rough, &round, tolerances, 3);

    cr_expect(memcmp(&one, &more, sizeof one) == 0);
}
