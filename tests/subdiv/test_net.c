/* test_net.c
 *   net_*   the points of regular quads, mirrored at boundaries: their B-spline piece has the limits of the
 * masks, and its children's points are those of the refined cage eye_*   an extraordinary corner refined
 * without a mesh is that of the refined mesh
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
