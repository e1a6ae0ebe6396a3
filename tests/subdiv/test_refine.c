/* test_refine.c
 *   cube_*        counts and positions of refined cubes
 *   flat_*        flat grids stay what they are: linear precision, both boundary rules
 *   crease_*      sharp and semi-sharp edges on meshes small enough for paper
 *   sources_*     faces know where they come from
 *   broken_*      repeated corners, edges of many faces, pinches, soups: counted, never a crash
 *   memory_*      ever smaller arenas
 *
 * Source of the rules: E. Catmull, J. Clark, 1978; T. DeRose, M. Kass, T. Truong, 1998. Counts and positions
 * of the cube: the analytic cases, checked there with OpenSubdiv 3.5.0; the others are worked out beside the
 * tests. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include <string.h>

#include "subdiv/cages.h"

static void expect_at(vec3 p, double x, double y, double z)
{
    cr_expect(epsilon_eq(dbl, p.x, x, 4e-16));
    cr_expect(epsilon_eq(dbl, p.y, y, 4e-16));
    cr_expect(epsilon_eq(dbl, p.z, z, 4e-16));
}

Test(refine, cube_has_the_known_counts_at_levels_1_to_4)
{
    static const size_t COUNTS[5][3] = {
        {8, 12, 6}, {26, 48, 24}, {98, 192, 96}, {386, 768, 384}, {1538, 3072, 1536}};
    struct mesh cube = fixture_cube(fixture_arena(), 2);

    for (unsigned level = 0; level <= 4; level++) {
        struct cage cage = cage_at(fixture_arena(), &cube, NULL, BOUNDARY_EDGE_ONLY, level);
        cr_expect(eq(sz, cage.mesh.vertex_count, COUNTS[level][0]));
        cr_expect(eq(sz, cage.edges.count, COUNTS[level][1]));
        cr_expect(eq(sz, cage.mesh.face_count, COUNTS[level][2]));
        cr_expect(mesh_is_valid(&cage.mesh));
        cr_expect(cage_is_valid(&cage));
    }
}

Test(refine, cube_moves_corners_to_five_ninths_edges_to_three_quarters_faces_to_one)
{
    struct mesh cube = fixture_cube(fixture_arena(), 2);
    struct cage cage = cage_at(fixture_arena(), &cube, NULL, BOUNDARY_EDGE_ONLY, 1);

    for (size_t v = 0; v < 8; v++) {
        vec3 p = cube.positions[v];
        expect_at(cage.mesh.positions[v], p.x * 5 / 9, p.y * 5 / 9, p.z * 5 / 9);
    }
    for (size_t v = 8; v < 20; v++) {
        vec3 p = cage.mesh.positions[v];
        cr_expect(epsilon_eq(dbl, vec3_length_sq(p), 2 * 9.0 / 16, 4e-16));
        cr_expect(epsilon_eq(dbl, p.x * p.y * p.z, 0, 4e-16));
    }
    for (size_t v = 20; v < 26; v++)
        cr_expect(epsilon_eq(dbl, vec3_length(cage.mesh.positions[v]), 1, 4e-16));
}

Test(refine, flat_grid_keeps_its_inner_points_under_both_rules)
{
    struct mesh grid = fixture_grid(fixture_arena(), 5, 4);

    for (int rule = 0; rule < 2; rule++) {
        struct cage cage = cage_at(fixture_arena(), &grid, NULL, (enum boundary_rule)rule, 1);
        for (size_t v = 0; v < grid.vertex_count; v++) {
            vec3 p = grid.positions[v], q = cage.mesh.positions[v];
            bool corner = (p.x == 0 || p.x == 5) && (p.y == 0 || p.y == 4);
            if (!corner || rule == BOUNDARY_EDGE_AND_CORNER)
                expect_at(q, p.x, p.y, p.z);
        }
        /* the corner of one face: (6 v + e1 + e2) / 8 on the edge-only rule */
        if (rule == BOUNDARY_EDGE_ONLY)
            expect_at(cage.mesh.positions[0], 0.125, 0.125, 0);
    }
}

/* Two unit squares in a roof: (0,0,0) (1,0,0) | (0,1,h) (1,1,h) | (0,2,0) (1,2,0); the ridge is the edge 2-3.
 */
static struct mesh roof(double h)
{
    static const uint32_t FACES[] = {4, 0, 1, 3, 2, 4, 2, 3, 5, 4, 0};
    vec3 positions[6] = {{0, 0, 0}, {1, 0, 0}, {0, 1, h}, {1, 1, h}, {0, 2, 0}, {1, 2, 0}};
    return fixture_listed(fixture_arena(), positions, 6, FACES);
}

Test(refine, crease_of_sharpness_s_blends_the_smooth_and_the_sharp_edge_point)
{
    /* ridge: smooth edge point has height (h + h + h/2 + h/2) / 4 = 3h/4, the sharp one h */
    static const struct {
        const char *name;
        double sharpness, height;
    } cases[] = {{"smooth", 0, 0.75}, {"a quarter", 0.25, 0.8125}, {"a half", 0.5, 0.875}, {"one", 1, 1},
                 {"two", 2, 1},       {"infinite", 10, 1}};

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct mesh mesh = roof(1);
        uint32_t edge[1][2] = {{3, 2}};
        double sharpness = cases[i].sharpness;
        struct creases creases = {1, edge, &sharpness};
        struct cage cage = cage_at(fixture_arena(), &mesh, NULL, BOUNDARY_EDGE_ONLY, 0);
        size_t ridge = 0;
        for (size_t e = 0; e < cage.edges.count; e++)
            if (cage.edges.low[e] == 2 && cage.edges.high[e] == 3)
                ridge = e;
        struct cage refined = cage_at(fixture_arena(), &mesh, &creases, BOUNDARY_EDGE_ONLY, 1);
        cr_expect(epsilon_eq(dbl, refined.mesh.positions[6 + ridge].z, cases[i].height, 1e-15), "%s",
                  cases[i].name);
    }
}

Test(refine, crease_loses_one_of_its_sharpness_a_step_and_ten_is_for_ever)
{
    struct mesh cube = fixture_cube(fixture_arena(), 2);
    const uint32_t *face = mesh_face(&cube, 0);
    uint32_t edges[2][2] = {{face[0], face[1]}, {face[1], face[2]}};
    double sharpness[2] = {2.5, 10};
    struct creases creases = {2, edges, sharpness};

    for (unsigned level = 0; level < 4; level++) {
        struct cage cage = cage_at(fixture_arena(), &cube, &creases, BOUNDARY_EDGE_ONLY, level);
        size_t finite = 0, infinite = 0;
        for (size_t e = 0; e < cage.edges.count; e++) {
            infinite += isinf(cage.sharpness[e]) != 0;
            if (cage.sharpness[e] > 0 && !isinf(cage.sharpness[e])) {
                finite++;
                cr_expect(epsilon_eq(dbl, cage.sharpness[e], 2.5 - level, 1e-15));
            }
        }
        cr_expect(eq(sz, infinite, (size_t)1 << level));
        cr_expect(eq(sz, finite, level < 3 ? (size_t)1 << level : 0));
    }
}

Test(refine, crease_vertex_with_two_sharp_edges_follows_the_curve)
{
    /* a cube's top face with all four edges sharp is the cubic B-spline of its corners: (6 v + a + b) / 8 */
    struct mesh cube = fixture_cube(fixture_arena(), 2);
    const uint32_t *face = mesh_face(&cube, 0);
    uint32_t edges[4][2];
    double sharpness[4] = {10, 10, 10, 10};
    for (unsigned i = 0; i < 4; i++) {
        edges[i][0] = face[i];
        edges[i][1] = face[(i + 1) & 3];
    }
    struct creases creases = {4, edges, sharpness};
    struct cage cage = cage_at(fixture_arena(), &cube, &creases, BOUNDARY_EDGE_ONLY, 1);

    for (unsigned i = 0; i < 4; i++) {
        vec3 v = cube.positions[face[i]], a = cube.positions[face[(i + 1) & 3]],
             b = cube.positions[face[(i + 3) & 3]];
        vec3 want = vec3_scale(vec3_add(vec3_scale(v, 6), vec3_add(a, b)), 0.125);
        vec3 got = cage.mesh.positions[face[i]];
        expect_at(got, want.x, want.y, want.z);
    }
}

Test(refine, crease_that_is_no_edge_is_counted)
{
    struct mesh cube = fixture_cube(fixture_arena(), 2);
    const uint32_t *face = mesh_face(&cube, 0);
    uint32_t edges[3][2] = {{face[0], face[2]}, {0, 4000000000u}, {face[0], face[0]}};
    double sharpness[3] = {1, 1, 1};
    struct creases creases = {3, edges, sharpness};
    struct cage cage = cage_at(fixture_arena(), &cube, &creases, BOUNDARY_EDGE_ONLY, 0);

    cr_expect(eq(sz, cage.crease_unknown_count, 3));
}

Test(refine, sources_name_the_face_of_the_first_mesh)
{
    struct mesh prism = fixture_cylinder(fixture_arena(), 5, 1, 1, true);
    struct cage cage = cage_at(fixture_arena(), &prism, NULL, BOUNDARY_EDGE_ONLY, 2);
    size_t *counts = ARENA_ZERO(fixture_arena(), size_t, prism.face_count);

    for (size_t f = 0; f < cage.mesh.face_count; f++)
        counts[cage.face_source[f]]++;
    for (size_t f = 0; f < prism.face_count; f++)
        cr_expect(eq(sz, counts[f], 4 * mesh_face_size(&prism, f)));
}

Test(refine, broken_faces_are_shortened_or_left_out_and_counted)
{
    /* a quad that repeats a corner running is a triangle; one that names a vertex twice is none */
    static const uint32_t FACES[] = {4, 0, 0, 1, 2, 4, 0, 2, 3, 3, 4, 0, 1, 0, 2, 3, 1, 1, 2, 0};
    vec3 positions[4] = {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}};
    struct mesh mesh = fixture_listed(fixture_arena(), positions, 4, FACES);
    struct cage cage = cage_at(fixture_arena(), &mesh, NULL, BOUNDARY_EDGE_ONLY, 0);

    cr_expect(eq(sz, cage.mesh.face_count, 2));
    cr_expect(eq(sz, mesh_face_size(&cage.mesh, 0), 3));
    cr_expect(eq(sz, mesh_face_size(&cage.mesh, 1), 3));
    cr_expect(eq(sz, cage.face_left_out_count, 2));
    cr_expect(eq(sz, cage.first_face_left_out, 2));
}

Test(refine, broken_edge_of_three_faces_is_sharp_along_itself)
{
    /* three squares on the segment from vertex 1 to vertex 2 of four collinear ones, three segments long */
    vec3 positions[16];
    struct mesh mesh = fixture_room(fixture_arena(), 16, 9, 36);
    for (size_t i = 0; i < 4; i++) {
        positions[i] = (vec3){(double)i, i == 2 ? 0.5 : 0, 0};
        for (size_t sheet = 0; sheet < 3; sheet++)
            positions[4 + 4 * sheet + i] = (vec3){(double)i, sheet == 0 ? 1 : -1, sheet == 2 ? 1 : -1};
    }
    memcpy(mesh.positions, positions, sizeof positions);
    for (size_t sheet = 0; sheet < 3; sheet++)
        for (size_t i = 0; i < 3; i++)
            fixture_add_quad(&mesh, i, i + 1, 4 + 4 * sheet + i + 1, 4 + 4 * sheet + i);
    struct cage cage = cage_at(fixture_arena(), &mesh, NULL, BOUNDARY_EDGE_ONLY, 1);
    struct cage first = cage_at(fixture_arena(), &mesh, NULL, BOUNDARY_EDGE_ONLY, 0);

    cr_expect(eq(sz, first.nonmanifold_edge_count, 3));
    cr_expect(eq(sz, first.nonmanifold_vertex_count, 4));
    expect_at(cage.mesh.positions[1], 1, 0.0625, 0); /* (6 * 0 + 0 + 0.5) / 8 */
    expect_at(cage.mesh.positions[0], 0, 0, 0);      /* open edges and a non-manifold one: fixed */
    cr_expect(eq(sz, cage.nonmanifold_edge_count, 6));
}

Test(refine, broken_pinch_stays_where_it_is)
{
    /* two squares that share one corner */
    static const uint32_t FACES[] = {4, 0, 1, 2, 3, 4, 2, 4, 5, 6, 0};
    vec3 positions[7] = {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}, {2, 1, 0}, {2, 2, 0}, {1, 2, 0}};
    struct mesh mesh = fixture_listed(fixture_arena(), positions, 7, FACES);
    struct cage cage = cage_at(fixture_arena(), &mesh, NULL, BOUNDARY_EDGE_ONLY, 3);

    expect_at(cage.mesh.positions[2], 1, 1, 0);
    cr_expect(eq(sz, cage.nonmanifold_vertex_count, 1));
}

Test(refine, broken_moebius_band_is_refined_like_any_band)
{
    struct mesh band = fixture_moebius(fixture_arena(), 7);
    struct cage cage = cage_at(fixture_arena(), &band, NULL, BOUNDARY_EDGE_ONLY, 1);

    cr_expect(eq(sz, cage.edges.inconsistent_count, 2)); /* the cut's edge, halved */
    cr_expect(eq(sz, cage.nonmanifold_vertex_count, 0));
    for (size_t e = 0; e < cage.edges.count; e++)
        cr_expect(eq(int, isinf(cage.sharpness[e]) != 0, edges_incidence(&cage.edges, e) == 1));
}

static struct mesh random_soup(struct arena *arena, uint64_t *state)
{
    size_t vertices = 3 + fixture_random_below(state, 8), faces = 1 + fixture_random_below(state, 12);
    struct mesh mesh = fixture_room(arena, vertices, faces, 6 * faces);

    for (size_t v = 0; v < vertices; v++)
        mesh.positions[v] = (vec3){0};
    cage_shake(&mesh, 1, state);
    for (size_t f = 0; f < faces; f++) {
        uint32_t corners[6];
        size_t size = 3 + fixture_random_below(state, 4);
        for (size_t i = 0; i < size; i++)
            corners[i] = (uint32_t)fixture_random_below(state, vertices);
        fixture_add_face(&mesh, corners, size);
    }
    return mesh;
}

Test(refine, broken_soups_stay_in_their_box)
{
    uint64_t state = 11;
    struct arena *arena = fixture_arena_of((size_t)256 << 20);

    for (unsigned round = 0; round < 300; round++) {
        struct arena here = *arena;
        struct mesh mesh = random_soup(&here, &state);
        struct creases creases = cage_creases(&here, &mesh, 4, &state);
        struct cage cage = cage_at(&here, &mesh, &creases, (enum boundary_rule)(round & 1), 2);
        vec3 *limits = cage_limits(&here, &cage);
        for (size_t v = 0; v < cage.mesh.vertex_count; v++) {
            cr_assert(fabs(limits[v].x) <= 1 + 1e-12 && fabs(limits[v].y) <= 1 + 1e-12
                      && fabs(limits[v].z) <= 1 + 1e-12);
        }
    }
}

Test(refine, memory_that_ends_is_a_limit_error)
{
    struct mesh cube = fixture_cube(fixture_arena(), 2);
    struct arena keep = *fixture_arena(), scratch = *fixture_arena();
    size_t room = (size_t)64 << 10, refused = 0;

    for (; room > 64; room = room * 7 / 8) {
        struct arena small = keep, small_scratch = scratch, part, other;
        struct cage cage, refined;
        struct error err = {0};
        cr_assert(arena_split(&small, room, &part) && arena_split(&small_scratch, (size_t)64 << 10, &other));
        if (!cage_build(&cube, NULL, BOUNDARY_EDGE_ONLY, &cage, &part, other, &err)
            || !refine_build(&cage, &refined, &part, other, &err)) {
            refused++;
            cr_expect(eq(int, err.code, ERROR_LIMIT));
        }
        small = keep;
        small_scratch = scratch;
        cr_assert(arena_split(&small, (size_t)64 << 10, &part) && arena_split(&small_scratch, room, &other));
        if (!cage_build(&cube, NULL, BOUNDARY_EDGE_ONLY, &cage, &part, other, &err)
            || !refine_build(&cage, &refined, &part, other, &err))
            cr_expect(eq(int, err.code, ERROR_LIMIT));
    }
    cr_expect(gt(sz, refused, 10));
}
