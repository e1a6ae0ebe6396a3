/* test_deviation_piece.c
 *   refined_*   what is left of a piece, and what was dropped, hold every point of it
 *   deepest_*   a piece cut too often is given up with its bound
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>

#include "geom/point_triangle.h"
#include "measure/deviation_pair.h"
#include "measure/deviation_piece.h"

static struct deviation_surface surface_of(const struct mesh *mesh, struct arena *arena)
{
    const struct deviation_frame frame = {{0, 0, 0}, 0};
    const struct measure_input input = {.mesh = mesh};
    struct deviation_surface surface;
    struct error err;

    cr_assert(deviation_surface_build(&input, &frame, 1, &surface, arena, pair_arena(1), &err));
    return surface;
}

static double uniform(uint64_t *state)
{
    return 2 * fixture_random_unit(state) - 1;
}

/* Triangles about the origin: large or small, on a lattice, flat, needles. */
static struct mesh random_mesh(struct arena *arena, uint64_t *state, size_t count, int kind)
{
    vec3 corners[48];

    for (size_t i = 0; i < 3 * count; i++) {
        vec3 p = {uniform(state), uniform(state), uniform(state)};
        if (kind == 1)
            p = (vec3){round(2 * p.x) / 2, round(2 * p.y) / 2, 0};
        else if (kind == 2)
            p.z *= 1e-3;
        else if (kind == 3 && i % 3 == 2)
            p = vec3_add(corners[i - 1], vec3_scale(p, 1e-10));
        corners[i] = p;
    }
    return pair_soup(arena, corners, count);
}

/* 1e-13: rounding of p itself, and of the distance */
static bool is_inside(vec3 p, const vec3 *corners)
{
    unsigned turn = triangle_longest_first(corners[0], corners[1], corners[2]);

    return triangle_distance_sq(p, corners[turn], corners[(turn + 1) % 3], corners[(turn + 2) % 3])
           <= 1e-13 * 1e-13;
}

static vec3 random_on(const vec3 *p, uint64_t *state)
{
    double root = sqrt(fixture_random_unit(state)), v = fixture_random_unit(state) * root, u = 1 - root;

    return vec3_add(p[0], vec3_add(vec3_scale(vec3_sub(p[1], p[0]), u), vec3_scale(vec3_sub(p[2], p[0]), v)));
}

/* Every point is in a child whose bound holds for it, or no farther than the largest bound dropped. */
Test(deviation_piece, refined_pieces_lose_no_point)
{
    uint64_t state = 11;
    size_t cut = 0, halved = 0, in_children = 0;

    for (int round = 0; round < 3000; round++) {
        struct arena arena = pair_arena(4);
        struct mesh a = random_mesh(&arena, &state, 1, round % 3),
                    b = random_mesh(&arena, &state, 1 + fixture_random_below(&state, 16), round / 3 % 4);
        struct deviation_surface from = surface_of(&a, &arena), to = surface_of(&b, &arena);
        struct hunt hunt = {.from = &from, .to = &to, .tolerance = 0.3 * fixture_random_unit(&state)};
        struct piece piece = piece_of_triangle(&hunt, 0, 0, INFINITY), children[PIECE_CHILDREN_MAX];
        const double whole = piece.upper;
        size_t work = 0, count = piece_refine(&hunt, &piece, children);
        cr_assert(count <= PIECE_CHILDREN_MAX);
        cut += count > 0 && hunt.dropped > 0;
        halved += count > 0 && hunt.dropped == 0;
        for (int i = 0; i < 60; i++) {
            vec3 p = i < 3 ? piece.corners[i] : random_on(piece.corners, &state);
            double distance = sqrt(bvh_nearest(&to.bvh, p, BVH_NONE, &work).distance_sq);
            bool held = distance <= hunt.dropped + 1e-13;
            cr_assert(distance <= whole + 1e-13, "round %d: %g over %g", round, distance, whole);
            for (size_t c = 0; c < count; c++)
                if (is_inside(p, children[c].corners)) {
                    cr_assert(distance <= children[c].upper + 1e-12, "round %d: %g over %g", round, distance,
                              children[c].upper);
                    held = true;
                    in_children++;
                }
            cr_assert(held, "round %d: a point at %g is in no child, and %g was dropped", round, distance,
                      hunt.dropped);
        }
    }
    cr_expect(cut > 100 && halved > 100 && in_children > 10000, "%zu cut, %zu halved, %zu points", cut,
              halved, in_children);
}

Test(deviation_piece, deepest_pieces_are_given_up_with_their_bound)
{
    struct arena arena = pair_arena(4);
    const vec3 one[3] = {{-0.5, -0.5, 0}, {0.5, -0.5, 0}, {0, 0.5, 0}},
               points[6] = {{-0.9, 0, 0}, {-0.9, 0, 0}, {-0.9, 0, 0}, {0.9, 0, 0}, {0.9, 0, 0}, {0.9, 0, 0}};
    struct mesh a = pair_soup(&arena, one, 1), b = pair_soup(&arena, points, 2);
    struct deviation_surface from = surface_of(&a, &arena), to = surface_of(&b, &arena);
    struct hunt hunt = {.from = &from, .to = &to, .tolerance = 1e-6};
    struct piece piece = piece_of_triangle(&hunt, 0, 0, INFINITY), children[PIECE_CHILDREN_MAX];

    cr_expect(eq(u32, piece.depth, 0));
    cr_assert(gt(sz, piece_refine(&hunt, &piece, children), 0));
    cr_expect(eq(u32, children[0].depth, 1));
    piece.depth = PIECE_DEPTH_MAX;
    cr_expect(lt(dbl, hunt.dropped, piece.upper));
    cr_expect(eq(sz, piece_refine(&hunt, &piece, children), 0));
    cr_expect(eq(dbl, hunt.dropped, piece.upper));
}
