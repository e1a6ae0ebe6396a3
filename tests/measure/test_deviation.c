/* test_deviation.c
 *   analytic_*    the cases of closed form: cubes, octahedra, squares, turned and shifted ones, spheres
 *   zero_*        a surface against itself or a part of itself
 *   angle_*       normal angles that are known
 *   signed_*      sides, also of files that list faces inwards
 *   fields_*      one value a vertex
 *   same_*        threads, repeats, offset, scale, listing: the same numbers
 *   refused_*     no face, no memory, cancelled
 *   warned_*      polygons that became fans
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <string.h>

#include "measure/deviation_pair.h"
#include "support/fixture_share.h"

/* The value printed is within its stated half-width of the truth, known within `error`, and that is small. */
static void expect_statistic(double got, double halfwidth, double want, double error, double small,
                             const char *name)
{
    cr_expect(fabs(got - want) <= halfwidth + error, "%s: %.12g +- %g, not %.12g", name, got, halfwidth,
              want);
    cr_expect(halfwidth <= small, "%s: half-width %g", name, halfwidth);
}

struct want {
    const char *name;
    double h, mean, rms; /* h: one-sided maximum */
};

/* error: of the numbers wanted, where they come from quadrature */
static void expect_side(const struct one_sided_deviation *got, struct want want, double error, double width,
                        double size)
{
    expect_interval(got->max.distance, want.h, error, width, want.name);
    expect_statistic(got->mean, got->halfwidth.mean, want.mean, error, 1e-4 * size, want.name);
    expect_statistic(got->rms, got->halfwidth.rms, want.rms, error, 1e-4 * size, want.name);
    expect_interval(got->certified.mean, want.mean, error, INFINITY, want.name);
    expect_interval(got->certified.rms, want.rms, error, INFINITY, want.name);
    /* the places are that far apart */
    double apart = vec3_distance(got->max.at, got->max.nearest);
    cr_expect(apart >= got->max.distance.lower * (1 - 1e-12)
                  && apart <= got->max.distance.upper * (1 + 1e-12),
              "%s: the places are %g apart", want.name, apart);
}

static void expect_pair(const struct mesh *a, const struct mesh *b, struct want ab, struct want ba,
                        double error)
{
    const double certify[] = {1e-4, 1e-6}; /* the latter is more than the budget of means allows */

    for (int i = 0; i < 2; i++) {
        struct deviation_settings settings = pair_settings();
        settings.certify = certify[i];
        struct deviation got = pair_measure(a, b, &settings);
        aabb box = aabb_empty();
        for (size_t v = 0; v < b->vertex_count; v++)
            box = aabb_include(box, b->positions[v]);
        double size = aabb_diagonal(box), width = certify[i] * size;
        expect_side(&got.subject_to_reference, ab, error, width, size);
        expect_side(&got.reference_to_subject, ba, error, width, size);
        expect_interval(got.hausdorff, fmax(ab.h, ba.h), error, width, ab.name);
        cr_expect(i == 1 || !got.budget_exhausted, "%s", ab.name);
    }
}

Test(deviation, analytic_concentric_cubes)
{
    struct arena arena = pair_arena(4);
    struct mesh small = fixture_cube(&arena, 1), large = fixture_cube(&arena, 2);

    expect_pair(&small, &large, (struct want){"cube to cube twice as large", 0.5, 0.5, 0.5},
                (struct want){"and back", 0.866025403784439, 0.572047053083255, 0.577350269189626}, 1e-15);
}

Test(deviation, analytic_octahedra)
{
    struct arena arena = pair_arena(4);
    struct mesh small = fixture_platonic(&arena, 8);
    /* the fixture's corners are at distance 1 from the centre: edge sqrt 2 */
    struct mesh large = fixture_moved(&arena, &small, 1.5, (vec3){0, 0, 0});
    const double gap = 0.5 / sqrt(3);

    /* mean and RMS back are from quadrature, six figures */
    expect_pair(&small, &large, (struct want){"octahedron outwards", gap, gap, gap},
                (struct want){"octahedron inwards", 0.5, 0.305590, 0.306815}, 5e-7);
}

Test(deviation, analytic_squares)
{
    struct arena arena = pair_arena(4);
    struct mesh square = fixture_grid(&arena, 1, 1);
    struct mesh above = fixture_moved(&arena, &square, 1, (vec3){0, 0, 0.3});
    struct mesh half = fixture_moved(&arena, &square, 1, (vec3){0, 0, 0}),
                turned = fixture_moved(&arena, &square, 1, (vec3){0, 0, 0});
    const double angle = 10 * 3.14159265358979323846 / 180;

    for (size_t v = 0; v < 4; v++) {
        half.positions[v].x *= 0.5;
        turned.positions[v] = (vec3){turned.positions[v].x * cos(angle), turned.positions[v].y,
                                     turned.positions[v].x * sin(angle)};
    }
    expect_pair(&square, &above, (struct want){"parallel squares", 0.3, 0.3, 0.3},
                (struct want){"parallel squares back", 0.3, 0.3, 0.3}, 1e-15);
    expect_pair(&square, &half, (struct want){"square to its half", 0.5, 0.125, 0.204124145231932},
                (struct want){"half to whole", 0, 0, 0}, 1e-15);
    expect_pair(&square, &turned,
                (struct want){"turned square", 0.17364817766693, sin(angle) / 2, sin(angle) / sqrt(3)},
                (struct want){"turned square back", 0.17364817766693, sin(angle) / 2, sin(angle) / sqrt(3)},
                1e-14);
}

Test(deviation, analytic_shifted_cube)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 1), shifted = fixture_moved(&arena, &cube, 1, (vec3){0.1, 0, 0});
    struct want want = {"shifted cube", 0.1, 151.0 / 4500, 0.05607535};

    expect_pair(&cube, &shifted, want, want, 5e-9);
}

/* Regular solids scaled about the centre by 1.25: outwards a quarter of the inradius everywhere, back a
 * quarter of the circumradius at a corner. Edge length a; inradius and circumradius of the solids in terms of
 * it are textbook formulas. */
Test(deviation, analytic_regular_solids)
{
    struct arena arena = pair_arena(4);
    const double phi = (1 + sqrt(5)) / 2;
    const struct {
        int faces;
        double inradius, circumradius;
    } cases[] = {
        {4, 2 * sqrt(2) / sqrt(24), 2 * sqrt(2) * sqrt(6) / 4},
        {6, 1, sqrt(3)},
        {8, sqrt(2) * sqrt(6) / 6, 1},
        {12, (sqrt(5) - 1) / 2 * sqrt(2.5 + 1.1 * sqrt(5)), (sqrt(5) - 1) * sqrt(3) * phi / 2},
        {20, 2 * phi * phi / (2 * sqrt(3)), 2 * sqrt(phi * sqrt(5)) / 2},
    };

    for (size_t i = 0; i < 5; i++) {
        struct mesh solid = fixture_platonic(&arena, cases[i].faces);
        struct mesh larger = fixture_moved(&arena, &solid, 1.25, (vec3){0, 0, 0});
        struct deviation_settings settings = pair_settings();
        struct deviation got = pair_measure(&solid, &larger, &settings);
        double width = 1e-4 * 1.25 * 2 * 2 * cases[i].circumradius;
        expect_interval(got.subject_to_reference.max.distance, cases[i].inradius / 4, 1e-14, width,
                        "inradius");
        expect_interval(got.reference_to_subject.max.distance, cases[i].circumradius / 4, 1e-14, width,
                        "circumradius");
    }
}

Test(deviation, analytic_far_shell_changes_one_direction_only)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 2), stray = fixture_moved(&arena, &cube, 0.05, (vec3){7, 0, 0});
    struct mesh both = fixture_joined(&arena, &cube, &stray);
    struct deviation_settings settings = pair_settings();
    struct deviation got = pair_measure(&both, &cube, &settings);

    /* the stray cube's far side: x = 7.05, from the plane x = 1 */
    expect_interval(got.subject_to_reference.max.distance, 6.05, 1e-15, 1e-4 * sqrt(12), "stray shell");
    expect_interval(got.reference_to_subject.max.distance, 0, 0, 1e-4 * sqrt(12), "nothing lost");
    cr_expect(got.subject_to_reference.max.face >= 6, "the face is of the stray shell");
    cr_expect(eq(dbl, got.reference_to_subject.max.distance.lower, 0));
}

Test(deviation, analytic_coverage_and_percentiles)
{
    struct arena arena = pair_arena(4);
    struct mesh square = fixture_grid(&arena, 1, 1),
                half = fixture_moved(&arena, &square, 1, (vec3){0, 0, 0});
    struct deviation_settings settings = pair_settings();

    for (size_t v = 0; v < 4; v++)
        half.positions[v].x *= 0.5;
    settings.tolerance_count = 4;
    const double tolerances[4] = {0.1, 0.25, 0.4999, 0.6};
    memcpy(settings.tolerances, tolerances, sizeof tolerances);
    struct deviation got = pair_measure(&square, &half, &settings);
    const struct one_sided_deviation *d = &got.subject_to_reference;
    /* distance 0 on half of the area, then even up to 0.5: within t lies 0.5 + t */
    for (int t = 0; t < 3; t++) {
        cr_expect(d->coverage[t].lower <= 0.5 + tolerances[t] && 0.5 + tolerances[t] <= d->coverage[t].upper,
                  "within %g: [%g, %g]", tolerances[t], d->coverage[t].lower, d->coverage[t].upper);
        cr_expect(d->coverage[t].upper - d->coverage[t].lower <= 0.001);
    }
    cr_expect(eq(dbl, d->coverage[3].lower, 1), "the certified maximum is within 0.6");
    cr_expect(eq(dbl, d->coverage[3].upper, 1));
    expect_statistic(d->p95, d->halfwidth.p95, 0.45, 0, 2e-4, "p95");
    expect_statistic(d->p99, d->halfwidth.p99, 0.49, 0, 2e-4, "p99");
    expect_statistic(d->p999, d->halfwidth.p999, 0.499, 0, 2e-4, "p99.9");
    expect_statistic(d->median, d->halfwidth.median, 0, 0, 2e-4, "median");
}

Test(deviation, zero_of_a_mesh_against_itself)
{
    struct arena arena = pair_arena(4);
    struct mesh sphere = fixture_cubed_sphere(&arena, 8);
    struct deviation_settings settings = pair_settings();
    settings.tolerance_count = 1;
    settings.tolerances[0] = 0.01;
    struct deviation got = pair_measure(&sphere, &sphere, &settings);

    expect_interval(got.hausdorff, 0, 0, 1e-10, "itself");
    cr_expect(eq(dbl, got.hausdorff.lower, 0));
    cr_expect(eq(dbl, got.subject_to_reference.mean, 0));
    cr_expect(eq(dbl, got.subject_to_reference.coverage[0].lower, 1));
    cr_expect(lt(dbl, got.subject_to_reference.normal_angle.max, 1e-6));
    cr_expect(not(got.budget_exhausted));
}

Test(deviation, angle_between_turned_and_reversed_squares)
{
    struct arena arena = pair_arena(4);
    struct mesh square = fixture_grid(&arena, 2, 2),
                turned = fixture_moved(&arena, &square, 1, (vec3){0, 0, 0});
    struct mesh reversed = fixture_reversed(&arena, &square);
    struct deviation_settings settings = pair_settings();

    for (size_t v = 0; v < turned.vertex_count; v++)
        turned.positions[v] =
            (vec3){turned.positions[v].x * 0.8, turned.positions[v].y, turned.positions[v].x * 0.6};
    struct deviation got = pair_measure(&square, &turned, &settings);
    const double degrees = atan2(0.6, 0.8) * 180 / 3.14159265358979323846;
    cr_expect(fabs(got.subject_to_reference.normal_angle.mean - degrees) < 1e-9);
    cr_expect(fabs(got.reference_to_subject.normal_angle.p95 - degrees) < 1e-9);
    cr_expect(fabs(got.reference_to_subject.normal_angle.max - degrees) < 1e-9);
    /* open surfaces have no side: the listing counts */
    got = pair_measure(&square, &reversed, &settings);
    cr_expect(fabs(got.subject_to_reference.normal_angle.mean - 180) < 1e-9);
}

Test(deviation, angle_does_not_depend_on_how_closed_files_list_faces)
{
    struct arena arena = pair_arena(4);
    struct mesh sphere = fixture_cubed_sphere(&arena, 6), reversed = fixture_reversed(&arena, &sphere);
    struct deviation_settings settings = pair_settings();
    struct deviation got = pair_measure(&reversed, &sphere, &settings);

    cr_expect(lt(dbl, got.subject_to_reference.normal_angle.max, 1e-6));
}

static void expect_signed(const struct mesh *subject, const struct mesh *reference, double low, double high,
                          double mean, double error, const char *name)
{
    struct deviation_settings settings = pair_settings();
    struct deviation got = pair_measure(subject, reference, &settings);

    cr_assert(got.signed_.defined, "%s", name);
    cr_expect(fabs(got.signed_.min - low) < 1e-12, "%s: min %g", name, got.signed_.min);
    cr_expect(fabs(got.signed_.max - high) < 1e-12, "%s: max %g", name, got.signed_.max);
    cr_expect(fabs(got.signed_.mean - mean) < error, "%s: mean %g", name, got.signed_.mean);
    cr_expect(got.signed_.p05 >= got.signed_.min && got.signed_.p95 <= got.signed_.max
              && got.signed_.p05 <= got.signed_.p95);
}

Test(deviation, signed_inside_and_outside_of_a_cube)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 2), small = fixture_cube(&arena, 1),
                large = fixture_cube(&arena, 3);
    struct mesh inward = fixture_reversed(&arena, &cube);
    struct mesh shifted = fixture_moved(&arena, &cube, 1, (vec3){0.2, 0, 0});
    struct mesh open = fixture_grid(&arena, 2, 2);
    struct deviation_settings settings = pair_settings();

    expect_signed(&small, &cube, -0.5, -0.5, -0.5, 1e-12, "inside");
    expect_signed(&small, &inward, -0.5, -0.5, -0.5, 1e-12, "inside, listed inwards");
    /* corners are sqrt 3 / 2 outside; faces' middles 1/2. The mean of the distance from the cube of side 3 to
     * that of side 2, scaled from cubes 2 and 1 by 1.5 and 2: only its bounds are used */
    expect_signed(&large, &cube, 0.5, sqrt(3) / 2, 0.55, 0.05, "outside");
    expect_signed(&large, &inward, 0.5, sqrt(3) / 2, 0.55, 0.05, "outside, listed inwards");
    /* shifted by 0.2 along x, by integrals over the faces: in front 0.2 over 4; behind min(0.2, way to the
     * rim) over 4, a frustum of height 0.2 over squares of 2 and 1.6; at the four sides up to 0.2 over 1.6 */
    expect_signed(&shifted, &cube, -0.2, 0.2, (0.8 - (4 + 2.56 + 3.2) * 0.2 / 3 + 0.16) / 24, 1e-3,
                  "shifted");
    cr_expect(not(pair_measure(&cube, &open, &settings).signed_.defined), "an open reference has no sides");
}

/* One vertex of a sphere stands out, by more than another is pushed in: samples meet neither, and the first
 * must not hide the second. */
Test(deviation, signed_extremes_of_single_vertices)
{
    struct arena arena = pair_arena(6);
    struct mesh quads = fixture_cubed_sphere(&arena, 12), round = fixture_fanned(&arena, &quads),
                spoiled = fixture_moved(&arena, &round, 1, (vec3){0, 0, 0});
    struct deviation_settings settings = pair_settings();

    for (int outwards = 0; outwards < 2; outwards++) {
        const double out = outwards ? 0.5 : 0.2, in = outwards ? 0.2 : 0.5;
        spoiled.positions[10] = vec3_scale(round.positions[10], 1 + out);
        spoiled.positions[500] = vec3_scale(round.positions[500], 1 - in);
        struct deviation got = pair_measure(&spoiled, &round, &settings);
        cr_assert(got.signed_.defined);
        cr_expect(fabs(got.signed_.max - pair_distance(&round, spoiled.positions[10])) < 1e-12, "%g",
                  got.signed_.max);
        cr_expect(fabs(got.signed_.min + pair_distance(&round, spoiled.positions[500])) < 1e-12, "%g",
                  got.signed_.min);
    }
}

/* Feet on edges and corners: a spike over a corner, and points beside a sharp edge, where a face's own normal
 * would give the wrong side. */
Test(deviation, signed_at_sharp_edges_and_corners)
{
    struct arena arena = pair_arena(4);
    /* a flat pyramid over a square, very sharp along its base */
    const vec3 positions[] = {{-1, -1, 0}, {1, -1, 0}, {1, 1, 0}, {-1, 1, 0}, {0, 0, 0.05}};
    struct mesh wedge = fixture_listed(
        &arena, positions, 5, (uint32_t[]){4, 0, 3, 2, 1, 3, 0, 1, 4, 3, 1, 2, 4, 3, 2, 3, 4, 3, 3, 0, 4, 0});
    /* small cubes around it, all outside */
    const vec3 places[] = {{1.5, 0, 0},    {1.4, 1.4, 0},      {-1.5, 0.2, 0.1},
                           {0, 1.6, -0.1}, {-1.3, -1.3, -0.2}, {0, 0, 1}};
    struct mesh cube = fixture_cube(&arena, 0.1), all = fixture_moved(&arena, &cube, 1, places[0]);

    for (size_t i = 1; i < 6; i++) {
        struct mesh more = fixture_moved(&arena, &cube, 1, places[i]);
        all = fixture_joined(&arena, &all, &more);
    }
    struct deviation_settings settings = pair_settings();
    struct deviation got = pair_measure(&all, &wedge, &settings);
    cr_assert(got.signed_.defined);
    cr_expect(gt(dbl, got.signed_.min, 0.1), "everything is outside: %g", got.signed_.min);
}

static const struct deviation_field *field_named(const struct deviation_fields *fields, const char *name)
{
    for (size_t i = 0; i < fields->count; i++)
        if (strcmp(fields->fields[i].name, name) == 0)
            return &fields->fields[i];
    return NULL;
}

Test(deviation, fields_of_a_cube_in_a_cube)
{
    struct arena arena = pair_arena(4);
    struct mesh small = fixture_cube(&arena, 1), large = fixture_cube(&arena, 2);
    struct mesh loose = fixture_room(&arena, small.vertex_count + 1, small.face_count, 4 * small.face_count);
    struct deviation_settings settings = pair_settings();
    struct deviation_fields fields;

    memcpy(loose.positions, small.positions, small.vertex_count * sizeof *small.positions);
    loose.positions[small.vertex_count] = (vec3){1e9, 0, 0}; /* unreferenced, far away */
    for (size_t f = 0; f < small.face_count; f++)
        fixture_add_face(&loose, mesh_face(&small, f), 4);
    struct deviation got = pair_measure_fields(&loose, &large, &settings, &fields);
    expect_interval(got.subject_to_reference.max.distance, 0.5, 1e-15, 1e-3, "with a loose vertex");
    const char *names[] = {"distance", "distance_lower", "distance_upper",
                           "signed",   "nearest_face",   "normal_angle"};
    for (size_t i = 0; i < 6; i++) {
        const struct deviation_field *field = field_named(&fields, names[i]);
        cr_assert(field && field->count == loose.vertex_count && !field->per_face, "%s", names[i]);
        cr_expect(isnan(field->values[small.vertex_count]), "%s of a loose vertex", names[i]);
    }
    for (size_t v = 0; v < small.vertex_count; v++) {
        cr_expect(fabs(field_named(&fields, "distance")->values[v] - 0.5) < 1e-14);
        cr_expect(le(dbl, field_named(&fields, "distance_lower")->values[v], 0.5));
        cr_expect(ge(dbl, field_named(&fields, "distance_upper")->values[v], 0.5));
        cr_expect(fabs(field_named(&fields, "signed")->values[v] + 0.5) < 1e-14);
        cr_expect(lt(dbl, field_named(&fields, "nearest_face")->values[v], 6));
        /* the corner's pseudonormal (1,1,1) against a face's: acos(1 / sqrt 3) */
        cr_expect(fabs(field_named(&fields, "normal_angle")->values[v] - 54.735610317245346) < 1e-6, "%g",
                  field_named(&fields, "normal_angle")->values[v]);
    }
}

static void perturb(struct mesh *mesh, double by, uint64_t seed)
{
    for (size_t v = 0; v < mesh->vertex_count; v++) {
        vec3 *p = &mesh->positions[v];
        p->x += by * (fixture_random_unit(&seed) - 0.5);
        p->y += by * (fixture_random_unit(&seed) - 0.5);
        p->z += by * (fixture_random_unit(&seed) - 0.5);
    }
}

static void expect_same(const struct deviation *a, const struct deviation *b, size_t number)
{
    const struct one_sided_deviation *of_a[2] = {&a->reference_to_subject, &a->subject_to_reference},
                                     *of_b[2] = {&b->reference_to_subject, &b->subject_to_reference};

    cr_expect(memcmp(&a->hausdorff, &b->hausdorff, sizeof a->hausdorff) == 0);
    cr_expect(memcmp(&a->signed_.mean, &b->signed_.mean, 5 * sizeof(double)) == 0);
    for (int i = 0; i < 2; i++) {
        cr_expect(memcmp(&of_a[i]->max, &of_b[i]->max, sizeof of_a[i]->max) == 0, "%zu", number);
        cr_expect(memcmp(&of_a[i]->mean, &of_b[i]->mean, 6 * sizeof(double)) == 0, "%zu", number);
        cr_expect(memcmp(&of_a[i]->halfwidth, &of_b[i]->halfwidth, sizeof of_a[i]->halfwidth) == 0);
        cr_expect(memcmp(&of_a[i]->coverage[0], &of_b[i]->coverage[0], sizeof(struct interval)) == 0);
        cr_expect(memcmp(&of_a[i]->normal_angle, &of_b[i]->normal_angle, sizeof of_a[i]->normal_angle) == 0);
    }
}

Test(deviation, same_bytes_for_any_number_of_threads, .timeout = 3000)
{
    struct arena arena = pair_arena(4);
    struct mesh torus = fixture_torus(&arena, 60, 30, 3, 1), other = fixture_torus(&arena, 41, 23, 3, 1.02);
    static double first[DEVIATION_FIELD_MAX][2000];

    perturb(&torus, 0.02, 3);
    for (int pair = 0; pair < 2; pair++) {
        struct deviation one;
        for (size_t threads = 1; threads <= 4; threads += fixture_size(1, 2)) {
            struct deviation_settings settings = pair_settings();
            struct deviation_fields fields;
            struct deviation got;
            settings.certify = fixture_wider(1e-6);
            settings.threads = threads;
            settings.tolerance_count = 1;
            settings.tolerances[0] = 0.02;
            memset(&got, 0, sizeof got);
            got = pair_measure_fields(pair ? &other : &torus, pair ? &torus : &other, &settings, &fields);
            if (threads == 1)
                one = got;
            expect_same(&one, &got, threads);
            for (size_t f = 0; f < fields.count; f++) {
                size_t bytes = fields.fields[f].count * sizeof(double);
                cr_assert(bytes <= sizeof first[f]);
                if (threads == 1)
                    memcpy(first[f], fields.fields[f].values, bytes);
                cr_expect(memcmp(first[f], fields.fields[f].values, bytes) == 0, "%s", fields.fields[f].name);
            }
        }
    }
}

Test(deviation, same_numbers_at_any_scale_and_place)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 1), large = fixture_cube(&arena, 2);
    const struct {
        double scale;
        vec3 shift;
        double error;
    } cases[] = {{1e-12, {0, 0, 0}, 0}, {1e12, {0, 0, 0}, 0},     {1e-150, {0, 0, 0}, 0},
                 {1e150, {0, 0, 0}, 0}, {1, {1e6, 2e6, -1e6}, 0}, {0.01, {1e4, 1e4, 0}, 1e-11}};

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct mesh a = fixture_moved(&arena, &cube, cases[i].scale, cases[i].shift),
                    b = fixture_moved(&arena, &large, cases[i].scale, cases[i].shift);
        struct deviation_settings settings = pair_settings();
        struct deviation got = pair_measure(&a, &b, &settings);
        double scale = cases[i].scale, width = 1e-4 * sqrt(12) * scale * (1 + 1e-9),
               error = cases[i].error + 1e-15 * scale;
        expect_interval(got.subject_to_reference.max.distance, 0.5 * scale, error, width, "moved");
        expect_interval(got.reference_to_subject.max.distance, 0.866025403784439 * scale, error, width,
                        "moved");
        expect_statistic(got.subject_to_reference.mean / scale,
                         got.subject_to_reference.halfwidth.mean / scale, 0.5, 1e-11, 1e-6, "moved");
    }
}

Test(deviation, same_numbers_whichever_corner_is_first)
{
    struct arena arena = pair_arena(4);
    struct mesh torus = fixture_torus(&arena, 20, 10, 3, 1), other = fixture_torus(&arena, 23, 9, 3, 1);

    perturb(&torus, 0.1, 8);
    struct deviation_settings settings = pair_settings();
    struct deviation want = pair_measure(&torus, &other, &settings);
    for (size_t f = 0; f < torus.face_count; f++) {
        uint32_t *corner = torus.face_vertices + torus.face_offsets[f], first = corner[0];
        memmove(corner, corner + 1, 3 * sizeof *corner);
        corner[3] = first;
    }
    struct deviation got = pair_measure(&torus, &other, &settings);
    cr_expect(got.hausdorff.lower <= want.hausdorff.upper && want.hausdorff.lower <= got.hausdorff.upper);
    cr_expect(fabs(got.subject_to_reference.mean - want.subject_to_reference.mean) < 2e-3);
}

Test(deviation, refused_without_a_face)
{
    struct arena arena = pair_arena(4), keep = pair_arena(2);
    struct mesh cube = fixture_cube(&arena, 1), none = fixture_room(&arena, 3, 0, 0);
    struct measure_input a = {.mesh = &cube,
                              .bounds = {{-0.5, -0.5, -0.5}, {0.5, 0.5, 0.5}},
                              .diagonal = sqrt(3)},
                         b = {.mesh = &none, .bounds = aabb_empty()};
    struct deviation_settings settings = pair_settings();
    struct deviation got;
    struct error err;

    none.face_offsets[0] = 0;
    for (int swapped = 0; swapped < 2; swapped++) {
        cr_expect(not(deviation_measure(swapped ? &b : &a, swapped ? &a : &b, &settings, NULL, &got, NULL,
                                        NULL, NULL, NULL, &keep, pair_arena(1), &err)));
        cr_expect(err.code == ERROR_EMPTY);
        cr_expect(strstr(err.text, swapped ? "subject" : "reference") != NULL, "%s", err.text);
    }
}

static bool stop_at(void *context, const char *stage, double fraction)
{
    (void)fraction;
    return strcmp(context, stage) != 0;
}

static bool measure_with(const struct mesh *subject, const struct mesh *reference,
                         const struct progress *progress, size_t keep_bytes, size_t scratch_bytes,
                         struct deviation *got, struct error *err)
{
    struct arena inputs = pair_arena(0), arena = pair_arena(2), keep, scratch;
    struct measure_input a, b;
    struct deviation_settings settings = pair_settings();
    struct deviation_fields fields;

    cr_assert(measure_input_build(subject, MESH_SCAN, NULL, &a, &inputs, pair_arena(1), err)
              && measure_input_build(reference, MESH_SCAN, NULL, &b, &inputs, pair_arena(1), err));
    cr_assert(arena_split(&arena, keep_bytes, &keep) && arena_split(&arena, scratch_bytes, &scratch));
    memset(got, 0, sizeof *got);
    return deviation_measure(&a, &b, &settings, progress, got, &fields, NULL, NULL, NULL, &keep, scratch,
                             err);
}

Test(deviation, refused_when_cancelled_in_any_stage)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 1), large = fixture_cube(&arena, 2);
    char stages[3][16] = {"index", "hausdorff", "statistics"};
    struct deviation got;
    struct error err;

    for (int i = 0; i < 3; i++) {
        struct progress progress = {stop_at, stages[i]};
        cr_expect(not(measure_with(&cube, &large, &progress, 1 << 20, 100 << 20, &got, &err)), "%s",
                  stages[i]);
        cr_expect(err.code == ERROR_CANCELLED, "%s: %s", stages[i], err.text);
    }
}

Test(deviation, refused_when_memory_ends_wherever_it_does, .timeout = 3000)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 1), sphere = fixture_cubed_sphere(&arena, 4);
    struct deviation got;
    struct error err = {.code = ERROR_NONE};
    bool done = false;
    size_t refused = 0;

    for (size_t scratch = 1000; !done; scratch += scratch / 6, refused++) {
        cr_assert(scratch < (size_t)128 << 20);
        done = measure_with(&cube, &sphere, NULL, 1 << 16, scratch, &got, &err);
        cr_assert(done || err.code == ERROR_LIMIT);
    }
    cr_expect(gt(sz, refused, 10));
    cr_expect(not(measure_with(&cube, &sphere, NULL, 100, 100 << 20, &got, &err)), "no room for the fields");
    cr_expect(err.code == ERROR_LIMIT);
}

/* Stops at one of what it is told of the statistics. */
struct patience {
    size_t tells;
};

static bool stop_later(void *context, const char *stage, double fraction)
{
    struct patience *patience = context;

    cr_expect(ge(dbl, fraction, 0));
    cr_expect(le(dbl, fraction, 1));
    return strcmp(stage, "statistics") != 0 || patience->tells-- > 0;
}

Test(deviation, refused_when_cancelled_at_any_word_of_the_statistics, .timeout = 3000)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 1), sphere = fixture_cubed_sphere(&arena, 4);
    bool done = false;

    for (size_t tells = 0; !done; tells++) {
        struct patience patience = {tells};
        const struct progress progress = {stop_later, &patience};
        struct deviation got;
        struct error err = {.code = ERROR_NONE};
        cr_assert(lt(sz, tells, 1000));
        done = measure_with(&cube, &sphere, &progress, 1 << 20, 100 << 20, &got, &err);
        cr_expect(done ? tells > 8 : err.code == ERROR_CANCELLED, "%zu: %s", tells, err.text);
    }
}

/* Both directions at once, where there is room for both; else one after the other. */
Test(deviation, same_numbers_whatever_memory_there_is, .timeout = 3000)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 1), sphere = fixture_cubed_sphere(&arena, 4);
    struct deviation first, got;
    struct error err;
    size_t least = 1000;

    while (!measure_with(&cube, &sphere, NULL, 1 << 16, least, &first, &err))
        least += least / 6;
    for (size_t scratch = least; scratch < 8 * least; scratch += scratch / 6) {
        cr_assert(measure_with(&cube, &sphere, NULL, 1 << 16, scratch, &got, &err), "%zu: %s", scratch,
                  err.text);
        expect_same(&first, &got, scratch);
    }
}

Test(deviation, warned_of_polygons_that_became_fans)
{
    struct arena arena = pair_arena(4), inputs = pair_arena(0), keep = pair_arena(2);
    vec3 star[5];
    struct measure_input a, b;
    struct warning_list of_subject = {0}, of_reference = {0};
    struct deviation_settings settings = pair_settings();
    struct deviation got;
    struct error err;

    for (int i = 0; i < 5; i++) {
        double angle = 4 * 3.14159265358979323846 * i / 5;
        star[i] = (vec3){cos(angle), sin(angle), 0};
    }
    struct mesh crossed = fixture_listed(&arena, star, 5, (uint32_t[]){5, 0, 1, 2, 3, 4, 0});
    struct mesh cube = fixture_cube(&arena, 1);
    cr_assert(measure_input_build(&crossed, MESH_SCAN, NULL, &a, &inputs, pair_arena(1), &err)
              && measure_input_build(&cube, MESH_SCAN, NULL, &b, &inputs, pair_arena(1), &err)
              && deviation_measure(&a, &b, &settings, NULL, &got, NULL, NULL, &of_subject, &of_reference,
                                   &keep, pair_arena(1), &err));
    cr_assert(eq(sz, of_subject.count, 1));
    cr_expect(eq(str, (char *)of_subject.entries[0].code, "polygon_fan_used"));
    cr_expect(eq(sz, of_reference.count, 0));
}
