/* test_integrals.c
 *   known_*     areas and volumes: cube, torus, square of either rule, a real cage
 *   stated_*    errors hold the truth; open and turned meshes have no volume
 *
 * Sources: the analytic cases and the README of the samples (checked there with OpenSubdiv 3.5.0, areas of
 * quads along their first diagonal, volumes as the mean over both diagonals); 61/90 is on paper there. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "subdiv/cages.h"
#include "subdiv/integrals.h"
#include "support/fixture_sample.h"

static struct limit_integrals integrals_of(const struct mesh *mesh, enum boundary_rule rule, size_t quad_max)
{
    struct cage cage = cage_at(fixture_arena(), mesh, NULL, rule, 0);
    struct limit_integrals integrals;
    struct error err;

    cr_assert(limit_integrals_build(&cage, quad_max, &integrals, cage_scratch(), &err), "%s", err.text);
    return integrals;
}

Test(integrals, known_cube_at_level_four)
{
    struct mesh cube = fixture_cube(fixture_arena(), 2);
    struct limit_integrals got = integrals_of(&cube, BOUNDARY_EDGE_ONLY, 1536);

    cr_expect(eq(u32, got.level, 4));
    cr_expect(epsilon_eq(dbl, got.area_refined, 9.22970845609, 1e-11));
    cr_expect(epsilon_eq(dbl, got.volume_refined, 2.63141105019, 1e-11));
    cr_expect(epsilon_eq(dbl, got.area_moved, 9.17846746402, 1e-11));
    cr_expect(epsilon_eq(dbl, got.volume_moved, 2.60947138316, 1e-11));
}

/* The source gives six decimals and says that both ways agree to 4e-8. */
Test(integrals, known_cube_in_the_limit)
{
    struct mesh cube = fixture_cube(fixture_arena(), 2);
    struct limit_integrals got = integrals_of(&cube, BOUNDARY_EDGE_ONLY, 6 << 14);

    cr_expect(eq(u32, got.level, 7));
    cr_expect(epsilon_eq(dbl, got.area, 9.197586, 1e-6));
    cr_expect(epsilon_eq(dbl, got.volume, 2.620419, 1.5e-6));
    cr_expect(le(dbl, got.area_error, 1e-6));
    cr_expect(le(dbl, got.volume_error, 1e-6));
}

Test(integrals, known_torus_at_level_four)
{
    struct mesh torus = fixture_torus(fixture_arena(), 24, 12, 3, 1);
    struct limit_integrals got = integrals_of(&torus, BOUNDARY_EDGE_ONLY, 288 << 8);

    cr_expect(eq(u32, got.level, 4));
    cr_expect(epsilon_eq(dbl, got.area_refined, 111.232452500535, 1e-11));
    cr_expect(epsilon_eq(dbl, got.volume_refined, 52.8251825638721, 1e-11));
    cr_expect(epsilon_eq(dbl, got.area_moved, 111.20517633588, 1e-11));
    cr_expect(epsilon_eq(dbl, got.volume_moved, 52.8016163986397, 1e-11));
}

Test(integrals, known_square_is_61_of_90_when_rounded_and_1_when_fixed)
{
    struct mesh square = fixture_grid(fixture_arena(), 1, 1);
    struct limit_integrals round = integrals_of(&square, BOUNDARY_EDGE_ONLY, 1 << 14);
    struct limit_integrals fixed = integrals_of(&square, BOUNDARY_EDGE_AND_CORNER, 64);

    cr_expect(eq(u32, round.level, 7));
    cr_expect(epsilon_eq(dbl, round.area_refined, 0.677794732, 5e-10));
    cr_expect(epsilon_eq(dbl, round.area_moved, 0.677760824, 5e-10));
    cr_expect(epsilon_eq(dbl, round.area, 61.0 / 90, 1e-8));
    cr_expect(epsilon_eq(dbl, fixed.area, 1, 1e-14));
}

/* README of the samples, nine decimals. Volumes do not depend on the corner at which a quad begins; the
 * README's areas do, being of triangles along first diagonals, and it is not told where its quads begin: the
 * two diagonals of a level-4 quad differ by about 1e-5 of the area. */
Test(integrals, known_spot_at_level_four)
{
    struct mesh spot = fixture_sample("spot_control_mesh.obj");
    struct arena *arena = fixture_arena_of((size_t)256 << 20);
    struct cage cage = cage_at(arena, &spot, NULL, BOUNDARY_EDGE_ONLY, 4);
    vec3 *limits = cage_limits(arena, &cage);
    const struct {
        const vec3 *positions;
        double area, volume;
    } cases[] = {{cage.mesh.positions, 5.626641041, 0.711982440}, {limits, 5.619305154, 0.711204650}};

    cr_expect(eq(sz, cage.mesh.vertex_count, 46850));
    cr_expect(eq(sz, cage.edges.count, 93696));
    cr_expect(eq(sz, cage.mesh.face_count, 46848));
    for (size_t i = 0; i < 2; i++) {
        double area, volume;
        quads_measure(&cage.mesh, cases[i].positions, &area, &volume);
        cr_expect(epsilon_eq(dbl, volume, cases[i].volume, 6e-10));
        cr_expect(epsilon_eq(dbl, area, cases[i].area, 6e-5));
    }
}

/* Flat at every level, so that each value is exact; the errors are rounding. */
Test(integrals, stated_errors_hold_the_truth)
{
    struct mesh square = fixture_grid(fixture_arena(), 1, 1);
    struct mesh cube = fixture_cube(fixture_arena(), 2);

    for (unsigned level = 3; level < 7; level++) {
        struct limit_integrals flat = integrals_of(&square, BOUNDARY_EDGE_ONLY, (size_t)1 << (2 * level));
        struct limit_integrals solid = integrals_of(&cube, BOUNDARY_EDGE_ONLY, (size_t)6 << (2 * level));
        cr_expect(eq(u32, flat.level, level));
        cr_expect(le(dbl, fabs(flat.area - 61.0 / 90), flat.area_error));
        cr_expect(le(dbl, fabs(solid.area - 9.197586), solid.area_error + 5e-7));
        cr_expect(le(dbl, fabs(solid.volume - 2.620419), solid.volume_error + 1.5e-6));
    }
}

Test(integrals, stated_volume_is_none_for_open_and_turned_meshes)
{
    struct mesh open = fixture_cylinder(fixture_arena(), 8, 2, 1, false);
    struct mesh turned = fixture_cube(fixture_arena(), 2);
    uint32_t first = turned.face_vertices[0];

    turned.face_vertices[0] = turned.face_vertices[2];
    turned.face_vertices[2] = first;
    cr_expect(isnan(integrals_of(&open, BOUNDARY_EDGE_ONLY, 1).volume));
    cr_expect(isnan(integrals_of(&turned, BOUNDARY_EDGE_ONLY, 1).volume));
    cr_expect(gt(dbl, integrals_of(&turned, BOUNDARY_EDGE_ONLY, 1).area, 0));
}
