/* test_net.c
 *   net_*   the points of regular quads, mirrored at boundaries: their B-spline piece has the limits of the
 * masks, and its children's points are those of the refined cage eye_*   an extraordinary corner refined
 * without a mesh is that of the refined mesh crease_*   a quad on a crease that goes straight on, refined
 * across alone, ends in the limits of the cage and of the refined cage
 *
 * Fast code against slow obvious code: refine.h, on random cages. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "subdiv/bezier.h"
#include "subdiv/cages.h"
#include "subdiv/net.h"

#define ROUNDING 4e-15

static void expect_same(const vec3 *got, const vec3 *want, size_t count, const char *what)
{
    for (size_t i = 0; i < count; i++)
        cr_expect(vec3_distance(got[i], want[i]) <= ROUNDING, "%s, point %zu", what, i);
}

Test(net, of_every_regular_quad_ends_in_the_limits_of_its_corners)
{
    uint64_t state = 41;
    struct mesh meshes[] = {fixture_grid(fixture_arena(), 5, 4), fixture_grid(fixture_arena(), 1, 4),
                            fixture_torus(fixture_arena(), 6, 5, 3, 1), fixture_moebius(fixture_arena(), 7)};

    for (size_t m = 0; m < 4; m++) {
        cage_shake(&meshes[m], 0.3, &state);
        struct cage cage = cage_at(fixture_arena(), &meshes[m], NULL, BOUNDARY_EDGE_AND_CORNER, 0);
        vec3 *limits = cage_limits(fixture_arena(), &cage);
        for (uint32_t f = 0; f < cage.mesh.face_count; f++) {
            unsigned corner;
            cr_assert(eq(int, net_classify(&cage, f, &corner), NET_REGULAR));
            for (unsigned first = 0; first < 4; first++) {
                vec3 net[16], points[16], corners[4], want[4];
                net_gather(&cage, f, first, net);
                bezier_from_net(net, points);
                bezier_corners(points, corners);
                for (unsigned j = 0; j < 4; j++)
                    want[j] = limits[mesh_face(&cage.mesh, f)[(first + j) & 3]];
                expect_same(corners, want, 4, "corners");
            }
        }
    }
}

/* Half of a Bezier piece, halved again across, is the piece of the child quad. */
Test(net, of_a_child_is_a_quarter_of_the_piece)
{
    uint64_t state = 42;
    struct mesh grid = fixture_grid(fixture_arena(), 4, 3);
    cage_shake(&grid, 0.3, &state);
    struct cage cage = cage_at(fixture_arena(), &grid, NULL, BOUNDARY_EDGE_AND_CORNER, 0);
    struct cage refined = cage_at(fixture_arena(), &grid, NULL, BOUNDARY_EDGE_AND_CORNER, 1);

    for (uint32_t f = 0; f < cage.mesh.face_count; f++) {
        vec3 net[16], points[16], low[16], high[16], quarter[16], rest[16], child[16];
        net_gather(&cage, f, 0, net);
        bezier_from_net(net, points);
        bezier_cut(points, true, 0.5, low, high);
        bezier_cut(low, false, 0.5, quarter, rest);
        net_gather(&refined, 4 * f, 0, net);
        bezier_from_net(net, child);
        expect_same(child, quarter, 16, "child at corner 0");
        bezier_cut(high, false, 0.5, rest, quarter);
        net_gather(&refined, 4 * f + 2, 2, net);
        bezier_from_net(net, child);
        expect_same(child, quarter, 16, "child at corner 2");
    }
}

Test(eye, refined_alone_is_the_eye_of_the_refined_cage)
{
    static const size_t VALENCES[] = {2, 3, 5, 6, 9, 20, 200};
    static struct eye eye, want;
    uint64_t state = 43;

    for (size_t i = 0; i < 7; i++) {
        struct mesh fan = cage_fan(fixture_arena(), VALENCES[i], false);
        cage_shake(&fan, 0.2, &state);
        struct cage cage = cage_at(fixture_arena(), &fan, NULL, BOUNDARY_EDGE_ONLY, 0);
        struct cage refined = cage_at(fixture_arena(), &fan, NULL, BOUNDARY_EDGE_ONLY, 1);
        vec3 *limits = cage_limits(fixture_arena(), &cage);
        for (uint32_t f = 0; f < 8; f += 4) { /* quads at the middle begin there */
            unsigned corner = 9;
            vec3 nets[3][16], net[16], ends[4], corners[4];
            cr_assert(eq(int, net_classify(&cage, f, &corner), NET_EXTRAORDINARY));
            cr_assert(eq(u32, corner, 0));
            eye_gather(&cage, f, 0, &eye);
            eye_limits(&eye, ends);
            for (unsigned j = 0; j < 4; j++)
                corners[j] = limits[mesh_face(&cage.mesh, f)[j]];
            expect_same(ends, corners, 4, "limits");
            eye_refine(&eye, nets);
            eye_gather(&refined, 4 * f, 0, &want);
            expect_same(eye.ends, want.ends, VALENCES[i], "ends");
            expect_same(eye.opposites, want.opposites, VALENCES[i], "opposites");
            expect_same(eye.net + 1, want.net + 1, 15, "net");
            for (unsigned k = 0; k < 3; k++) {
                net_gather(&refined, 4 * f + k + 1, 3 - k, net);
                expect_same(nets[k], net, 16, "child");
            }
        }
    }
}

/* The creases around the tube of a torus at its place j = 0. */
static struct creases creases_around(struct arena *arena, size_t n, size_t m, double sharpness)
{
    struct creases creases = {n, (uint32_t(*)[2])arena_alloc(arena, n, 8, 8), ARENA_NEW(arena, double, n)};

    for (size_t i = 0; i < n; i++) {
        creases.edges[i][0] = (uint32_t)(i * m);
        creases.edges[i][1] = (uint32_t)((i + 1) % n * m);
        creases.sharpness[i] = sharpness;
    }
    return creases;
}

/* The ends of the outer piece of a creased quad after a step: middles of two sides, and its other corners. */
static void expect_crease(const struct cage *cage, const struct cage *refined, const vec3 *limits,
                          const vec3 *refined_limits, uint32_t f, unsigned corner)
{
    struct crease_net crease;
    vec3 far[16], points[16], ends[4];
    const uint32_t *face = mesh_face(&cage->mesh, f);
    const uint32_t *child = mesh_face(&refined->mesh, 4 * f + corner),
                   *next = mesh_face(&refined->mesh, 4 * f + ((corner + 1) & 3));

    crease_gather(cage, f, corner, &crease);
    crease_refine(&crease, far);
    bezier_from_net(far, points);
    bezier_corners(points, ends);
    const vec3 outer[4] = {refined_limits[child[3]], refined_limits[next[1]], limits[face[(corner + 2) & 3]],
                           limits[face[(corner + 3) & 3]]};
    expect_same(ends, outer, 4, "outer piece");
    while (crease.sharpness > 0)
        crease_refine(&crease, far);
    bezier_from_net(crease.net, points);
    bezier_corners(points, ends);
    const vec3 on_crease[2] = {limits[face[corner]], limits[face[(corner + 1) & 3]]};
    expect_same(ends, on_crease, 2, "crease");
}

Test(crease, refined_across_ends_in_the_limits_of_the_cage)
{
    static const double SHARPNESSES[] = {0.25, 0.5, 1, 1.75, 3.2, 7.9};
    uint64_t state = 44;

    for (size_t i = 0; i < 6; i++) {
        struct arena *arena = fixture_arena();
        struct mesh torus = fixture_torus(arena, 6, 5, 3, 1);
        cage_shake(&torus, 0.3, &state);
        struct creases creases = creases_around(arena, 6, 5, SHARPNESSES[i]);
        struct cage cage = cage_at(arena, &torus, &creases, BOUNDARY_EDGE_ONLY, 0),
                    refined = cage_at(arena, &torus, &creases, BOUNDARY_EDGE_ONLY, 1);
        vec3 *limits = cage_limits(arena, &cage), *refined_limits = cage_limits(arena, &refined);
        size_t creased = 0;
        for (uint32_t f = 0; f < cage.mesh.face_count; f++) {
            unsigned corner;
            enum net_kind kind = net_classify(&cage, f, &corner);
            cr_expect_neq(kind, NET_OTHER);
            if (kind != NET_CREASED)
                continue;
            creased++;
            expect_crease(&cage, &refined, limits, refined_limits, f, corner);
        }
        cr_expect(eq(sz, creased, 12), "both sides of six edges");
    }
}

/* A crease that ends, changes or meets an irregular vertex is not of the kind. */
Test(crease, that_does_not_go_straight_on_is_another_kind)
{
    struct mesh torus = fixture_torus(fixture_arena(), 6, 5, 3, 1);
    struct creases creases = creases_around(fixture_arena(), 6, 5, 2);
    size_t creased = 0;

    creases.sharpness[2] = 3;
    creases.count = 5;
    struct cage cage = cage_at(fixture_arena(), &torus, &creases, BOUNDARY_EDGE_ONLY, 0);
    for (uint32_t f = 0; f < cage.mesh.face_count; f++) {
        unsigned corner;
        creased += net_classify(&cage, f, &corner) == NET_CREASED;
    }
    cr_expect(eq(sz, creased, 0), "edges 0 and 4 end, 1 and 3 are beside edge 2, which is sharper");
}
