/* test_patches.c
 *   certificate_*   never violated, against deep subdivision, both ways: valences 3 to 20, boundaries,
 * creases, polygons, needles and folds; and not empty: the truth comes near to eps pieces_*        flat faces
 * are two triangles; wanted eps is reached; pieces end in the limits of the masks chunks_*        any
 * division into chunks gives the same; what is too much is counted choice_*        what is near is kept
 * broken_*        soups, faces without area,
 * vertices of very many faces: an answer, never a crash memory_*        ever smaller arenas
 *
 * Truth: the limits of meshes refined 5 times (test_limit.c checks these against closed forms), compared pair
 * by pair at the time of the test. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "geom/point_triangle.h"
#include "subdiv/limit.h"
#include "subdiv/patch_tree.h"
#include "subdiv/truth.h"
#include "support/fixture_share.h"

static struct limit_mesh limit_of(struct arena *arena, const struct mesh *mesh, const struct creases *creases,
                                  enum boundary_rule rule, double eps)
{
    struct limit_settings settings = {eps, LIMIT_SIDE_DEFAULT};
    struct limit_mesh limit;
    struct error err;

    cr_assert(limit_mesh_build(mesh, creases, rule, settings, &limit, arena, cage_scratch(), &err), "%s",
              err.text);
    cr_assert(limit_mesh_is_valid(&limit));
    return limit;
}

/* Every `stride`-th face is compared. */
static double expect_certified(const struct mesh *mesh, const struct creases *creases,
                               enum boundary_rule rule, double eps, size_t stride, const char *name)
{
    const size_t step = fixture_size(stride, 2 * stride + 1);
    struct arena here = *fixture_arena_of((size_t)512 << 20);
    struct limit_mesh limit = limit_of(&here, mesh, creases, rule, eps);
    struct truth truth = truth_at(&here, mesh, creases, rule, 4);
    double share = 0;

    for (size_t t = 0; t < limit.triangle_count; t++) {
        uint32_t f = limit.faces[t];
        if (f % step != 0)
            continue;
        double excess = truth_excess_to_surface(&truth, &limit, t);
        cr_expect(excess <= 0, "%s: triangle %zu of face %u is %g too far from the surface, eps %g", name, t,
                  f, excess, limit.eps[t]);
        if (t > 0 && limit.faces[t - 1] == f)
            continue;
        excess = truth_excess_to_triangles(&truth, &limit, f);
        cr_expect(excess <= 0, "%s: face %u is %g too far from its triangles", name, f, excess);
        share = fmax(share, truth_share(&truth, &limit, f));
    }
    return share;
}

Test(certificate, holds_around_every_valence)
{
    static const size_t VALENCES[] = {3, 5, 6, 9, 20};
    uint64_t state = 21;
    double share = 0;

    for (size_t i = 0; i < 5; i++)
        for (unsigned round = 0; round < 3; round++) {
            struct mesh fan = cage_fan(fixture_arena(), VALENCES[i], false);
            cage_shake(&fan, 0.15 * round, &state);
            share = fmax(share, expect_certified(&fan, NULL, BOUNDARY_EDGE_ONLY, round == 2 ? 0.05 : 0.02,
                                                 VALENCES[i] > 6 ? 17 : 5, "fan"));
        }
    cr_expect(gt(dbl, share, 0.4)); /* the bound is one, and no wild one */
}

Test(certificate, holds_along_boundaries_of_both_rules)
{
    uint64_t state = 22;

    for (unsigned round = 0; round < 6; round++) {
        struct mesh fan = cage_fan(fixture_arena(), 1 + round, true);
        cage_shake(&fan, 0.1 * round, &state);
        expect_certified(&fan, NULL, (enum boundary_rule)(round & 1), 0.05, 3, "open fan");
    }
}

Test(certificate, holds_at_creases)
{
    uint64_t state = 23;

    for (unsigned round = 0; round < 8; round++) {
        struct mesh mesh =
            round & 1 ? fixture_cubed_sphere(fixture_arena(), 2) : cage_fan(fixture_arena(), 5, round & 2);
        cage_shake(&mesh, 0.1, &state);
        struct creases creases = cage_creases(fixture_arena(), &mesh, 5, &state);
        expect_certified(&mesh, &creases, BOUNDARY_EDGE_ONLY, 0.05, 5, "creases");
    }
}

/* All around a torus, and up to a vertex of five quads, where each step leaves less that is not straight. */
Test(certificate, holds_along_creases_that_go_straight_on)
{
    static const double SHARPNESSES[] = {0.5, 1.75, 3.2};
    uint64_t state = 29;

    for (size_t i = 0; i < 6; i++) {
        struct mesh mesh =
            i < 3 ? fixture_torus(fixture_arena(), 6, 5, 3, 1) : cage_fan(fixture_arena(), 5, false);
        struct cage cage = cage_at(fixture_arena(), &mesh, NULL, BOUNDARY_EDGE_ONLY, 0);
        struct creases creases = {0, (uint32_t(*)[2])arena_alloc(fixture_arena(), 64, 8, 8),
                                  ARENA_NEW(fixture_arena(), double, 64)};
        for (size_t e = 0; e < cage.edges.count && creases.count < 64; e++) {
            bool around = cage.edges.low[e] % 5 == 0 && cage.edges.high[e] % 5 == 0;
            if (i < 3 ? !around : cage.edges.low[e] != 0)
                continue;
            creases.edges[creases.count][0] = cage.edges.low[e];
            creases.edges[creases.count][1] = cage.edges.high[e];
            creases.sharpness[creases.count++] = SHARPNESSES[i % 3];
        }
        cr_assert(gt(sz, creases.count, 4));
        cage_shake(&mesh, 0.1, &state);
        expect_certified(&mesh, &creases, BOUNDARY_EDGE_ONLY, 0.02, 1, "straight creases");
    }
}

Test(certificate, holds_for_polygons)
{
    uint64_t state = 24;
    struct mesh sphere = fixture_uv_sphere(fixture_arena(), 6, 4);
    struct mesh prism = fixture_cylinder(fixture_arena(), 7, 2, 1, true);
    struct mesh solid = fixture_platonic(fixture_arena(), 20);
    struct mesh *meshes[] = {&sphere, &prism, &solid};

    for (size_t i = 0; i < 3; i++) {
        cage_shake(meshes[i], 0.1, &state);
        expect_certified(meshes[i], NULL, BOUNDARY_EDGE_ONLY, 0.03, 4, "polygons");
    }
}

/* One triangle in a large sheet of quads goes another way than a mesh of triangles: only it is refined, not
 * all. */
Test(certificate, holds_beside_a_few_triangles)
{
    uint64_t state = 25;
    struct mesh grid = fixture_grid(fixture_arena(), 6, 6);
    struct mesh mesh = fixture_room(fixture_arena(), grid.vertex_count, 37, 160);

    memcpy(mesh.positions, grid.positions, grid.vertex_count * sizeof *grid.positions);
    for (size_t f = 0; f < grid.face_count; f++) {
        const uint32_t *quad = mesh_face(&grid, f);
        if (f == 14) {
            fixture_add_triangle(&mesh, quad[0], quad[1], quad[2]);
            fixture_add_triangle(&mesh, quad[0], quad[2], quad[3]);
        } else
            fixture_add_quad(&mesh, quad[0], quad[1], quad[2], quad[3]);
    }
    cage_shake(&mesh, 0.3, &state);
    expect_certified(&mesh, NULL, BOUNDARY_EDGE_AND_CORNER, 0.05, 1, "few triangles");
}

Test(certificate, holds_for_needles_folds_and_wide_eps)
{
    uint64_t state = 26;

    for (unsigned round = 0; round < 6; round++) {
        struct mesh fan = cage_fan(fixture_arena(), 3 + round, round & 1);
        cage_shake(&fan, 1, &state);
        for (size_t v = 0; v < fan.vertex_count; v++)
            fan.positions[v].y *= round < 3 ? 1 : 0.05;
        expect_certified(&fan, NULL, BOUNDARY_EDGE_ONLY, round & 2 ? 10 : 0.1, 7, "wild");
    }
}

Test(pieces, of_a_flat_sheet_are_two_triangles_a_face)
{
    struct mesh grid = fixture_grid(fixture_arena(), 7, 5);
    struct limit_mesh limit = limit_of(fixture_arena(), &grid, NULL, BOUNDARY_EDGE_AND_CORNER, 1e-9);

    cr_expect(eq(sz, limit.triangle_count, 70));
    cr_expect(eq(sz, limit.position_count, grid.vertex_count));
    cr_expect(le(dbl, limit.eps_max, 1e-11));
}

Test(pieces, reach_the_wanted_eps)
{
    struct mesh torus = fixture_torus(fixture_arena(), 24, 12, 3, 1);
    static const double WANTED[] = {1, 0.1, 0.01, 0.001};
    size_t before = 0;

    for (size_t i = 0; i < 4; i++) {
        struct limit_mesh limit =
            limit_of(fixture_arena_of((size_t)128 << 20), &torus, NULL, BOUNDARY_EDGE_ONLY, WANTED[i]);
        cr_expect(le(dbl, limit.eps_max, WANTED[i]));
        cr_expect(eq(sz, limit.over_count, 0));
        cr_expect(ge(sz, limit.triangle_count, before));
        before = limit.triangle_count;
    }
}

Test(pieces, say_honestly_that_the_cells_did_not_do)
{
    struct mesh torus = fixture_torus(fixture_arena(), 6, 5, 3, 1);
    struct limit_settings settings = {1e-12, 1};
    struct limit_mesh limit;
    struct error err;

    cr_assert(limit_mesh_build(&torus, NULL, BOUNDARY_EDGE_ONLY, settings, &limit, fixture_arena(),
                               cage_scratch(), &err));
    cr_expect(gt(dbl, limit.eps_max, 0.01));
    cr_expect(eq(sz, limit.over_count, limit.triangle_count));
    cr_expect(eq(sz, limit.triangle_count, 2 * 30)); /* one cell a face */
}

static void expect_whole_faces_end_in_limits(const struct mesh *mesh, const struct creases *creases)
{
    struct cage cage = cage_at(fixture_arena(), mesh, creases, BOUNDARY_EDGE_ONLY, 0);
    struct arena *arena = fixture_arena_of((size_t)64 << 20);
    struct patch_tree tree;
    struct local_marks marks;
    struct error err;
    vec3 *limits = cage_limits(fixture_arena(), &cage);

    cr_assert(patch_tree_open(&tree, 512, 1e-3, 12, arena) && local_marks_open(&marks, &cage, arena));
    for (uint32_t f = 0; f < cage.mesh.face_count; f++)
        for (unsigned first = 0; first < 4; first++) {
            cr_assert(patch_tree_build(&tree, &cage, f, first, &marks, *arena, cage_scratch(), &err));
            for (unsigned j = 0; j < 4; j++) {
                vec3 want = limits[mesh_face(&cage.mesh, f)[(first + j) & 3]];
                cr_expect(vec3_distance(patch_corner(&tree, 0, j), want) <= 1e-13, "face %u corner %u", f, j);
            }
        }
}

Test(pieces, of_every_kind_end_in_the_limits_of_the_masks)
{
    uint64_t state = 27;

    for (unsigned round = 0; round < 10; round++) {
        struct mesh fan = cage_fan(fixture_arena(), 1 + round, round & 1 || round < 2);
        cage_shake(&fan, 0.3, &state);
        expect_whole_faces_end_in_limits(&fan, NULL);
        struct creases creases = cage_creases(fixture_arena(), &fan, 5, &state);
        expect_whole_faces_end_in_limits(&fan, &creases);
    }
}

Test(pieces, of_a_moebius_band_cross_the_turned_edge)
{
    struct mesh band = fixture_moebius(fixture_arena(), 9);
    expect_certified(&band, NULL, BOUNDARY_EDGE_ONLY, 0.02, 4, "Moebius");
}

Test(chunks, give_the_same_however_the_faces_are_divided)
{
    uint64_t state = 28;
    struct mesh mesh = fixture_cubed_sphere(fixture_arena(), 4);
    cage_shake(&mesh, 0.05, &state);
    struct creases creases = cage_creases(fixture_arena(), &mesh, 40, &state);
    struct arena *arena = fixture_arena_of((size_t)256 << 20);
    struct limit_mesh whole = limit_of(arena, &mesh, &creases, BOUNDARY_EDGE_ONLY, 0.01), parts;
    struct cage cage = cage_at(arena, &mesh, &creases, BOUNDARY_EDGE_ONLY, 0);
    struct limit_base base;
    struct limit_chunk chunks[7];
    struct error err;

    cr_assert(limit_base_build(&cage, (struct limit_settings){0.01, LIMIT_SIDE_DEFAULT}, &base, arena,
                               cage_scratch(), &err));
    for (size_t k = 0; k < 7; k++)
        cr_assert(limit_chunk_build(&base, k * 96 / 7, (k + 1) * 96 / 7, limit_room_any(), &chunks[k], arena,
                                    cage_scratch(), &err));
    cr_assert(limit_mesh_join(&base, chunks, 7, &parts, arena, &err));
    cr_assert(eq(sz, parts.triangle_count, whole.triangle_count));
    cr_assert(eq(sz, parts.position_count, whole.position_count));
    cr_expect(memcmp(parts.positions, whole.positions, whole.position_count * sizeof(vec3)) == 0);
    cr_expect(memcmp(parts.triangles, whole.triangles, whole.triangle_count * sizeof *whole.triangles) == 0);
    cr_expect(memcmp(parts.eps, whole.eps, whole.triangle_count * sizeof(double)) == 0);
}

Test(chunks, with_too_many_quads_are_not_kept)
{
    struct mesh torus = fixture_torus(fixture_arena(), 8, 6, 3, 1);
    struct cage cage = cage_at(fixture_arena(), &torus, NULL, BOUNDARY_EDGE_ONLY, 0);
    struct limit_base base;
    struct limit_chunk kept, counted;
    struct error err;

    cr_assert(
        limit_base_build(&cage, (struct limit_settings){0.01, LIMIT_SIDE_DEFAULT}, &base, fixture_arena(),
                         cage_scratch(), &err)
        && limit_chunk_build(&base, 0, 48, limit_room_any(), &kept, fixture_arena(), cage_scratch(), &err)
        && limit_chunk_build(&base, 0, 48, (struct limit_room){10, SIZE_MAX}, &counted, fixture_arena(),
                             cage_scratch(), &err));
    cr_expect_not(kept.too_many);
    cr_expect(eq(sz, kept.face_count, 48));
    cr_expect(counted.too_many);
    cr_expect(lt(sz, counted.face_count, 48));
    cr_expect(counted.quad_count > 10 && counted.quad_count < kept.quad_count, "%zu of %zu",
              counted.quad_count, kept.quad_count);
}

static double distance_to_limit(const struct limit_mesh *limit, vec3 p)
{
    double least = INFINITY;

    for (size_t t = 0; t < limit->triangle_count; t++) {
        const uint32_t *c = limit->triangles[t];
        least = fmin(least, triangle_distance_sq(p, limit->positions[c[0]], limit->positions[c[1]],
                                                 limit->positions[c[2]]));
    }
    return sqrt(least);
}

/* Every corner of the whole surface's triangles within reach of the place is on the part. */
Test(choice, keeps_all_of_the_surface_near_its_places)
{
    uint64_t state = 30;
    struct mesh mesh = fixture_cubed_sphere(fixture_arena(), 2);
    cage_shake(&mesh, 0.1, &state);
    struct arena *arena = fixture_arena_of((size_t)256 << 20);
    struct limit_mesh whole = limit_of(arena, &mesh, NULL, BOUNDARY_EDGE_ONLY, 0.0005), part;
    struct cage cage = cage_at(arena, &mesh, NULL, BOUNDARY_EDGE_ONLY, 0);
    size_t *begin = ARENA_NEW(arena, size_t, mesh.face_count + 1);
    uint32_t *list = ARENA_ZERO(arena, uint32_t, mesh.face_count);

    for (size_t f = 0; f <= mesh.face_count; f++)
        begin[f] = f;
    for (int round = 0; round < 6; round++) {
        struct arena here = *arena;
        vec3 at = whole.positions[whole.position_count * (size_t)(round + 1) / 8];
        const struct limit_place place = {{at, vec3_add(at, (vec3){0.02, 0.01, 0.03})}, 0.05 + 0.05 * round};
        const struct limit_choice choice = {&place, begin, list};
        struct limit_chunk chunk;
        struct limit_base base;
        struct error err;
        size_t near = 0;
        cr_assert(limit_base_build(&cage, (struct limit_settings){0.0005, LIMIT_SIDE_DEFAULT}, &base, &here,
                                   cage_scratch(), &err));
        base.choice = &choice;
        cr_assert(limit_chunk_build(&base, 0, mesh.face_count, limit_room_any(), &chunk, &here,
                                    cage_scratch(), &err)
                  && limit_mesh_join(&base, &chunk, 1, &part, &here, &err));
        for (size_t t = 0; t < whole.triangle_count; t++) {
            vec3 p = whole.positions[whole.triangles[t][0]];
            if (aabb_gap_sq((aabb){p, p}, place.box) > place.reach * place.reach)
                continue;
            near++;
            cr_expect(distance_to_limit(&part, p) <= part.eps_max, "round %d", round);
        }
        cr_expect(gt(sz, near, 0));
        cr_expect(lt(sz, part.triangle_count, whole.triangle_count), "%zu of %zu", part.triangle_count,
                  whole.triangle_count);
    }
}

/* The points of a grid are one for each of its corners: the torus has a quarter of the points of quads apart.
 */
Test(pieces, of_one_grid_share_their_points)
{
    struct mesh torus = fixture_torus(fixture_arena(), 8, 6, 3, 1);
    struct limit_mesh limit =
        limit_of(fixture_arena_of((size_t)64 << 20), &torus, NULL, BOUNDARY_EDGE_ONLY, 0.001);
    size_t quads = limit.triangle_count / 2;

    cr_expect(gt(sz, quads, 48 * 50));
    cr_expect(le(sz, limit.position_count, quads + quads / 2));
    for (size_t t = 0; t < limit.triangle_count; t++)
        cr_expect(
            lt(dbl,
               vec3_distance(limit.positions[limit.triangles[t][0]], limit.positions[limit.triangles[t][1]]),
               0.5),
            "triangle %zu joins points far apart", t);
}

Test(broken, soups_have_an_answer)
{
    uint64_t state = 29;
    struct arena *arena = fixture_arena_of((size_t)256 << 20);

    for (unsigned round = 0; round < 40; round++) {
        struct arena here = *arena;
        size_t vertices = 4 + fixture_random_below(&state, 8), faces = 1 + fixture_random_below(&state, 8);
        struct mesh mesh = fixture_room(&here, vertices, faces, 5 * faces);
        for (size_t v = 0; v < vertices; v++)
            mesh.positions[v] = (vec3){0};
        if (round % 4)
            cage_shake(&mesh, 1, &state);
        for (size_t f = 0; f < faces; f++) {
            uint32_t corners[5];
            for (size_t i = 0; i < 5; i++)
                corners[i] = (uint32_t)fixture_random_below(&state, vertices);
            fixture_add_face(&mesh, corners, round & 1 ? 4 : 3 + fixture_random_below(&state, 3));
        }
        struct creases creases = cage_creases(&here, &mesh, 5, &state);
        struct limit_mesh limit = limit_of(&here, &mesh, &creases, (enum boundary_rule)(round & 1), 0.3);
        for (size_t t = 0; t < limit.triangle_count; t++)
            cr_assert(isfinite(limit.eps[t]));
        if (round % 4 == 0)
            cr_expect(eq(dbl, limit.eps_max, 0));
    }
}

Test(broken, vertex_of_a_thousand_faces_has_a_wide_eps)
{
    struct mesh fan = cage_fan(fixture_arena(), 1000, false);
    struct arena *arena = fixture_arena_of((size_t)128 << 20);
    struct limit_mesh limit = limit_of(arena, &fan, NULL, BOUNDARY_EDGE_ONLY, 0.05);

    /* the faces at it lie in the box of the two rings; the others are cut as usual */
    cr_expect(eq(sz, limit.over_count, 2000));
    cr_expect(le(dbl, limit.eps_max, 2 * 2.6 * M_SQRT2));
}

Test(broken, polygon_of_a_thousand_corners_has_an_answer)
{
    struct mesh prism = fixture_cylinder(fixture_arena(), 1000, 1, 1, true);
    struct limit_mesh limit =
        limit_of(fixture_arena_of((size_t)256 << 20), &prism, NULL, BOUNDARY_EDGE_ONLY, 0.1);

    cr_expect(ge(sz, limit.triangle_count, 2 * mesh_corner_count(&prism)));
}

Test(memory, that_ends_is_a_limit_error)
{
    uint64_t state = 30;
    struct mesh fan = cage_fan(fixture_arena(), 5, true);
    struct creases creases = cage_creases(fixture_arena(), &fan, 5, &state);
    struct limit_settings settings = {0.1, LIMIT_SIDE_DEFAULT};
    struct arena keep = *fixture_arena(), scratch = *fixture_arena_of((size_t)64 << 20);
    size_t refused = 0, done = 0;

    for (size_t room = (size_t)48 << 20; room > 256; room = room * 3 / 4) {
        struct arena small = keep, small_scratch = scratch, part, other;
        struct limit_mesh limit;
        struct error err = {0};
        cr_assert(arena_split(&small, room > (16 << 20) ? 16 << 20 : room, &part)
                  && arena_split(&small_scratch, room, &other));
        if (limit_mesh_build(&fan, &creases, BOUNDARY_EDGE_ONLY, settings, &limit, &part, other, &err))
            done++;
        else {
            refused++;
            cr_expect(eq(int, err.code, ERROR_LIMIT));
        }
    }
    cr_expect(gt(sz, refused, 10));
    cr_expect(gt(sz, done, 0));
}
