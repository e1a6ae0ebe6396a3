/* test_limit.c
 *   known_*       closed forms: cube, octahedron, tetrahedron, square, grid, torus, valence 2
 *   steps_*       limits do not depend on the level: every valence, n-gons, boundaries, creases, darts
 *   sample_*      three points of a real cage; a real cage refined twice
 *   normals_*     against closed forms and across levels
 *
 * Sources: the analytic cases (checked there with OpenSubdiv 3.5.0 and an own implementation); masks: M.
 * Halstead, M. Kass, T. DeRose 1993. That a limit does not depend on the level it is worked out at is what a
 * limit is, and needs no source. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "subdiv/cages.h"
#include "subdiv/limit.h"
#include "support/fixture_sample.h"

static void expect_near(vec3 got, vec3 want, double within, const char *name)
{
    double off = vec3_distance(got, want);
    cr_expect(off <= within, "%s: %.17g %.17g %.17g instead of %.17g %.17g %.17g", name, got.x, got.y, got.z,
              want.x, want.y, want.z);
}

/* Ten decimals or more are printed in the source; the rest is rounding. */
#define ROUNDING 2e-15

Test(limit, known_cube_octahedron_and_tetrahedron)
{
    struct mesh cube = fixture_platonic(fixture_arena(), 6),
                octahedron = fixture_platonic(fixture_arena(), 8),
                tetrahedron = fixture_platonic(fixture_arena(), 4);
    const struct {
        const char *name;
        const struct mesh *mesh;
        double share;
    } cases[] = {
        {"cube", &cube, 0.5}, {"octahedron", &octahedron, 13.0 / 27}, {"tetrahedron", &tetrahedron, 2.0 / 9}};

    for (size_t i = 0; i < 3; i++) {
        struct cage cage = cage_at(fixture_arena(), cases[i].mesh, NULL, BOUNDARY_EDGE_ONLY, 0);
        vec3 *limits = cage_limits(fixture_arena(), &cage);
        for (size_t v = 0; v < cage.mesh.vertex_count; v++)
            expect_near(limits[v], vec3_scale(cage.mesh.positions[v], cases[i].share), ROUNDING,
                        cases[i].name);
    }
}

Test(limit, known_cube_level_one_edge_and_face_vertices)
{
    struct mesh cube = fixture_cube(fixture_arena(), 2);
    struct cage cage = cage_at(fixture_arena(), &cube, NULL, BOUNDARY_EDGE_ONLY, 1);
    vec3 *limits = cage_limits(fixture_arena(), &cage);

    for (size_t v = 8; v < 20; v++)
        expect_near(limits[v], vec3_scale(cage.mesh.positions[v], 395.0 / 648 / 0.75), ROUNDING, "edge");
    for (size_t v = 20; v < 26; v++)
        expect_near(limits[v], vec3_scale(cage.mesh.positions[v], 68.0 / 81), ROUNDING, "face");
}

Test(limit, known_flat_grid_under_both_rules)
{
    struct mesh grid = fixture_grid(fixture_arena(), 4, 3);

    for (int rule = 0; rule < 2; rule++) {
        struct cage cage = cage_at(fixture_arena(), &grid, NULL, (enum boundary_rule)rule, 0);
        vec3 *limits = cage_limits(fixture_arena(), &cage);
        for (size_t v = 0; v < grid.vertex_count; v++) {
            vec3 want = grid.positions[v];
            if (rule == BOUNDARY_EDGE_ONLY && (want.x == 0 || want.x == 4) && (want.y == 0 || want.y == 3)) {
                want.x += want.x == 0 ? 1.0 / 6 : -1.0 / 6;
                want.y += want.y == 0 ? 1.0 / 6 : -1.0 / 6;
            }
            expect_near(limits[v], want, ROUNDING, rule ? "edge and corner" : "edge only");
        }
    }
}

/* R' = R k_n, tube radius r k_m k_n in the plane and r k_m in height, k_n = (2 + cos(2 pi / n)) / 3. */
Test(limit, known_torus_is_a_torus)
{
    enum { N = 24, M = 12 };
    struct mesh torus = fixture_torus(fixture_arena(), N, M, 3, 1);
    struct cage cage = cage_at(fixture_arena(), &torus, NULL, BOUNDARY_EDGE_ONLY, 0);
    vec3 *limits = cage_limits(fixture_arena(), &cage);
    double kn = (2 + cos(2 * M_PI / N)) / 3, km = (2 + cos(2 * M_PI / M)) / 3;

    for (size_t v = 0; v < torus.vertex_count; v++) {
        vec3 p = torus.positions[v];
        double a = atan2(p.y, p.x), b = atan2(p.z, hypot(p.x, p.y) - 3), r = (3 + km * cos(b)) * kn;
        expect_near(limits[v], (vec3){r * cos(a), r * sin(a), km * sin(b)}, 3e-15, "torus");
    }
}

/* Two quads back to back along two edges: (4 v + 4 (e1 + e2) + (d1 + d2)) / 14. */
Test(limit, known_valence_two_has_the_general_mask_at_every_level)
{
    static const uint32_t FACES[] = {4, 0, 1, 2, 3, 4, 2, 1, 0, 4, 0};
    vec3 positions[5] = {{0, 0, 0}, {1, 0.1, 0.3}, {1, 1, -0.2}, {0, 1, 0.5}, {0.2, 0.8, -0.6}};
    struct mesh mesh = fixture_listed(fixture_arena(), positions, 5, FACES);
    vec3 sum = vec3_scale(vec3_add(positions[1], vec3_add(positions[0], positions[2])), 4);
    vec3 want = vec3_scale(vec3_add(sum, vec3_add(positions[3], positions[4])), 1.0 / 14);

    for (unsigned level = 0; level < 5; level++) {
        struct cage cage = cage_at(fixture_arena(), &mesh, NULL, BOUNDARY_EDGE_ONLY, level);
        cr_expect(ne(int, cage.flags[1] & CAGE_SMOOTH, 0));
        expect_near(cage_limits(fixture_arena(), &cage)[1], want, ROUNDING, "valence 2");
    }
}

Test(limit, known_boundary_and_corner_masks)
{
    struct mesh square = fixture_grid(fixture_arena(), 1, 1);
    struct cage round = cage_at(fixture_arena(), &square, NULL, BOUNDARY_EDGE_ONLY, 0);
    struct cage fixed = cage_at(fixture_arena(), &square, NULL, BOUNDARY_EDGE_AND_CORNER, 0);

    for (size_t v = 0; v < 4; v++) {
        vec3 p = square.positions[v], centre = {0.5, 0.5, 0};
        /* (l + 4 v + r) / 6: two thirds of the way from the centre */
        expect_near(cage_limits(fixture_arena(), &round)[v], vec3_lerp(centre, p, 2.0 / 3), ROUNDING,
                    "edge only");
        expect_near(cage_limits(fixture_arena(), &fixed)[v], p, 0, "edge and corner");
    }
}

static void expect_same_limits(const struct mesh *mesh, const struct creases *creases,
                               enum boundary_rule rule, const char *name)
{
    struct arena here = *fixture_arena_of((size_t)128 << 20);
    struct cage first = cage_at(&here, mesh, creases, rule, 0);
    vec3 *want = cage_limits(&here, &first);

    for (unsigned level = 1; level <= 3; level++) {
        struct cage cage = cage_at(&here, mesh, creases, rule, level);
        vec3 *got = cage_limits(&here, &cage);
        for (size_t v = 0; v < mesh->vertex_count; v++)
            expect_near(got[v], want[v], 1e-14 * 4, name);
    }
}

Test(limit, steps_do_not_move_limits_of_any_valence)
{
    static const size_t VALENCES[] = {3, 4, 5, 6, 9, 20};
    uint64_t state = 5;

    for (size_t i = 0; i < sizeof VALENCES / sizeof *VALENCES; i++)
        for (int open = 0; open < 2; open++) {
            struct mesh fan = cage_fan(fixture_arena(), VALENCES[i], open);
            cage_shake(&fan, 0.3, &state);
            expect_same_limits(&fan, NULL, BOUNDARY_EDGE_ONLY, "fan, edge only");
            expect_same_limits(&fan, NULL, BOUNDARY_EDGE_AND_CORNER, "fan, edge and corner");
        }
}

Test(limit, steps_do_not_move_limits_beside_triangles_and_n_gons)
{
    uint64_t state = 6;
    struct mesh sphere = fixture_uv_sphere(fixture_arena(), 7, 4);
    struct mesh capped = fixture_cylinder(fixture_arena(), 6, 2, 1, true);
    struct mesh open = fixture_cylinder(fixture_arena(), 6, 2, 1, false);
    struct mesh band = fixture_moebius(fixture_arena(), 8);
    struct mesh dodecahedron = fixture_platonic(fixture_arena(), 12);
    struct mesh *meshes[] = {&sphere, &capped, &open, &band, &dodecahedron};

    for (size_t i = 0; i < 5; i++) {
        cage_shake(meshes[i], 0.2, &state);
        expect_same_limits(meshes[i], NULL, BOUNDARY_EDGE_ONLY, "polygons");
    }
}

Test(limit, steps_do_not_move_limits_at_creases_and_darts)
{
    uint64_t state = 7;

    for (unsigned round = 0; round < 20; round++) {
        struct arena here = *fixture_arena_of((size_t)16 << 20);
        struct mesh mesh =
            round & 1 ? fixture_cubed_sphere(&here, 2) : cage_fan(&here, 3 + round / 4, round & 2);
        cage_shake(&mesh, 0.2, &state);
        struct creases creases = cage_creases(&here, &mesh, 6, &state);
        expect_same_limits(&mesh, &creases, BOUNDARY_EDGE_ONLY, "creases");
    }
}

/* The limits of 3 and 4 levels of a mesh come together: what refinement converges to is what the masks say.
 */
Test(limit, steps_bring_vertices_to_their_limits)
{
    uint64_t state = 8;
    struct mesh fan = cage_fan(fixture_arena(), 5, true);
    cage_shake(&fan, 0.3, &state);
    struct creases creases = cage_creases(fixture_arena(), &fan, 7, &state);
    struct cage first = cage_at(fixture_arena(), &fan, &creases, BOUNDARY_EDGE_ONLY, 0);
    struct arena *arena = fixture_arena_of((size_t)512 << 20);
    struct cage deep = cage_at(arena, &fan, &creases, BOUNDARY_EDGE_ONLY, 6);
    vec3 *limits = cage_limits(fixture_arena(), &first);

    /* six steps shrink the distance by about 4^6 where it is regular, by 0.55^12 at valence 5 */
    for (size_t v = 0; v < fan.vertex_count; v++)
        expect_near(deep.mesh.positions[v], limits[v], 3e-3, "deep");
}

/* README of the samples, from OpenSubdiv 3.5.0, printed to ten decimals. */
Test(limit, sample_spot_has_the_known_limits)
{
    static const vec3 WANT[3] = {{0.3447540222, -0.3386259778, -0.0798168667},
                                 {0.3090366194, -0.4021131111, 0.8785072500},
                                 {0.2665710833, 0.1809351500, 0.1225279083}};
    struct mesh spot = fixture_sample("spot_control_mesh.obj");

    for (unsigned level = 0; level < 3; level++) {
        struct cage cage =
            cage_at(fixture_arena_of((size_t)64 << 20), &spot, NULL, BOUNDARY_EDGE_ONLY, level);
        vec3 *limits = cage_limits(fixture_arena(), &cage);
        for (size_t v = 0; v < 3; v++)
            expect_near(limits[v], WANT[v], 1e-10, "spot");
    }
}

/* README of the samples: two steps of one file are the other, to its printed precision (6.7e-6), in another
 * order; and moving these points to the limit shifts them by up to 0.0112. */
Test(limit, sample_spot_refined_twice_is_the_other_sample)
{
    struct mesh spot = fixture_sample("spot_control_mesh.obj"),
                quads = fixture_sample("spot_quadrangulated.obj");
    struct cage cage = cage_at(fixture_arena_of((size_t)64 << 20), &spot, NULL, BOUNDARY_EDGE_ONLY, 2);
    vec3 *limits = cage_limits(fixture_arena(), &cage);
    double worst = 0, shift = 0;

    cr_assert(eq(sz, cage.mesh.vertex_count, quads.vertex_count));
    cr_assert(eq(sz, cage.mesh.face_count, quads.face_count));
    for (size_t v = 0; v < cage.mesh.vertex_count; v++) {
        double nearest = INFINITY;
        for (size_t w = 0; w < quads.vertex_count; w++)
            nearest = fmin(nearest, vec3_distance(cage.mesh.positions[v], quads.positions[w]));
        worst = fmax(worst, nearest);
        shift = fmax(shift, vec3_distance(cage.mesh.positions[v], limits[v]));
    }
    cr_expect(le(dbl, worst, 6.75e-6));
    cr_expect(epsilon_eq(dbl, shift, 0.0112, 5e-5 + 6.7e-6)); /* digits printed of both */
}

static vec3 *normals_of(const struct cage *cage)
{
    vec3 *normals = ARENA_NEW(fixture_arena_of((size_t)16 << 20), vec3, cage->mesh.vertex_count);
    struct error err;
    cr_assert(limit_normals(cage, normals, cage_scratch(), &err), "%s", err.text);
    return normals;
}

Test(limit, normals_of_a_torus_are_those_of_its_limit)
{
    enum { N = 24, M = 12 };
    struct mesh torus = fixture_torus(fixture_arena(), N, M, 3, 1);
    struct cage cage = cage_at(fixture_arena(), &torus, NULL, BOUNDARY_EDGE_ONLY, 0);
    vec3 *normals = normals_of(&cage);
    double kn = (2 + cos(2 * M_PI / N)) / 3;

    /* a curve (r kn cos b, r sin b) has the normal (cos b, kn sin b), and so has the limit surface by its
     * symmetry */
    for (size_t v = 0; v < torus.vertex_count; v++) {
        vec3 p = torus.positions[v];
        double a = atan2(p.y, p.x), b = atan2(p.z, hypot(p.x, p.y) - 3), size = hypot(cos(b), kn * sin(b));
        vec3 want = {cos(b) * cos(a) / size, cos(b) * sin(a) / size, kn * sin(b) / size};
        expect_near(normals[v], want, 1e-13, "torus");
    }
}

Test(limit, normals_of_solids_point_outwards)
{
    static const int SOLIDS[] = {4, 6, 8, 12, 20};

    for (size_t i = 0; i < 5; i++) {
        struct mesh solid = fixture_platonic(fixture_arena(), SOLIDS[i]);
        struct cage cage = cage_at(fixture_arena(), &solid, NULL, BOUNDARY_EDGE_ONLY, 0);
        vec3 *normals = normals_of(&cage);
        for (size_t v = 0; v < solid.vertex_count; v++) {
            vec3 p = solid.positions[v];
            expect_near(normals[v], vec3_scale(p, 1 / vec3_length(p)), 1e-14, "solid");
        }
    }
}

/* A tangent mask is an eigenvector of the step: the direction stays the same at every level. */
Test(limit, normals_do_not_depend_on_the_level)
{
    static const size_t VALENCES[] = {3, 4, 5, 6, 9, 20};
    uint64_t state = 9;

    for (size_t i = 0; i < 6; i++)
        for (int open = 0; open < 2; open++) {
            struct mesh fan = cage_fan(fixture_arena(), VALENCES[i], open);
            cage_shake(&fan, 0.05, &state);
            struct cage first = cage_at(fixture_arena(), &fan, NULL, BOUNDARY_EDGE_ONLY, 0);
            vec3 *want = normals_of(&first);
            cr_expect(epsilon_eq(dbl, vec3_length(want[0]), 1, 1e-14));
            cr_expect(gt(dbl, want[0].z, 0));
            for (unsigned level = 1; level < 4; level++) {
                struct cage cage =
                    cage_at(fixture_arena_of((size_t)64 << 20), &fan, NULL, BOUNDARY_EDGE_ONLY, level);
                vec3 *got = normals_of(&cage);
                for (size_t v = 0; v < fan.vertex_count; v++)
                    expect_near(got[v], want[v], 1e-11, "fan");
            }
        }
}

Test(limit, normals_are_not_claimed_where_the_surface_has_none)
{
    struct mesh cube = fixture_cube(fixture_arena(), 2);
    const uint32_t *face = mesh_face(&cube, 0);
    uint32_t edges[2][2] = {{face[0], face[1]}, {face[1], face[2]}};
    double sharpness[2] = {10, 10};
    struct creases creases = {2, edges, sharpness};
    struct cage cage = cage_at(fixture_arena(), &cube, &creases, BOUNDARY_EDGE_ONLY, 0);
    vec3 *normals = normals_of(&cage);

    cr_expect(eq(dbl, vec3_length(normals[face[0]]), 0)); /* dart */
    cr_expect(eq(dbl, vec3_length(normals[face[1]]), 0)); /* crease */
    cr_expect(epsilon_eq(dbl, vec3_length(normals[face[3]]), 1, 1e-15));
}
