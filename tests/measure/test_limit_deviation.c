/* test_limit_deviation.c
 *   analytic_*  closed forms: a torus cage above a plane, the corner of a square, a flat square
 *   parts_*     cages with parts that have no limit surface
 *   crease_*    creases that are used, left out, no edge
 *   same_*      whatever the number of threads; far from the origin; at the ends of the range of numbers
 *   narrow_*    maxima where all triangles cannot be as near as wanted: closed forms, and a finer surface
 *   width_*     as wanted on cages of every kind; honest where it is asked for too much
 *   work_*      within bounds, counted, beside references far away, far too small and far too large
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <string.h>

#include "measure/deviation_pair.h"
#include "measure/limit_deviation.h"
#include "support/fixture_share.h"

struct got {
    bool defined;
    size_t work;
    struct deviation deviation;
    struct deviation_field positions;
    struct deviation_faces faces;
    struct warning_list warnings;
};

static struct got measure(const struct mesh *cage, const struct mesh *reference, enum boundary_rule rule,
                          const struct creases *creases, const struct deviation_settings *settings)
{
    struct arena inputs = pair_arena(0), keep = pair_arena(2);
    struct measure_input a, b;
    struct got got = {.defined = false};
    struct limit_triangles triangles;
    struct error err = {.text = ""};
    const struct limit_request request = {
        .creases = creases, .rule = rule, .settings = settings, .want_positions = true};

    cr_assert(measure_input_build(cage, MESH_CAGE, NULL, &a, &inputs, pair_arena(1), &err)
                  && measure_input_build(reference, MESH_SCAN, NULL, &b, &inputs, pair_arena(1), &err)
                  && limit_deviation_build(&a, &b, &request, &triangles, &got.warnings, &inputs,
                                           pair_arena(1), &err),
              "%s", err.text);
    got.defined = triangles.surface.limit.triangle_count > 0;
    bool ok = !got.defined
              || limit_deviation_measure(&triangles, &b, &request, &got.deviation, &got.positions, &got.faces,
                                         &keep, pair_arena(1), &err);
    cr_assert(ok, "%s", err.text);
    got.work = triangles.source.work;
    if (got.defined) {
        expect_certified(&got.deviation.reference_to_subject, settings->tolerance_count);
        expect_certified(&got.deviation.subject_to_reference, settings->tolerance_count);
    }
    return got;
}

static size_t warned(const struct got *got, const char *code)
{
    for (size_t i = 0; i < got->warnings.count; i++)
        if (strcmp(got->warnings.entries[i].code, code) == 0)
            return got->warnings.entries[i].count;
    return 0;
}

/* A square of side 2 size about the axis z. */
static struct mesh plane_at(struct arena *arena, double size, double z)
{
    const vec3 corners[] = {{-size, -size, z}, {size, -size, z}, {size, size, z}, {-size, size, z}};
    return fixture_listed(arena, corners, 4, (uint32_t[]){4, 0, 1, 2, 3, 0});
}

/* Along the tube the surface is the uniform cubic B-spline of a regular polygon of 8 corners, whose greatest
 * height is at the corners: (4 + 2 cos 45 degrees) / 6 of the polygon's. Above it, the surface is as much
 * above as below its middle, so that the mean distance to a plane is that of the middle, and half of the area
 * is nearer than that. */
Test(limit_deviation, analytic_torus_below_a_plane)
{
    struct arena arena = pair_arena(4);
    struct mesh torus = fixture_torus(&arena, 12, 8, 3, 1), plane = plane_at(&arena, 8, 10);
    struct deviation_settings settings = pair_settings();
    const double height = (4 + 2 * cos(M_PI / 4)) / 6;
    settings.tolerance_count = 3;
    settings.tolerances[0] = 1e-9;
    settings.tolerances[1] = 10;
    settings.tolerances[2] = 12;

    struct got got = measure(&torus, &plane, BOUNDARY_EDGE_AND_CORNER, NULL, &settings);
    const struct one_sided_deviation *side = &got.deviation.subject_to_reference;
    cr_assert(got.defined);
    cr_expect_eq(got.deviation.surface, SURFACE_LIMIT);
    expect_interval(side->max.distance, 10 + height, 1e-14, 1e-4 * sqrt(512), "torus");
    cr_expect(fabs(side->mean - 10) <= side->halfwidth.mean, "%g +- %g", side->mean, side->halfwidth.mean);
    expect_interval(side->certified.mean, 10, 0, 1, "mean of the limit surface");
    cr_expect(side->coverage[0].lower == 0 && side->coverage[0].upper < 1e-3);
    cr_expect(side->coverage[1].lower <= 0.5 && 0.5 <= side->coverage[1].upper, "%g to %g",
              side->coverage[1].lower, side->coverage[1].upper);
    cr_expect(side->coverage[1].lower > 0.48 && side->coverage[1].upper < 0.52);
    cr_expect(side->coverage[2].lower == 1 && side->coverage[2].upper == 1);
    cr_expect(lt(sz, side->max.face, torus.face_count));
    /* its lowest circle is along the polygon's corners, so the face has one of them */
    const uint32_t *face = mesh_face(&torus, side->max.face);
    double lowest = 0;
    for (int i = 0; i < 4; i++)
        lowest = fmin(lowest, torus.positions[face[i]].z);
    cr_expect(fabs(lowest + 1) < 1e-12, "the face reaches down to %g", lowest);
    cr_expect_eq(got.warnings.count, 0);
}

/* Corners held, the limit of a flat square is the square. */
Test(limit_deviation, analytic_flat_square_is_its_own_limit)
{
    struct arena arena = pair_arena(4);
    struct mesh square = fixture_grid(&arena, 4, 4), fine = fixture_grid(&arena, 4, 4);
    struct deviation_settings settings = pair_settings();

    struct got got = measure(&square, &fine, BOUNDARY_EDGE_AND_CORNER, NULL, &settings);
    cr_assert(got.defined);
    expect_interval(got.deviation.hausdorff, 0, 0, 1e-4 * sqrt(32), "flat");
    cr_expect(got.deviation.reference_to_subject.mean <= got.deviation.reference_to_subject.halfwidth.mean);
}

/* Its limit is the square itself, face by face, and lies below a slope z = x / 8 by x / sqrt 65. */
Test(limit_deviation, analytic_faces_of_a_flat_square_below_a_slope)
{
    struct arena arena = pair_arena(4);
    struct mesh square = fixture_grid(&arena, 4, 4), slope = plane_at(&arena, 6, 0);
    struct deviation_settings settings = pair_settings();

    for (size_t v = 0; v < slope.vertex_count; v++)
        slope.positions[v].z = slope.positions[v].x / 8;
    struct got got = measure(&square, &slope, BOUNDARY_EDGE_AND_CORNER, NULL, &settings);
    const struct face_distances *faces = &got.faces.of_subject;
    cr_assert(eq(sz, faces->count, 16));
    for (size_t f = 0; f < 16; f++) {
        double least = (double)(f % 4) / sqrt(65), most = (double)(f % 4 + 1) / sqrt(65);
        expect_interval((struct interval){face_distance_lower(faces, f), least}, least, least, 0.01, "least");
        expect_interval((struct interval){face_distance_peak(faces, f), face_distance_upper(faces, f)}, most,
                        most, 0.01, "most");
        vec3 at = face_distance_at(faces, f);
        cr_expect(fabs(at.x / sqrt(65) - face_distance_peak(faces, f)) < 0.01, "at x = %g", at.x);
    }
    cr_expect(eq(sz, got.faces.of_reference.count, slope.face_count));
}

/* Corners let go, the end of a corner v with neighbours l and r is (l + 4 v + r) / 6, which is the nearest
 * point to v by symmetry; the rest of the outline stays. */
Test(limit_deviation, analytic_corner_of_a_square_is_rounded)
{
    struct arena arena = pair_arena(4);
    struct mesh square = fixture_grid(&arena, 4, 4);
    struct deviation_settings settings = pair_settings();

    struct got got = measure(&square, &square, BOUNDARY_EDGE_ONLY, NULL, &settings);
    expect_interval(got.deviation.reference_to_subject.max.distance, sqrt(2) / 6, 1e-14, 1e-4 * sqrt(32),
                    "corner");
    expect_interval(got.deviation.subject_to_reference.max.distance, 0, 0, 1e-4 * sqrt(32), "inside");
    vec3 at = got.deviation.reference_to_subject.max.at;
    cr_expect(fabs(fabs(at.x - 2) - 2) < 1e-3 && fabs(fabs(at.y - 2) - 2) < 1e-3, "at %g %g", at.x, at.y);
    cr_expect(eq(sz, got.positions.count, 3 * square.vertex_count));
    cr_expect_str_eq(got.positions.name, "limit_position");
    cr_expect(fabs(got.positions.values[0] - 1.0 / 6) < 1e-12, "%g", got.positions.values[0]);
}

/* Every edge of a cube sharp for ever: the limit is the cube. */
Test(limit_deviation, crease_holds_the_edges_of_a_cube)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 2);
    struct creases creases = {0, (uint32_t(*)[2])arena_alloc(&arena, 25, 8, 8),
                              ARENA_NEW(&arena, double, 25)};
    struct deviation_settings settings = pair_settings();

    settings.certify = fixture_wider(1e-4);
    for (size_t c = 0; c < mesh_corner_count(&cube); c++) {
        uint32_t a = cube.face_vertices[c], b = cube.face_vertices[c % 4 == 3 ? c - 3 : c + 1];
        creases.edges[creases.count][0] = a;
        creases.edges[creases.count][1] = b;
        creases.sharpness[creases.count++] = 10;
    }
    struct got got = measure(&cube, &cube, BOUNDARY_EDGE_AND_CORNER, &creases, &settings);
    expect_interval(got.deviation.hausdorff, 0, 0, settings.certify * 2 * sqrt(3), "sharp cube");
    cr_expect_eq(got.warnings.count, 0);

    got = measure(&cube, &cube, BOUNDARY_EDGE_AND_CORNER, NULL, &settings);
    cr_expect(got.deviation.hausdorff.lower > 0.5);

    /* two vertices that no edge joins: the farthest corners */
    for (uint32_t v = 1; v < 8; v++)
        if (vec3_distance(cube.positions[0], cube.positions[v]) > 3.4)
            creases.edges[creases.count][1] = v;
    creases.edges[creases.count][0] = 0;
    creases.sharpness[creases.count++] = 1;
    got = measure(&cube, &cube, BOUNDARY_EDGE_AND_CORNER, &creases, &settings);
    cr_expect(eq(sz, warned(&got, "crease_without_edge"), 1));
}

Test(limit_deviation, parts_that_are_not_manifold_are_told)
{
    struct arena arena = pair_arena(4);
    const vec3 corners[] = {{0, 0, 0}, {0, 0, 1}, {1, 0, 0},  {1, 0, 1},
                            {0, 1, 0}, {0, 1, 1}, {-1, 0, 0}, {-1, 0, 1}};
    struct mesh fin =
        fixture_listed(&arena, corners, 8, (uint32_t[]){4, 0, 1, 3, 2, 4, 0, 1, 5, 4, 4, 0, 1, 7, 6, 0});
    struct deviation_settings settings = pair_settings();

    struct got got = measure(&fin, &fin, BOUNDARY_EDGE_AND_CORNER, NULL, &settings);
    cr_expect(got.defined);
    cr_expect(eq(sz, warned(&got, "no_limit_surface"), 3), "one edge and its two ends: %zu",
              warned(&got, "no_limit_surface"));
    /* all edges are straight and every outline is held at its corners: the limit is the fin itself */
    expect_interval(got.deviation.hausdorff, 0, 0, 1e-4 * 3, "fin");

    struct mesh folded = fixture_listed(&arena, corners, 8, (uint32_t[]){4, 0, 1, 0, 2, 0});
    got = measure(&folded, &fin, BOUNDARY_EDGE_AND_CORNER, NULL, &settings);
    cr_expect_not(got.defined);
    cr_expect(eq(sz, warned(&got, "no_limit_surface"), 1));
}

/* A shaken sphere of quads below the same one finer, so that nothing is regular or symmetric. */
static struct mesh shaken_sphere(struct arena *arena, size_t k, double amount)
{
    struct mesh mesh = fixture_cubed_sphere(arena, k);
    uint64_t state = 51;

    for (size_t v = 0; v < mesh.vertex_count; v++)
        mesh.positions[v] = vec3_scale(mesh.positions[v], 1 + amount * (fixture_random_unit(&state) - 0.5));
    return mesh;
}

Test(limit_deviation, same_bytes_for_any_number_of_threads)
{
    struct arena arena = pair_arena(4);
    struct mesh cage = shaken_sphere(&arena, 3, 0.1), scan = fixture_cubed_sphere(&arena, 12);
    struct deviation_settings settings = pair_settings();

    settings.tolerance_count = 1;
    settings.tolerances[0] = 0.05;
    settings.certify = fixture_wider(1e-4);
    settings.threads = 1;
    struct got one = measure(&cage, &scan, BOUNDARY_EDGE_ONLY, NULL, &settings);
    for (settings.threads = 2; settings.threads <= 3; settings.threads++) {
        struct got more = measure(&cage, &scan, BOUNDARY_EDGE_ONLY, NULL, &settings);
        cr_expect(memcmp(&one.deviation, &more.deviation, sizeof one.deviation) == 0, "%zu threads",
                  settings.threads);
    }
}

static void expect_overlap(struct interval a, struct interval b, double factor, double slack,
                           const char *name)
{
    cr_expect(a.lower <= b.upper / factor + slack && b.lower / factor <= a.upper + slack,
              "%s: %.17g to %.17g, %.17g to %.17g", name, a.lower, a.upper, b.lower / factor,
              b.upper / factor);
}

/* 1e6 diagonals away a coordinate has 2^-53 x 3.5e6 = 4e-10 of the cage's unit; at 1e300 and 1e-300 no
 * product of two lengths is a number. */
Test(limit_deviation, same_far_away_and_at_the_ends_of_the_numbers)
{
    struct arena arena = pair_arena(4);
    struct mesh cage = shaken_sphere(&arena, 3, 0.1), scan = fixture_cubed_sphere(&arena, 12);
    struct deviation_settings settings = pair_settings();
    static const struct {
        const char *name;
        double scale;
        vec3 shift;
    } cases[] = {
        {"far", 1, {3.5e6, -3.5e6, 3.5e6}}, {"large", 1e300, {0, 0, 0}}, {"small", 1e-300, {0, 0, 0}}};
    settings.certify = fixture_wider(1e-4);
    const struct interval near_one =
        measure(&cage, &scan, BOUNDARY_EDGE_ONLY, NULL, &settings).deviation.hausdorff;

    for (size_t i = 0; i < 3; i++) {
        struct arena here = arena;
        struct mesh moved = fixture_moved(&here, &cage, cases[i].scale, cases[i].shift),
                    moved_scan = fixture_moved(&here, &scan, cases[i].scale, cases[i].shift);
        struct got got = measure(&moved, &moved_scan, BOUNDARY_EDGE_ONLY, NULL, &settings);
        cr_assert(got.defined);
        cr_expect_not(got.deviation.budget_exhausted, "%s", cases[i].name);
        expect_overlap(near_one, got.deviation.hausdorff, cases[i].scale, 2e-9, cases[i].name);
        cr_expect(got.deviation.hausdorff.upper - got.deviation.hausdorff.lower
                      <= settings.certify * 2 * sqrt(3) * cases[i].scale,
                  "%s", cases[i].name);
    }
}

/* Certified statistics, wider than `wanted` but within a fiftieth of themselves; sampled ones are neither. */
static bool is_wide(const struct one_sided_deviation *deviation, double wanted)
{
    double mean = deviation->halfwidth.mean, rms = deviation->halfwidth.rms;

    if (deviation->sample_count > 0)
        return false;
    cr_expect(mean <= fmax(wanted, 0.03 * deviation->mean) && rms <= fmax(wanted, 0.03 * deviation->rms),
              "mean %g, RMS %g", mean, rms);
    return mean > wanted || rms > wanted;
}

/* The sphere's cage with a face taken out, with sharp edges, with an n-gon, with poles of many triangles. */
Test(limit_deviation, width_is_as_wanted_for_cages_of_every_kind)
{
    struct arena arena = pair_arena(4);
    struct mesh scan = fixture_cubed_sphere(&arena, 10), prism = fixture_cylinder(&arena, 9, 2, 1, true),
                poles = fixture_uv_sphere(&arena, 20, 6), open = shaken_sphere(&arena, 2, 0.2),
                band = fixture_moebius(&arena, 7), shaken = shaken_sphere(&arena, 2, 0.2);
    struct creases creases = {3, (uint32_t[][2]){{0, 0}, {0, 0}, {0, 0}}, (double[]){10, 2.5, 0.5}};
    struct deviation_settings settings = pair_settings();

    settings.certify = fixture_wider(1e-4);
    open.face_count -= 2;
    for (size_t c = 0; c < 3; c++) { /* three sides of the first faces */
        creases.edges[c][0] = mesh_face(&shaken, c)[0];
        creases.edges[c][1] = mesh_face(&shaken, c)[1];
    }
    const struct {
        const char *name;
        const struct mesh *cage;
        const struct creases *creases;
        enum boundary_rule rule;
    } cases[] = {{"prism", &prism, NULL, BOUNDARY_EDGE_ONLY},
                 {"poles", &poles, NULL, BOUNDARY_EDGE_ONLY},
                 {"open, corners let go", &open, NULL, BOUNDARY_EDGE_ONLY},
                 {"open, corners held", &open, NULL, BOUNDARY_EDGE_AND_CORNER},
                 {"band", &band, NULL, BOUNDARY_EDGE_AND_CORNER},
                 {"creases", &shaken, &creases, BOUNDARY_EDGE_ONLY}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct got got = measure(cases[i].cage, &scan, cases[i].rule, cases[i].creases, &settings);
        const struct interval lost = got.deviation.reference_to_subject.max.distance,
                              invented = got.deviation.subject_to_reference.max.distance;
        cr_assert(got.defined);
        cr_expect(eq(int, got.deviation.budget_exhausted,
                     is_wide(&got.deviation.reference_to_subject, settings.certify * 2 * sqrt(3))
                         || is_wide(&got.deviation.subject_to_reference, settings.certify * 2 * sqrt(3))),
                  "%s", cases[i].name);
        cr_expect(lost.upper - lost.lower <= settings.certify * 2 * sqrt(3), "%s", cases[i].name);
        cr_expect(invented.upper - invented.lower <= settings.certify * 2 * sqrt(3), "%s", cases[i].name);
    }
}

/* Ten times narrower than usual: whether or not the pieces do, the truth is inside, and said so. */
Test(limit_deviation, width_of_a_hundred_thousandth_is_honest)
{
    struct arena arena = pair_arena(4);
    struct mesh torus = fixture_torus(&arena, 12, 8, 3, 1), plane = plane_at(&arena, 8, 10);
    struct deviation_settings settings = pair_settings();
    settings.certify = fixture_wider(1e-5);
    struct got got = measure(&torus, &plane, BOUNDARY_EDGE_ONLY, NULL, &settings);
    struct interval max = got.deviation.subject_to_reference.max.distance;
    const double truth = 10 + (4 + 2 * cos(M_PI / 4)) / 6;
    cr_expect(max.lower <= truth && truth <= max.upper, "%.17g to %.17g", max.lower, max.upper);
    cr_expect(got.deviation.budget_exhausted || max.upper - max.lower <= settings.certify * sqrt(512));
}

/* Where far more triangles would be needed than there are: the greatest height is still known as asked, since
 * only the faces about it are cut so finely. */
Test(limit_deviation, narrow_about_the_closed_form_of_a_torus)
{
    struct arena arena = pair_arena(4);
    struct mesh torus = fixture_torus(&arena, 48, 32, 3, 1), plane = plane_at(&arena, 8, 10);
    struct deviation_settings settings = pair_settings();
    const double wanted = 1e-5 * sqrt(512), truth = 10 + (4 + 2 * cos(2 * M_PI / 32)) / 6;

    settings.certify = 1e-5;
    struct got got = measure(&torus, &plane, BOUNDARY_EDGE_ONLY, NULL, &settings);
    expect_interval(got.deviation.subject_to_reference.max.distance, truth, 1e-13, wanted, "height");
    cr_expect(got.deviation.subject_to_reference.halfwidth.mean > 0.6 * wanted,
              "all triangles are that near");
}

/* Both ways, the corner of a plate let go: a closed form, while the rest of the plate is shaken. */
Test(limit_deviation, narrow_from_the_reference_at_a_rounded_corner)
{
    struct arena arena = pair_arena(4);
    struct mesh square = fixture_grid(&arena, 60, 60), fine = fixture_grid(&arena, 240, 240),
                scan = fixture_moved(&arena, &fine, 0.25, (vec3){0, 0, 0});
    struct deviation_settings settings = pair_settings();
    uint64_t state = 7;
    const double wanted = fixture_wider(3e-6) * 60 * sqrt(2);

    for (size_t v = 0; v < square.vertex_count; v++) {
        vec3 p = square.positions[v];
        if (p.x > 8 && p.y > 8 && p.x < 52 && p.y < 52)
            square.positions[v].z = 0.08 * (fixture_random_unit(&state) - 0.5);
    }
    settings.certify = fixture_wider(3e-6);
    struct got got = measure(&square, &scan, BOUNDARY_EDGE_ONLY, NULL, &settings);
    expect_interval(got.deviation.reference_to_subject.max.distance, sqrt(2) / 6, 1e-13, wanted, "corner");
    vec3 at = got.deviation.reference_to_subject.max.at;
    cr_expect(fabs(fabs(at.x - 30) - 30) < 1e-3 && fabs(fabs(at.y - 30) - 30) < 1e-3, "at %g %g", at.x, at.y);
    cr_expect(got.deviation.reference_to_subject.max.nearest_face < square.face_count);
}

static struct interval both_of(const struct got *got, int way)
{
    return way ? got->deviation.reference_to_subject.max.distance
               : got->deviation.subject_to_reference.max.distance;
}

/* A rough sphere: what is certified with few and with many triangles of the same surface overlaps, and what
 * is not as narrow as wanted is said to be so. */
Test(limit_deviation, narrow_intervals_overlap_those_of_other_tolerances)
{
    struct arena arena = pair_arena(4);
    struct mesh cage = shaken_sphere(&arena, 6, 0.4), scan = fixture_cubed_sphere(&arena, 16);
    struct deviation_settings settings = pair_settings();
    struct got got[3];
    const size_t count = fixture_size(3, 2);
    const double certify[3] = {1e-3, 1e-5, 1e-6};

    for (size_t i = 0; i < count; i++) {
        settings.certify = certify[i];
        got[i] = measure(&cage, &scan, BOUNDARY_EDGE_ONLY, NULL, &settings);
        for (int way = 0; way < 2; way++) {
            struct interval now = both_of(&got[i], way), before = both_of(&got[0], way);
            cr_expect(now.lower <= before.upper && before.lower <= now.upper, "%g: %.17g to %.17g",
                      certify[i], now.lower, now.upper);
            cr_expect(now.upper - now.lower <= certify[i] * 2 * sqrt(3) || got[i].deviation.budget_exhausted,
                      "%g, way %d: %g", certify[i], way, now.upper - now.lower);
            cr_expect(now.upper - now.lower <= 0.5 * (before.upper - before.lower) || i == 0, "%g, way %d",
                      certify[i], way);
        }
    }
}

/* A sheet of triangles in waves: each of them is three quads with two extraordinary corners. */
static struct mesh wavy_sheet(struct arena *arena, size_t side)
{
    struct mesh sheet = fixture_grid(arena, side, side), triangles = sheet;
    size_t count = 2 * sheet.face_count;

    triangles.face_count = count;
    triangles.face_offsets = ARENA_NEW(arena, uint32_t, count + 1);
    triangles.face_vertices = ARENA_NEW(arena, uint32_t, 3 * count);
    for (size_t f = 0; f <= count; f++)
        triangles.face_offsets[f] = (uint32_t)(3 * f);
    for (size_t f = 0; f < count; f++)
        for (size_t k = 0; k < 3; k++) {
            const uint32_t *face = mesh_face(&sheet, f / 2);
            triangles.face_vertices[3 * f + k] = face[f % 2 == 0 || k == 0 ? k : k + 1];
        }
    for (size_t v = 0; v < sheet.vertex_count; v++) {
        vec3 *p = &triangles.positions[v];
        p->z = sin(0.7 * p->x) + cos(0.5 * p->y);
    }
    return triangles;
}

/* The wanted width goes with the reference, not with the cage: the work must not. */
Test(limit_deviation, work_is_bounded_beside_any_reference)
{
    struct arena arena = pair_arena(4);
    struct mesh sheet = wavy_sheet(&arena, 12), cube = fixture_cubed_sphere(&arena, 2);
    const struct {
        const char *name;
        double scale;
        vec3 move;
    } cases[] = {{"a thousand units away", 1, {750, 750, 750}},
                 {"far too small, on the sheet", 1e-3, {6, 6, 1}},
                 {"a point beside it, nearly", 1e-9, {6, 6, 1}},
                 {"far too large", 1e3, {0, 0, 0}}};
    const size_t room = LIMIT_WORK_MIN + LIMIT_WORK_OF_FACE * sheet.face_count;
    struct deviation_settings settings = pair_settings();

    for (size_t i = 0; i < fixture_size(sizeof cases / sizeof *cases, 1); i++) {
        struct mesh scan = fixture_moved(&arena, &cube, cases[i].scale, cases[i].move);
        struct got got = measure(&sheet, &scan, BOUNDARY_EDGE_AND_CORNER, NULL, &settings);
        const double wanted = settings.certify * 2 * sqrt(3) * cases[i].scale;
        cr_expect(le(sz, got.work, 2 * room + 2 * LIMIT_WORK_NARROW), "%s", cases[i].name);
        for (int way = 0; way < 2; way++) {
            struct interval max = both_of(&got, way);
            cr_expect(got.deviation.budget_exhausted || max.upper - max.lower <= wanted, "%s", cases[i].name);
        }
        cr_expect(got.deviation.budget_exhausted
                      || got.deviation.reference_to_subject.halfwidth.mean <= wanted,
                  "%s", cases[i].name);
    }
}
