/* test_deviation_statistics.c
 *   linear_*   distances that are linear over the surface: every statistic in closed form
 *   soup_*     random triangles against quadrature of the distance to every triangle in turn
 *   faces_*    bounds of every face against points on it
 *   shared_*   faces that both surfaces have
 *   edge_*     no area, two places far apart, the ends of the range of numbers, far from the origin
 *   budget_*   little work: wider, and still right; equidistant surfaces end
 *   pair_*     half-widths as narrow as wanted on meshes
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "geom/point_triangle.h"
#include "measure/deviation_distribution.h"
#include "measure/deviation_pair.h"
#include "measure/deviation_statistics.h"
#include "support/fixture_share.h"

struct value {
    const char *name;
    double got, halfwidth, want;
};

/* The value wanted is known within `error`. */
static void expect_values(const struct value *values, size_t count, double error, double small,
                          const char *name)
{
    for (size_t i = 0; i < count; i++) {
        cr_expect(fabs(values[i].got - values[i].want) <= values[i].halfwidth + error,
                  "%s, %s: %.17g +- %g, not %.17g", name, values[i].name, values[i].got, values[i].halfwidth,
                  values[i].want);
        cr_expect(values[i].halfwidth <= small, "%s, %s: half-width %g", name, values[i].name,
                  values[i].halfwidth);
    }
}

/* Of a distance that is spread evenly from 0 to `top`. */
static void expect_even(const struct one_sided_deviation *d, double top, double small, const char *name)
{
    const struct value values[] = {{"mean", d->mean, d->halfwidth.mean, top / 2},
                                   {"rms", d->rms, d->halfwidth.rms, top / sqrt(3)},
                                   {"median", d->median, d->halfwidth.median, 0.5 * top},
                                   {"p95", d->p95, d->halfwidth.p95, 0.95 * top},
                                   {"p99", d->p99, d->halfwidth.p99, 0.99 * top},
                                   {"p99.9", d->p999, d->halfwidth.p999, 0.999 * top}};

    expect_values(values, 6, 1e-15, small, name);
    const struct certified_statistics *c = &d->certified;
    const struct interval certified[] = {c->mean, c->rms, c->median, c->p95, c->p99, c->p999};
    for (size_t i = 0; i < 6; i++)
        expect_interval(certified[i], values[i].want, 1e-15, 2 * small + 1e-15, name);
}

static struct mesh sheet(struct arena *arena, double scale, vec3 shift)
{
    struct mesh grid = fixture_grid(arena, 1, 1);

    return fixture_moved(arena, &grid, scale, shift);
}

Test(deviation_statistics, linear_on_tilted_and_crossing_planes)
{
    struct arena arena = pair_arena(4);
    struct mesh floor = sheet(&arena, 20, (vec3){-10, -10, 0}), tilted = sheet(&arena, 2, (vec3){-1, -1, 0}),
                crossing = fixture_moved(&arena, &tilted, 1, (vec3){0, 0, 0});
    struct deviation_settings settings = pair_settings();

    for (size_t v = 0; v < 4; v++) {
        tilted.positions[v].z = 0.25 * (tilted.positions[v].x + 1);
        crossing.positions[v].z = 0.25 * crossing.positions[v].x;
    }
    settings.tolerance_count = 2;
    settings.tolerances[0] = 0.1;
    settings.tolerances[1] = 0.2;
    struct deviation got = pair_measure(&tilted, &floor, &settings);
    expect_even(&got.subject_to_reference, 0.5, 1e-4 * sqrt(800), "tilted");
    for (int t = 0; t < 2; t++) {
        struct interval share = got.subject_to_reference.coverage[t];
        cr_expect(share.lower <= 2 * settings.tolerances[t] && 2 * settings.tolerances[t] <= share.upper);
        cr_expect(share.upper - share.lower <= 0.001, "%g to %g", share.lower, share.upper);
    }
    got = pair_measure(&crossing, &floor, &settings);
    expect_even(&got.subject_to_reference, 0.25, 1e-4 * sqrt(800), "crossing");
    cr_expect(not(got.budget_exhausted));
}

/* The same floor in many triangles, so that they and not one face are over the sheet. */
Test(deviation_statistics, linear_over_many_small_faces)
{
    struct arena arena = pair_arena(4);
    struct mesh fine = fixture_grid(&arena, 40, 40),
                floor = fixture_moved(&arena, &fine, 0.1, (vec3){-2, -2, 0});
    struct mesh crossing = sheet(&arena, 2, (vec3){-1, -1, 0});
    struct deviation_settings settings = pair_settings();

    for (size_t v = 0; v < 4; v++)
        crossing.positions[v].z = 0.25 * crossing.positions[v].x;
    struct deviation got = pair_measure(&crossing, &floor, &settings);
    expect_even(&got.subject_to_reference, 0.25, 1e-4 * sqrt(32), "crossing many");
    cr_expect(not(got.budget_exhausted));
}

/* More than STATISTICS_FEW: bounds alone, what lies over the triangles, and cutting up, by what is wanted. */
Test(deviation_statistics, linear_whichever_way_many_are_bounded, .timeout = 300)
{
    struct arena arena = pair_arena(4);
    struct mesh floor = sheet(&arena, 20, (vec3){-10, -10, 0}), grid = fixture_grid(&arena, 96, 96),
                fanned = fixture_fanned(&arena, &grid),
                tilted = fixture_moved(&arena, &fanned, 2.0 / 96, (vec3){-1, -1, 0});
    struct deviation_settings settings = pair_settings();

    for (size_t v = 0; v < tilted.vertex_count; v++)
        tilted.positions[v].z = 0.25 * (tilted.positions[v].x + 1);
    for (double certify = 1e-2; certify >= 1e-7; certify *= 0.1) {
        char name[32];
        settings.certify = certify;
        snprintf(name, sizeof name, "tilted, %g", certify);
        struct deviation got = pair_measure(&tilted, &floor, &settings);
        const struct one_sided_deviation *d = &got.subject_to_reference;
        expect_even(d, 0.5, 0.05, name);
        cr_expect(
            got.budget_exhausted
                || (d->halfwidth.mean <= certify * sqrt(800) && d->halfwidth.rms <= certify * sqrt(800)),
            "%s: wider than wanted, and not told", name);
    }
}

/* --- against quadrature --- */

/* Cells of equal area in each face: the distance d at its centroid, and how far its corners are from there.
 */
struct cell {
    double d, radius, area;
};

#define CELLS_EACH ((size_t)40)

static size_t make_cells(const struct mesh *from, const struct mesh *to, struct cell *cells)
{
    size_t count = 0, n = CELLS_EACH;

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

static int compare_cells(const void *a, const void *b)
{
    double x = ((const struct cell *)a)->d, y = ((const struct cell *)b)->d;

    return (x > y) - (x < y);
}

/* The distance changes no faster than the point moves, so in a cell it is d within its radius. */
static void expect_cells(const struct one_sided_deviation *got, const double *tolerances, struct cell *cells,
                         size_t count, double scale, size_t seed)
{
    double area = 0, mean = 0, square = 0, way = 0, until = 0;
    const struct certified_statistics *c = &got->certified;
    const struct interval certified[4] = {c->median, c->p95, c->p99, c->p999};
    const double shares[4] = {0.5, 0.95, 0.99, 0.999},
                 values[4] = {got->median, got->p95, got->p99, got->p999},
                 halfwidths[4] = {got->halfwidth.median, got->halfwidth.p95, got->halfwidth.p99,
                                  got->halfwidth.p999};
    size_t p = 0;

    for (size_t i = 0; i < count; i++) {
        area += cells[i].area;
        mean += cells[i].area * cells[i].d;
        square += cells[i].area * cells[i].d * cells[i].d;
        way = fmax(way, cells[i].radius);
    }
    mean /= area;
    square = sqrt(square / area);
    /* the midpoint rule errs by far less than that */
    cr_expect(fabs(got->mean * scale - mean) <= got->halfwidth.mean * scale + 0.1 * way,
              "seed %zu: mean %g, %g", seed, got->mean * scale, mean);
    cr_expect(fabs(got->rms * scale - square) <= got->halfwidth.rms * scale + 0.1 * way,
              "seed %zu: rms %g, %g", seed, got->rms * scale, square);
    expect_interval(c->mean, mean / scale, 0.1 * way / scale, INFINITY, "certified mean");
    expect_interval(c->rms, square / scale, 0.1 * way / scale, INFINITY, "certified rms");
    qsort(cells, count, sizeof *cells, compare_cells);
    for (size_t i = 0; i < count && p < 4; i++) {
        until += cells[i].area / area;
        for (; p < 4 && until >= shares[p]; p++) {
            expect_interval(certified[p], cells[i].d / scale, way / scale, INFINITY, "certified percentile");
            cr_expect(fabs(values[p] * scale - cells[i].d) <= halfwidths[p] * scale + way,
                      "seed %zu: %g %% within %g +- %g, not %g", seed, 100 * shares[p], values[p] * scale,
                      halfwidths[p] * scale, cells[i].d);
        }
    }
    for (size_t t = 0; t < 3; t++) {
        double surely = 0, possibly = 0;
        for (size_t i = 0; i < count; i++) {
            surely += cells[i].d + cells[i].radius <= tolerances[t] * scale ? cells[i].area / area : 0;
            possibly += cells[i].d - cells[i].radius <= tolerances[t] * scale ? cells[i].area / area : 0;
        }
        cr_expect(got->coverage[t].upper >= surely - 1e-9 && got->coverage[t].lower <= possibly + 1e-9,
                  "seed %zu: within %g: [%g, %g], not [%g, %g]", seed, tolerances[t], got->coverage[t].lower,
                  got->coverage[t].upper, surely, possibly);
        cr_expect(c->coverage[t].upper >= surely - 1e-9 && c->coverage[t].lower <= possibly + 1e-9,
                  "seed %zu: certified within %g: [%g, %g], not [%g, %g]", seed, tolerances[t],
                  c->coverage[t].lower, c->coverage[t].upper, surely, possibly);
    }
}

static struct mesh random_soup(struct arena *arena, size_t count, double size, uint64_t *state)
{
    vec3 corners[60];

    for (size_t t = 0; t < count; t++) {
        vec3 centre = {fixture_random_unit(state), fixture_random_unit(state), fixture_random_unit(state)};
        for (size_t i = 0; i < 3; i++)
            corners[3 * t + i] = vec3_add(centre, (vec3){size * (fixture_random_unit(state) - 0.5),
                                                         size * (fixture_random_unit(state) - 0.5),
                                                         size * (fixture_random_unit(state) - 0.5)});
    }
    return pair_soup(arena, corners, count);
}

Test(deviation_statistics, soup_against_quadrature_at_any_scale, .timeout = 300)
{
    static struct cell cells[20 * CELLS_EACH * CELLS_EACH];
    const double scales[] = {1, 1e-150, 1e300, 1};

    for (size_t seed = 0; seed < 24; seed++) {
        struct arena arena = pair_arena(4);
        uint64_t state = seed;
        double scale = scales[seed % 4];
        struct mesh a = random_soup(&arena, 1 + seed % 3, seed % 2 ? 1 : 0.2, &state),
                    b = random_soup(&arena, 1 + seed % 17, seed % 5 ? 0.7 : 0.05, &state);
        struct mesh scaled_a = fixture_moved(&arena, &a, scale, (vec3){0, 0, 0}),
                    scaled_b = fixture_moved(&arena, &b, scale, (vec3){0, 0, 0});
        struct deviation_settings settings = pair_settings();
        settings.certify = 1e-3;
        settings.tolerance_count = 3;
        for (int t = 0; t < 3; t++)
            settings.tolerances[t] = (0.05 + 0.15 * t) * scale;
        struct deviation got = pair_measure(&scaled_a, &scaled_b, &settings);
        expect_cells(&got.subject_to_reference, settings.tolerances, cells, make_cells(&a, &b, cells),
                     1 / scale, seed);
        expect_cells(&got.reference_to_subject, settings.tolerances, cells, make_cells(&b, &a, cells),
                     1 / scale, seed);
    }
}

/* --- faces --- */

static void measure_faces(const struct mesh *subject, const struct mesh *reference,
                          struct deviation_faces *faces, struct deviation *deviation)
{
    struct arena inputs = pair_arena(0), keep = pair_arena(2);
    struct measure_input a, b;
    struct deviation_settings settings = pair_settings();
    struct error err = {.text = ""};

    cr_assert(measure_input_build(subject, MESH_SCAN, NULL, &a, &inputs, pair_arena(1), &err)
                  && measure_input_build(reference, MESH_SCAN, NULL, &b, &inputs, pair_arena(1), &err)
                  && deviation_measure(&a, &b, &settings, NULL, deviation, NULL, faces, NULL, NULL, &keep,
                                       pair_arena(1), &err),
              "%s", err.text);
}

/* Of a face's points the corners come first. */
static void expect_face_bounds(const struct face_distances *faces, const struct mesh *from,
                               const struct mesh *to, size_t points_each, uint64_t *state, const char *name)
{
    const size_t points = fixture_share(points_each) + 3;

    cr_assert(eq(sz, faces->count, from->face_count));
    for (size_t f = 0; f < from->face_count; f++) {
        const uint32_t *corner = mesh_face(from, f);
        vec3 a = from->positions[corner[0]], b = from->positions[corner[1]], c = from->positions[corner[2]],
             at = face_distance_at(faces, f);
        double lower = face_distance_lower(faces, f), upper = face_distance_upper(faces, f),
               peak = face_distance_peak(faces, f);
        for (size_t i = 0; i < points; i++) {
            double u = fixture_random_unit(state), v = fixture_random_unit(state) * (1 - u);
            vec3 inside = vec3_add(a, vec3_add(vec3_scale(vec3_sub(b, a), u), vec3_scale(vec3_sub(c, a), v)));
            double d = pair_distance(to, i == 0 ? a : i == 1 ? b : i == 2 ? c : inside);
            cr_expect(lower <= d && d <= upper, "%s: face %zu: %.17g not in [%.17g, %.17g]", name, f, d,
                      lower, upper);
        }
        cr_expect(peak <= upper && lower <= upper);
        cr_expect(pair_distance(to, at) >= peak, "%s: face %zu: %.17g at its peak, not %.17g", name, f,
                  pair_distance(to, at), peak);
        unsigned turn = triangle_longest_first(a, b, c);
        double off = sqrt(triangle_distance_sq(at,
                                               turn == 0   ? a
                                               : turn == 1 ? b
                                                           : c,
                                               turn == 0   ? b
                                               : turn == 1 ? c
                                                           : a,
                                               turn == 0   ? c
                                               : turn == 1 ? a
                                                           : b));
        cr_expect(off < 1e-12, "%s: the peak of face %zu is %g off it", name, f, off);
    }
}

Test(deviation_statistics, faces_hold_every_point_of_theirs, .timeout = 300)
{
    struct deviation_faces faces;
    struct deviation got;
    uint64_t state = 5;

    for (size_t seed = 0; seed < 12; seed += fixture_size(1, 5)) {
        struct arena arena = pair_arena(4);
        struct mesh a = random_soup(&arena, 1 + seed, 0.8, &state), b = random_soup(&arena, 20, 0.5, &state);
        measure_faces(&a, &b, &faces, &got);
        expect_face_bounds(&faces.of_subject, &a, &b, 300, &state, "soup");
        expect_face_bounds(&faces.of_reference, &b, &a, 300, &state, "soup back");
    }
    struct arena arena = pair_arena(4);
    struct mesh round = fixture_uv_sphere(&arena, 24, 13), ball = fixture_fanned(&arena, &round),
                coarse = fixture_uv_sphere(&arena, 9, 6), lump = fixture_fanned(&arena, &coarse),
                cubes = fixture_cubed_sphere(&arena, 7), cubed = fixture_fanned(&arena, &cubes),
                near = fixture_moved(&arena, &cubed, 1.001, (vec3){1e-3, 0, -1e-3});
    measure_faces(&ball, &lump, &faces, &got);
    expect_face_bounds(&faces.of_subject, &ball, &lump, 20, &state, "ball");
    expect_face_bounds(&faces.of_reference, &lump, &ball, 100, &state, "lump");
    measure_faces(&ball, &near, &faces, &got);
    expect_face_bounds(&faces.of_subject, &ball, &near, 20, &state, "ball and near");
    expect_face_bounds(&faces.of_reference, &near, &ball, 20, &state, "near");
}

Test(deviation_statistics, faces_hold_the_farthest_place)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 1), large = fixture_cube(&arena, 2);
    struct deviation_faces faces;
    struct deviation got;

    measure_faces(&cube, &large, &faces, &got);
    for (size_t f = 0; f < 6; f++) {
        double lower = face_distance_lower(&faces.of_subject, f),
               upper = face_distance_upper(&faces.of_subject, f);
        cr_expect(lower <= 0.5 && 0.5 <= upper);
        cr_expect(upper - lower < 1e-4, "%g to %g", lower, upper);
    }
    /* kept as floats, rounded outwards */
    const struct interval max = got.reference_to_subject.max.distance;
    size_t f = got.reference_to_subject.max.face;
    double peak = face_distance_peak(&faces.of_reference, f),
           upper = face_distance_upper(&faces.of_reference, f);
    cr_expect(peak <= max.lower && peak >= max.lower * (1 - 0x1p-23));
    cr_expect(upper >= max.lower && upper <= max.upper * (1 + 0x1p-22));
}

Test(deviation_statistics, shared_faces_are_at_no_distance)
{
    struct arena arena = pair_arena(4);
    struct mesh ten = fixture_grid(&arena, 10, 10), whole = fixture_fanned(&arena, &ten);
    struct mesh part = fixture_moved(&arena, &whole, 1, (vec3){0, 0, 0});
    struct deviation_settings settings = pair_settings();
    struct deviation_faces faces;
    struct deviation got;

    part.face_count = 100; /* the five rows, 0 to 5, of two triangles each */
    settings.tolerance_count = 1;
    settings.tolerances[0] = 0.5;
    got = pair_measure(&whole, &part, &settings);
    cr_expect(eq(dbl, got.reference_to_subject.mean, 0));
    cr_expect(eq(dbl, got.reference_to_subject.coverage[0].lower, 1));
    /* half is shared; beyond it the distance runs evenly to 5 */
    const struct one_sided_deviation *d = &got.subject_to_reference;
    const struct value values[] = {{"mean", d->mean, d->halfwidth.mean, 1.25},
                                   {"rms", d->rms, d->halfwidth.rms, 5 / sqrt(6)},
                                   {"median", d->median, d->halfwidth.median, 0},
                                   {"p95", d->p95, d->halfwidth.p95, 4.5}};
    expect_values(values, 4, 1e-15, 1e-4 * sqrt(125), "half a grid");
    cr_expect(d->coverage[0].lower <= 0.55 && 0.55 <= d->coverage[0].upper);
    measure_faces(&whole, &part, &faces, &got);
    cr_expect(eq(dbl, faces.of_subject.lower[0], 0));
    cr_expect(lt(dbl, faces.of_subject.upper[0], 1e-11));
}

/* --- edges --- */

Test(deviation_statistics, edge_without_area_nothing_is_defined)
{
    struct arena arena = pair_arena(4);
    struct mesh needle = pair_soup(&arena, (vec3[]){{0, 0, 0}, {1, 0, 0}, {2, 0, 0}}, 1),
                cube = fixture_cube(&arena, 1);
    struct deviation_settings settings = pair_settings();

    settings.tolerance_count = 1;
    settings.tolerances[0] = 0.1;
    struct deviation got = pair_measure(&needle, &cube, &settings);
    cr_expect(isnan(got.subject_to_reference.mean) && isnan(got.subject_to_reference.p999)
              && isnan(got.subject_to_reference.halfwidth.rms));
    cr_expect(eq(dbl, got.subject_to_reference.coverage[0].lower, 0));
    cr_expect(eq(dbl, got.subject_to_reference.coverage[0].upper, 1));
    cr_expect(not(isnan(got.reference_to_subject.mean)));
}

/* Of parts with bounds from 0 to `high`; half of the area is `far` away at least, to 2 far. */
static struct distribution distribution_of(double high, double far, double precision)
{
    enum { COUNT = 64 };
    struct part parts[COUNT] = {{.area = 0}};
    struct distribution distribution = {.classes = NULL};
    struct error err = {.text = ""};

    for (size_t i = 0; i < COUNT; i++) {
        const bool is_far = far > 0 && i % 2;
        parts[i].area = 1;
        for (int k = 0; k < 3; k++) {
            parts[i].low[k] = is_far ? (float)far : 0;
            parts[i].high[k] = is_far ? (float)(2 * far) : (float)high;
        }
    }
    cr_assert(distribution_find(parts, COUNT, precision, 2, &distribution, pair_arena(1), &err));
    return distribution;
}

Test(deviation_statistics, edge_percentiles_hold_what_may_be_0)
{
    const double highs[] = {0, 1e-30, 1e-13, 1e-12, 1e-11, 1e-6, 0.5},
                 precisions[] = {1e-9, 1e-15, 0, INFINITY};

    for (size_t h = 0; h < sizeof highs / sizeof *highs; h++)
        for (size_t k = 0; k < sizeof precisions / sizeof *precisions; k++) {
            const double high = (double)(float)highs[h], precision = precisions[k];
            struct distribution all = distribution_of(high, 0, precision),
                                half = distribution_of(high, 1.5, precision);
            for (size_t p = 0; p < DISTRIBUTION_PERCENTILES; p++) {
                cr_expect(all.percentiles[p].lower <= 0 && all.percentiles[p].upper >= high, "%g: %g to %g",
                          high, all.percentiles[p].lower, all.percentiles[p].upper);
                cr_expect(isinf(precision) || all.percentiles[p].upper <= high + precision + 1e-12);
            }
            cr_expect(half.percentiles[0].lower <= 0 && half.percentiles[0].upper >= high);
            cr_expect(half.percentiles[1].lower <= 1.5 && half.percentiles[1].upper >= 3);
            cr_expect(isinf(precision) || half.percentiles[1].lower >= 1.5 - precision - 1e-6);
        }
}

Test(deviation_statistics, edge_two_specks_far_apart)
{
    struct arena arena = pair_arena(4);
    struct mesh here = pair_soup(&arena, (vec3[]){{0, 0, 0}, {1e-6, 0, 0}, {0, 1e-6, 0}}, 1),
                there = fixture_moved(&arena, &here, 1, (vec3){0, 0, 1000});
    struct deviation_settings settings = pair_settings();
    settings.certify = 1e-2;
    struct deviation got = pair_measure(&here, &there, &settings);
    const struct one_sided_deviation *d = &got.subject_to_reference;
    const struct value values[] = {{"mean", d->mean, d->halfwidth.mean, 1000},
                                   {"rms", d->rms, d->halfwidth.rms, 1000},
                                   {"median", d->median, d->halfwidth.median, 1000},
                                   {"p99.9", d->p999, d->halfwidth.p999, 1000}};

    expect_values(values, 4, 1e-9, 1e-3, "specks");
}

Test(deviation_statistics, edge_far_from_the_origin)
{
    struct arena arena = pair_arena(4);
    struct mesh near = sheet(&arena, 2, (vec3){-1, -1, 0}), floor = sheet(&arena, 20, (vec3){-10, -10, 0});
    const vec3 away = {1048576, -2097152, 524288};
    struct deviation_settings settings = pair_settings();

    for (size_t v = 0; v < 4; v++)
        near.positions[v].z = 0.25 * (near.positions[v].x + 1);
    near = fixture_moved(&arena, &near, 1, away);
    floor = fixture_moved(&arena, &floor, 1, away);
    struct deviation got = pair_measure(&near, &floor, &settings);
    expect_even(&got.subject_to_reference, 0.5, 1e-4 * sqrt(800), "far away");
}

/* --- budgets --- */

/* Concentric spheres as meshes: between the radii less what their facets sag. */
Test(deviation_statistics, budget_ends_on_equidistant_surfaces, .timeout = 300)
{
    struct arena arena = pair_arena(4);
    struct mesh inner = fixture_cubed_sphere(&arena, 20), sphere = fixture_uv_sphere(&arena, 70, 50),
                outer = fixture_moved(&arena, &sphere, 2, (vec3){0, 0, 0});
    struct deviation_settings settings = pair_settings();
    settings.certify = 1e-5;
    struct deviation got = pair_measure(&inner, &outer, &settings);
    const struct one_sided_deviation *both[] = {&got.subject_to_reference, &got.reference_to_subject};

    for (int side = 0; side < 2; side++) {
        cr_expect(both[side]->mean + both[side]->halfwidth.mean >= 0.98, "%g +- %g", both[side]->mean,
                  both[side]->halfwidth.mean);
        cr_expect(both[side]->mean - both[side]->halfwidth.mean <= 1.02);
        cr_expect(both[side]->halfwidth.mean < 0.05, "%g", both[side]->halfwidth.mean);
    }
}

struct built {
    struct measure_input inputs[2];
    struct deviation_surface surfaces[2];
    struct deviation_frame frame;
};

static void build(const struct mesh *from, const struct mesh *to, struct built *built)
{
    struct arena keep = pair_arena(3);
    const struct measure_input *const of[2] = {&built->inputs[0], &built->inputs[1]};
    struct deviation_surface *const made[2] = {&built->surfaces[0], &built->surfaces[1]};
    struct error err = {.text = ""};

    cr_assert(measure_input_build(from, MESH_SCAN, NULL, &built->inputs[0], &keep, pair_arena(1), &err)
              && measure_input_build(to, MESH_SCAN, NULL, &built->inputs[1], &keep, pair_arena(1), &err));
    built->frame = deviation_frame_of(of[0], of[1]);
    cr_assert(deviation_surface_build_pair(of, &built->frame, 1, made, &keep, pair_arena(1), &err));
}

/* Along its axis all of a tube is equally near: what a part costs is told only by cutting some up. */
Test(deviation_statistics, budget_holds_in_the_middle_of_a_tube, .timeout = 300)
{
    struct arena arena = pair_arena(4);
    struct mesh tube = fixture_cylinder(&arena, 140, 70, 10, false),
                thin = fixture_cylinder(&arena, 6, 32, 2000, false),
                axis = fixture_moved(&arena, &thin, 0.005, (vec3){0, 0, 0});
    static struct built built;

    build(&axis, &tube, &built);
    const size_t budget =
        STATISTICS_BUDGET(built.surfaces[0].bvh.triangle_count, built.surfaces[1].bvh.triangle_count);
    for (int swapped = 0; swapped < 2; swapped++) {
        struct arena scratch = pair_arena(1);
        struct deviation_vertices vertices;
        const struct statistics_settings settings = {
            .halfwidth = 1e-5, .reach = 1, .all_vertices = swapped, .threads = 2, .vertices = &vertices};
        struct one_sided_deviation d;
        struct surface_parts parts;
        struct statistics_wide wide;
        struct error err = {.text = ""};
        cr_assert(deviation_vertices_open(&built.surfaces[swapped], &vertices, &scratch, &err));
        cr_assert(statistics_measure(&built.surfaces[swapped], &built.surfaces[1 - swapped], &settings, &d,
                                     &parts, &wide, &scratch, &err),
                  "%s", err.text);
        cr_expect(wide.means);
        cr_expect(le(sz, parts.work, budget + budget / 2));
        cr_expect(eq(int, vertices.exact, swapped));
        const double scale = deviation_frame_length(&built.frame, 1);
        cr_expect(fabs(scale * d.mean - 0.995) <= scale * d.halfwidth.mean + 0.002, "%g +- %g",
                  scale * d.mean, scale * d.halfwidth.mean);
    }
}

Test(deviation_statistics, budget_of_little_gives_wider_intervals_that_are_right)
{
    struct arena arena = pair_arena(4), scratch;
    struct mesh half = sheet(&arena, 0.5, (vec3){0, 0, 0});
    struct mesh many = fixture_grid(&arena, 30, 30),
                fine = fixture_moved(&arena, &many, 1.0 / 30, (vec3){0, 0, 0});
    static struct built built;
    struct one_sided_deviation d;
    struct surface_parts parts;
    struct error err = {.text = ""};
    double last = INFINITY;
    struct statistics_wide wide;
    struct deviation_vertices vertices;

    build(&fine, &half, &built);
    for (size_t budget = 1; budget < (size_t)1 << 26; budget *= 64) {
        struct statistics_settings settings = {
            .halfwidth = 1e-9, .reach = 1, .budget = budget, .threads = 2, .vertices = &vertices};
        scratch = pair_arena(1);
        cr_assert(deviation_vertices_open(&built.surfaces[0], &vertices, &scratch, &err));
        cr_assert(statistics_measure(&built.surfaces[0], &built.surfaces[1], &settings, &d, &parts, &wide,
                                     &scratch, &err));
        double scale = deviation_frame_length(&built.frame, 1), mean = scale * d.mean,
               error = scale * d.halfwidth.mean;
        /* of the square to its quarter: two strips of 1/4 at x - 1/2, and a corner of 1/4 where the mean way
         * to a corner of a square of side 1/2 is (sqrt 2 + asinh 1) / 6 */
        double want = 0.125 + (sqrt(2) + asinh(1)) / 24;
        cr_expect(fabs(mean - want) <= error, "budget %zu: %.12g +- %g, not %.12g", budget, mean, error,
                  want);
        cr_expect(error <= last * (1 + 1e-12), "budget %zu: %g is wider than %g", budget, error, last);
        cr_expect(wide.means);
        last = error;
    }
    cr_expect(last < 1e-4, "%g", last);
}

Test(deviation_statistics, pair_is_as_narrow_as_wanted_both_ways)
{
    struct arena arena = pair_arena(4);
    struct mesh scan = fixture_torus(&arena, 120, 60, 3, 1), cage = fixture_torus(&arena, 30, 16, 3, 1);
    struct deviation_settings settings = pair_settings();

    settings.tolerance_count = 2;
    settings.tolerances[0] = 0.01;
    settings.tolerances[1] = 0.02;
    struct deviation got = pair_measure(&cage, &scan, &settings);
    const struct one_sided_deviation *both[] = {&got.subject_to_reference, &got.reference_to_subject};
    for (int side = 0; side < 2; side++) {
        cr_expect(both[side]->halfwidth.mean <= 1e-4 * sqrt(132));
        cr_expect(both[side]->halfwidth.rms <= 1e-4 * sqrt(132));
        for (int t = 0; t < 2; t++)
            cr_expect(both[side]->coverage[t].upper - both[side]->coverage[t].lower <= 0.1, "%g to %g",
                      both[side]->coverage[t].lower, both[side]->coverage[t].upper);
        for (int t = 0; t < 2; t++)
            cr_expect(got.budget_exhausted
                          || both[side]->coverage[t].upper - both[side]->coverage[t].lower <= 0.001,
                      "wider than wanted, and not told");
    }
}
