/* test_deviation_maximum.c
 *   inside_*     the maximum lies inside a triangle or an edge: closed forms
 *   zero_*       coinciding surfaces give [0, at most the width wanted]
 *   budget_*     work is bounded, and an interval cut short is honest
 *   hard_*       equidistant surfaces, needles, far-apart meshes, one triangle
 *   order_*      permuting, rotating, scaling and moving change nothing but rounding
 *   analytic_*   the closed forms at any place and scale, to the ends of what a double holds
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "measure/deviation_pair.h"

#define SOUP_MAX 12

struct soup {
    size_t count;
    vec3 corners[3 * SOUP_MAX];
};

static double uniform(uint64_t *state)
{
    return 2 * fixture_random_unit(state) - 1;
}

/* Soups of several kinds: any, on a coarse lattice (ties, coplanar, degenerate), small, flat, needles. */
static struct soup random_soup(uint64_t *state, int kind)
{
    struct soup soup = {.count = 1 + fixture_random_below(state, SOUP_MAX)};

    for (size_t i = 0; i < 3 * soup.count; i++) {
        vec3 p = {uniform(state), uniform(state), uniform(state)};
        vec3 near = i % 3 ? soup.corners[i - 1] : p;
        if (kind == 1)
            p = (vec3){round(2 * p.x) / 2, round(2 * p.y) / 2, round(2 * p.z) / 2};
        else if (kind == 2)
            p = vec3_add(near, vec3_scale(p, i % 3 ? 0.2 : 0));
        else if (kind == 3)
            p.z = 0.25 * round(p.z);
        else if (kind == 4 && i % 3 == 2)
            p = vec3_add(near, vec3_scale(p, 1e-9));
        soup.corners[i] = p;
    }
    return soup;
}

static struct interval interval_of(struct maximum maximum)
{
    return (struct interval){maximum.lower, maximum.upper};
}

/* From one triangle to two far points (tiny triangles) at x = -1 and x = 1: on the segment y = z = 0 the
 * distance to the nearer is 1 - |x|, largest in the middle of the edge. */
Test(deviation_maximum, inside_an_edge_between_two_points)
{
    struct arena arena = pair_arena(4);
    const vec3 from[3] = {{-1, 0, 0}, {1, 0, 0}, {0, 0, 0}};
    const vec3 to[6] = {{-1, 0, 0}, {-1, 0, 0}, {-1, 0, 0}, {1, 0, 0}, {1, 0, 0}, {1, 0, 0}};
    struct mesh a = pair_soup(&arena, from, 1), b = pair_soup(&arena, to, 2);
    struct maximum got = pair_maximum(&a, &b, 1e-9, 0);

    expect_interval(interval_of(got), 1, 0, 1e-9, "segment between two points");
    cr_expect(vec3_distance(got.at, (vec3){0, 0, 0}) < 1e-8);
}

/* Three points at the corners of a triangle with sides 3, 4, 5: the farthest point of the triangle is the
 * circumcentre, the middle of the longest side, at the circumradius 2.5; of the equilateral one inside it. */
Test(deviation_maximum, inside_a_triangle_between_three_points)
{
    const struct {
        const char *name;
        vec3 p[3];
        double radius;
    } cases[] = {
        {"3-4-5", {{0, 0, 0}, {4, 0, 0}, {0, 3, 0}}, 2.5},
        {"equilateral, side 2", {{-1, 0, 0}, {1, 0, 0}, {0, 1.7320508075688772, 0}}, 1.1547005383792515},
        /* sides 5, 5, 6: R = abc / (4 area) = 150 / 48 */
        {"5-5-6", {{-3, 0, 1}, {3, 0, 1}, {0, 4, 1}}, 3.125},
    };

    for (size_t i = 0; i < 3; i++) {
        struct arena arena = pair_arena(4);
        vec3 to[9];
        for (int k = 0; k < 9; k++)
            to[k] = cases[i].p[k / 3];
        struct mesh a = pair_soup(&arena, cases[i].p, 1), b = pair_soup(&arena, to, 3);
        expect_interval(interval_of(pair_maximum(&a, &b, 1e-8, 0)), cases[i].radius, 1e-15, 1e-8,
                        cases[i].name);
    }
}

/* A gap of width 2w along x between two half planes, seen from a plate at height z: farthest over the middle
 * line, sqrt(w^2 + z^2), all along it. */
Test(deviation_maximum, inside_along_a_whole_line)
{
    struct arena arena = pair_arena(4);
    const vec3 plate[6] = {{-2, -1, 0.5}, {2, -1, 0.5}, {2, 1, 0.5},
                           {-2, -1, 0.5}, {2, 1, 0.5},  {-2, 1, 0.5}};
    const vec3 sides[12] = {{-9, 0.25, 0}, {9, 0.25, 0},   {9, 5, 0},      {-9, 0.25, 0},
                            {9, 5, 0},     {-9, 5, 0},     {-9, -0.25, 0}, {9, -0.25, 0},
                            {9, -5, 0},    {-9, -0.25, 0}, {9, -5, 0},     {-9, -5, 0}};
    struct mesh a = pair_soup(&arena, plate, 2), b = pair_soup(&arena, sides, 4);
    struct maximum got = pair_maximum(&a, &b, 1e-6, 0);

    expect_interval(interval_of(got), sqrt(0.25 * 0.25 + 0.5 * 0.5), 1e-15, 1e-6, "slit");
    cr_expect(not(got.exhausted));
}

Test(deviation_maximum, zero_where_the_surfaces_coincide)
{
    struct arena arena = pair_arena(4);
    struct mesh coarse = fixture_grid(&arena, 3, 3), fine = fixture_grid(&arena, 7, 5);
    struct mesh cover = fixture_grid(&arena, 5, 9), sphere = fixture_uv_sphere(&arena, 24, 12);

    fine = fixture_moved(&arena, &fine, 1.0 / 7, (vec3){0, 0, 0});
    cover = fixture_moved(&arena, &cover, 0.7, (vec3){-0.3, -0.1, 0});
    const struct {
        const char *name;
        const struct mesh *from, *to;
    } cases[] = {
        {"itself", &sphere, &sphere},
        {"a part, other cells", &fine, &coarse},
        {"a part that no line of the cover meets", &coarse, &cover},
    };
    for (size_t i = 0; i < 3; i++) {
        struct maximum got = pair_maximum(cases[i].from, cases[i].to, 1e-6, 0);
        expect_interval(interval_of(got), 0, 0, 1e-6, cases[i].name);
        cr_expect(eq(dbl, got.lower, 0), "%s: lower %g", cases[i].name, got.lower);
    }
}

/* By 0.36, 0.48, 0.8: rounded, so that it is not quite a plane. */
static void turn(struct mesh *mesh)
{
    for (size_t v = 0; v < mesh->vertex_count; v++) {
        vec3 p = mesh->positions[v];
        mesh->positions[v] = (vec3){0.6 * p.x - 0.64 * p.y, 0.8 * p.x + 0.48 * p.y, 0.6 * p.y};
    }
}

Test(deviation_maximum, zero_in_a_turned_plane)
{
    struct arena arena = pair_arena(4);
    struct mesh a = fixture_grid(&arena, 9, 9), b = fixture_grid(&arena, 16, 16);

    a = fixture_moved(&arena, &a, 1.0 / 3, (vec3){0.1, 0.3, 0});
    b = fixture_moved(&arena, &b, 1.0 / 4, (vec3){-0.2, -0.1, 0});
    turn(&a);
    turn(&b);
    struct maximum got = pair_maximum(&a, &b, 1e-6, 0);
    expect_interval(interval_of(got), 0, 1e-15, 1e-6, "turned plane");
    cr_expect(eq(dbl, got.lower, 0));
}

Test(deviation_maximum, budget_ends_the_search_with_an_honest_interval)
{
    struct arena arena = pair_arena(4);
    struct mesh inner = fixture_uv_sphere(&arena, 32, 16), outer = fixture_uv_sphere(&arena, 40, 20);
    struct maximum got = {.exhausted = true};

    inner = fixture_moved(&arena, &inner, 0.3, (vec3){0.01, 0, 0});
    struct maximum full = pair_maximum(&inner, &outer, 1e-6, 0);
    cr_expect(not(full.exhausted));
    cr_expect(full.upper - full.lower <= 1e-6);
    for (size_t budget = 2000; budget < 4 * full.work; budget *= 4) {
        got = pair_maximum(&inner, &outer, 1e-6, budget);
        cr_expect(got.lower <= full.upper && full.lower <= got.upper, "budget %zu", budget);
        cr_expect(got.upper <= 2, "no wider than a box against a face: %g", got.upper);
        cr_expect(got.exhausted == (got.upper - got.lower > 1e-6));
        /* a round may run over by what one item costs */
        cr_expect(got.work <= budget + 2000000, "budget %zu, work %zu", budget, got.work);
    }
    cr_expect(not(got.exhausted));
}

/* A plate of 1 by 1, turned, so that the boxes of its long needles meet nearly everything. */
static struct mesh turned_plate(struct arena *arena, size_t columns, size_t rows)
{
    struct mesh plate = fixture_grid(arena, columns, rows);

    for (size_t v = 0; v < plate.vertex_count; v++) {
        plate.positions[v].x /= (double)columns;
        plate.positions[v].y /= (double)rows;
    }
    turn(&plate);
    return plate;
}

Test(deviation_maximum, hard_plate_against_the_same_in_needles)
{
    struct arena arena = pair_arena(4);
    struct mesh plate = turned_plate(&arena, 120, 120), needles = turned_plate(&arena, 6000, 1);
    struct maximum got = pair_maximum(&plate, &needles, 1e-6, 0);

    expect_interval(interval_of(got), 0, 1e-15, 1e-6, "plate to needles");
    cr_expect(got.work < 50000000, "by patches of many triangles, not each by itself: %zu", got.work);
    expect_interval(interval_of(pair_maximum(&needles, &plate, 1e-6, 0)), 0, 1e-15, 1e-6, "needles to plate");
}

Test(deviation_maximum, budget_leaves_nothing_wider_than_its_box)
{
    struct arena arena = pair_arena(4);
    struct mesh plate = turned_plate(&arena, 120, 120), needles = turned_plate(&arena, 6000, 1);
    struct maximum got = pair_maximum(&plate, &needles, 1e-6, 6000000);

    cr_expect(got.exhausted);
    cr_expect(eq(dbl, got.lower, 0));
    cr_expect(got.upper < 0.5, "of a plate whose diagonal is 1.41: %g", got.upper);
}

/* Of one point as reference the wanted share of its diagonal is 0; what rounding leaves is as good as that.
 */
Test(deviation_maximum, budget_is_not_at_an_end_where_only_rounding_is_left)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 2);
    const vec3 one[3] = {{3, 0, 0}, {3, 0, 0}, {3, 0, 0}};
    struct mesh point = pair_soup(&arena, one, 1);
    struct deviation_settings settings = pair_settings();

    expect_interval(interval_of(pair_maximum(&cube, &point, 0, 0)), sqrt(16 + 1 + 1), 1e-15,
                    8 * MAXIMUM_WIDTH_MIN, "cube to point");
    cr_expect(not(pair_maximum(&cube, &point, 0, 0).exhausted));
    cr_expect(not(pair_measure(&cube, &point, &settings).budget_exhausted));
    cr_expect(not(pair_measure(&point, &point, &settings).budget_exhausted));
    cr_expect(pair_maximum(&cube, &point, 0, 1).exhausted, "but a budget of nothing is at an end");
}

Test(deviation_maximum, hard_equidistant_surfaces_end, .timeout = 3000)
{
    struct arena arena = pair_arena(4);
    struct mesh sphere = fixture_uv_sphere(&arena, 64, 32), tube = fixture_cylinder(&arena, 96, 40, 4, false);
    struct mesh seed = fixture_moved(&arena, &sphere, 1e-3, (vec3){0, 0, 0});
    struct mesh concentric = fixture_moved(&arena, &sphere, 0.5, (vec3){0, 0, 0});
    vec3 axis[3] = {
        {0, 0, aabb_centre((aabb){tube.positions[0], tube.positions[tube.vertex_count - 1]}).z - 1},
        {0, 0, 0},
        {0, 0, 0}};
    axis[1].z = axis[0].z + 1;
    axis[2].z = axis[0].z + 2;
    struct mesh line = pair_soup(&arena, axis, 1);
    const struct {
        const char *name;
        const struct mesh *from, *to;
        double low, high; /* the truth is between */
    } cases[] = {
        {"a seed in the centre", &seed, &sphere, 0.99, 1.001},
        {"concentric spheres", &concentric, &sphere, 0.49, 0.5},
        {"the axis of a tube", &line, &tube, 0.999, 1},
    };
    for (size_t i = 0; i < 3; i++) {
        struct maximum got = pair_maximum(cases[i].from, cases[i].to, 1e-4, 30000000);
        cr_expect(got.lower <= cases[i].high && got.upper >= cases[i].low, "%s: [%g, %g]", cases[i].name,
                  got.lower, got.upper);
        cr_expect(got.upper - got.lower < 0.01, "%s: [%g, %g] work %zu", cases[i].name, got.lower, got.upper,
                  got.work);
    }
}

/* Exactly: the axis to a tube of n flat sides is at the apothem cos(pi / n) of every side. */
Test(deviation_maximum, hard_axis_of_a_prism_is_its_apothem)
{
    struct arena arena = pair_arena(4);
    struct mesh tube = fixture_cylinder(&arena, 12, 1, 8, false);
    double low = INFINITY, high = -INFINITY;

    for (size_t v = 0; v < tube.vertex_count; v++) {
        low = fmin(low, tube.positions[v].z);
        high = fmax(high, tube.positions[v].z);
    }
    const vec3 axis[3] = {{0, 0, low + 3}, {0, 0, high - 3}, {0, 0, (low + high) / 2}};
    struct mesh line = pair_soup(&arena, axis, 1);
    expect_interval(interval_of(pair_maximum(&line, &tube, 1e-6, 0)), cos(3.14159265358979323846 / 12), 1e-15,
                    1e-6, "apothem");
}

Test(deviation_maximum, hard_needles_and_far_points)
{
    struct arena arena = pair_arena(4);
    const vec3 needle[3] = {{0, 0, 0}, {1, 1e-13, 0}, {1, 0, 0}},
               point[3] = {{3, 4, 0}, {3, 4, 0}, {3, 4, 0}}, far[3] = {{1e9, 0, 0}, {1e9, 1, 0}, {1e9, 0, 1}};
    struct mesh a = pair_soup(&arena, needle, 1), b = pair_soup(&arena, point, 1),
                c = pair_soup(&arena, far, 1);

    expect_interval(interval_of(pair_maximum(&a, &b, 1e-9, 0)), 5, 1e-15, 1e-9, "needle to point");
    expect_interval(interval_of(pair_maximum(&b, &a, 1e-9, 0)), sqrt(4 + 16), 1e-12, 1e-9, "point to needle");
    /* the tip at the origin is farthest from the far triangle: 1e9 */
    struct maximum got = pair_maximum(&a, &c, 1e-3, 0);
    expect_interval(interval_of(got), 1e9, 1e-6, 1e-3, "far apart");
    /* a width below the last places of 1e9 cannot be had: rounding, not the budget, is what ends the search
     */
    got = pair_maximum(&a, &c, 1e-9, 0);
    expect_interval(interval_of(got), 1e9, 1e-6, ldexp(MAXIMUM_WIDTH_MIN, 30), "far apart, too narrow");
    cr_expect(not(got.exhausted));
}

static int compare_keys(const void *a, const void *b)
{
    uint64_t x = *(const uint64_t *)a, y = *(const uint64_t *)b;

    return (x > y) - (x < y);
}

/* The same soup with triangles and corners in another order, turned by (x, y, z) -> (y, z, x), scaled, moved.
 */
static struct mesh shuffled(struct arena *arena, const struct soup *soup, uint64_t *state, double scale,
                            vec3 shift)
{
    uint64_t keys[SOUP_MAX];
    vec3 corners[3 * SOUP_MAX];

    for (size_t i = 0; i < soup->count; i++)
        keys[i] = (fixture_random(state) & ~(uint64_t)0xff) | i;
    qsort(keys, soup->count, sizeof *keys, compare_keys);
    for (size_t i = 0; i < soup->count; i++) {
        size_t t = keys[i] & 0xff, turn = keys[i] >> 8 & 3;
        for (size_t k = 0; k < 3; k++) {
            vec3 p = soup->corners[3 * t + (turn == 3 ? 2 - k : (k + turn) % 3)];
            corners[3 * i + k] = vec3_add(vec3_scale((vec3){p.y, p.z, p.x}, scale), shift);
        }
    }
    return pair_soup(arena, corners, soup->count);
}

Test(deviation_maximum, order_place_and_scale_change_only_rounding)
{
    const struct {
        double scale;
        vec3 shift;
        double error; /* relative to the size 1: what moving the corners rounds */
    } cases[] = {{1, {0, 0, 0}, 0},          {1e-12, {0, 0, 0}, 1e-15}, {1e12, {0, 0, 0}, 1e-15},
                 {1e-150, {0, 0, 0}, 1e-15}, {1e150, {0, 0, 0}, 1e-15}, {1, {1e6, -1e6, 1e6}, 4e-10},
                 {1e-3, {1e3, 0, 0}, 4e-10}};
    uint64_t state = 5;

    for (int i = 0; i < 200; i++) {
        struct soup a = random_soup(&state, i % 5), b = random_soup(&state, i / 5 % 5);
        struct arena arena = pair_arena(4);
        struct mesh from = pair_soup(&arena, a.corners, a.count), to = pair_soup(&arena, b.corners, b.count);
        struct maximum want = pair_maximum(&from, &to, 1e-6, 0);
        for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
            from = shuffled(&arena, &a, &state, cases[k].scale, cases[k].shift);
            to = shuffled(&arena, &b, &state, cases[k].scale, cases[k].shift);
            struct maximum got = pair_maximum(&from, &to, 1e-6 * cases[k].scale, 0);
            double lower = got.lower / cases[k].scale, upper = got.upper / cases[k].scale;
            cr_assert(lower <= want.upper + cases[k].error && want.lower <= upper + cases[k].error,
                      "pair %d, case %zu: [%.17g, %.17g] against [%.17g, %.17g]", i, k, lower, upper,
                      want.lower, want.upper);
            cr_assert(upper - lower <= 1e-6 * (1 + 1e-9), "pair %d, case %zu", i, k);
        }
    }
}

/* A moved surface is as far from itself as it was moved: its farthest corner that way stands out so far. A
 * scaled inscribed polyhedron is farthest at its corners, whose nearest points are those of the other. Over
 * the middle of an octahedron's side the sphere stands 1 - 1 / sqrt(3) high. */
Test(deviation_maximum, analytic_cases_at_any_place_and_scale)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 1), cube_2 = fixture_cube(&arena, 2),
                octahedron = fixture_platonic(&arena, 8), square = fixture_grid(&arena, 1, 1),
                torus = fixture_torus(&arena, 12, 8, 3, 1), sphere = fixture_uv_sphere(&arena, 24, 12),
                stars = fixture_soup(&arena, &octahedron);
    struct mesh octahedron_2 = fixture_moved(&arena, &octahedron, 1.5, (vec3){0, 0, 0}),
                above = fixture_moved(&arena, &square, 1, (vec3){0, 0, 0.3}),
                half = fixture_moved(&arena, &square, 1, (vec3){0, 0, 0}),
                turned = fixture_moved(&arena, &square, 1, (vec3){0, 0, 0}),
                shifted = fixture_moved(&arena, &cube, 1, (vec3){0.1, 0, 0}),
                moved = fixture_moved(&arena, &torus, 1, (vec3){0.1, 0.2, 0.2}),
                sphere_2 = fixture_moved(&arena, &sphere, 2, (vec3){0, 0, 0});
    const double angle = 10 * 3.14159265358979323846 / 180, up = 1 / sqrt(3);

    for (size_t v = 0; v < 4; v++) {
        half.positions[v].x *= 0.5;
        turned.positions[v] = (vec3){turned.positions[v].x * cos(angle), turned.positions[v].y,
                                     turned.positions[v].x * sin(angle)};
    }
    for (size_t f = 0; f < 8; f++) { /* each side's first corner goes to the sphere over its middle */
        vec3 *p = &stars.positions[3 * f];
        vec3 sum = vec3_add(vec3_add(p[0], p[1]), p[2]);
        p[0] = (vec3){copysign(up, sum.x), copysign(up, sum.y), copysign(up, sum.z)};
    }
    const struct {
        const char *name;
        const struct mesh *a, *b;
        double there, back; /* NaN: not known on paper */
    } cases[] = {{"cubes", &cube, &cube_2, 0.5, sqrt(3) / 2},
                 {"octahedra", &octahedron, &octahedron_2, 0.5 / sqrt(3), 0.5},
                 {"parallel squares", &square, &above, 0.3, 0.3},
                 {"half a square", &square, &half, 0.5, 0},
                 {"a turned square", &square, &turned, 0.17364817766693, 0.17364817766693},
                 {"a shifted cube", &cube, &shifted, 0.1, 0.1},
                 {"a moved torus", &torus, &moved, 0.3, 0.3},
                 {"spheres, outer to inner", &sphere_2, &sphere, 1, NAN},
                 {"sagitta", &stars, &octahedron, 1 - up, NAN},
                 {"itself", &torus, &torus, 0, 0}};
    const struct {
        double scale;
        vec3 shift;
    } places[] = {{1, {0, 0, 0}},         {1, {1e6, 1e6, -1e6}}, {1, {1e6, 0, 0}},
                  {1e-9, {0, 0, 0}},      {1e9, {1e9, 0, 0}},    {1e-150, {0, 0, 0}},
                  {1e150, {0, 0, 0}},     {1e-300, {0, 0, 0}},   {1e300, {0, 0, 0}},
                  {0x1p-1060, {0, 0, 0}}, {0x1p1020, {0, 0, 0}}, {1e-3, {1e3, -1e3, 1e3}}};

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        for (size_t k = 0; k < sizeof places / sizeof *places; k++) {
            struct arena inner = pair_arena(5);
            double scale = places[k].scale, far = fabs(places[k].shift.x);
            /* of the corners, when they are scaled and moved; 1e-13: of the numbers wanted */
            double error = scale * 1e-13 + far * 0x1p-50 + 8 * 0x1p-1074,
                   width = scale * 1e-6 * (1 + 1e-9) + error;
            struct mesh a = fixture_moved(&inner, cases[i].a, scale, places[k].shift),
                        b = fixture_moved(&inner, cases[i].b, scale, places[k].shift);
            expect_interval(interval_of(pair_maximum(&a, &b, scale * 1e-6, 0)), scale * cases[i].there, error,
                            width, cases[i].name);
            if (!isnan(cases[i].back))
                expect_interval(interval_of(pair_maximum(&b, &a, scale * 1e-6, 0)), scale * cases[i].back,
                                error, width, cases[i].name);
        }
}

/* Cubes of sides 2 and 6 of the least double there is: 2 of it apart, and back 2 sqrt(3) = 3.46: between 3
 * and 4, as there is nothing between. */
Test(deviation_maximum, analytic_cubes_of_the_least_doubles)
{
    struct arena arena = pair_arena(4);
    struct mesh cube = fixture_cube(&arena, 2);

    for (int large = 0; large < 2; large++) {
        double unit = large ? 0x1p1021 : 0x1p-1074;
        struct mesh a = fixture_moved(&arena, &cube, unit, (vec3){0, 0, 0}),
                    b = fixture_moved(&arena, &cube, 3 * unit, (vec3){0, 0, 0});
        struct maximum there = pair_maximum(&a, &b, 1e-3 * unit, 0),
                       back = pair_maximum(&b, &a, 1e-3 * unit, 0);
        cr_expect(there.lower <= 2 * unit && there.lower >= unit && there.upper >= 2 * unit
                      && there.upper <= 3 * unit,
                  "[%g, %g] of %g", there.lower, there.upper, unit);
        cr_expect(back.lower <= 3.4641016151377544 * unit && back.lower >= 3 * unit
                      && back.upper >= 3.4641016151377544 * unit && back.upper >= back.lower
                      && back.upper <= 4 * unit,
                  "[%g, %g] of %g", back.lower, back.upper, unit);
    }
}
