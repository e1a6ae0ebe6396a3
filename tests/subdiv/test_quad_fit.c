/* test_quad_fit.c
 *   bound_*   of random pieces, cut along one diagonal: never less than samples show, either way
 *   choose_*  the diagonal that is nearer to the middle
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>

#include "geom/point_triangle.h"
#include "subdiv/bezier.h"
#include "subdiv/quad_fit.h"
#include "support/fixture_shapes.h"

#define SIDE 24 /* samples along a side */

static double bound_of(const vec3 points[16], enum quad_cut cut, bool in_quarters)
{
    struct quad_fit fit;
    vec3 corners[4];

    bezier_corners(points, corners);
    quad_fit_begin(&fit, corners, cut);
    const struct quad_part whole = quad_fit_whole(&fit);
    if (in_quarters)
        quad_fit_add_quarters(&fit, points, &whole);
    else
        quad_fit_add_bezier(&fit, points, &whole);
    return quad_fit_eps(&fit);
}

/* The farthest sample of the piece from the two triangles. */
static double to_triangles(const vec3 points[16], const vec3 c[4], unsigned from)
{
    double most_sq = 0;

    for (int i = 0; i <= SIDE; i++)
        for (int j = 0; j <= SIDE; j++) {
            vec3 p = bezier_at(points, (double)i / SIDE, (double)j / SIDE);
            double one = triangle_nearest(p, c[from], c[from + 1], c[from + 2]).distance_sq,
                   other = triangle_nearest(p, c[from], c[from + 2], c[(from + 3) & 3]).distance_sq;
            most_sq = fmax(most_sq, fmin(one, other));
        }
    return sqrt(most_sq);
}

/* The farthest of some points of the triangles from the samples of the piece. */
static double to_piece(const vec3 points[16], const vec3 c[4], unsigned from, uint64_t *state)
{
    double most_sq = 0;

    for (int k = 0; k < 60; k++) {
        double a = fixture_random_unit(state), b = fixture_random_unit(state) * (1 - a),
               nearest_sq = INFINITY;
        vec3 end = c[k % 2 ? from + 1 : (from + 3) & 3],
             p = vec3_add(vec3_scale(c[from], a),
                          vec3_add(vec3_scale(c[from + 2], b), vec3_scale(end, 1 - a - b)));
        for (int i = 0; i <= SIDE; i++)
            for (int j = 0; j <= SIDE; j++)
                nearest_sq =
                    fmin(nearest_sq,
                         vec3_length_sq(vec3_sub(p, bezier_at(points, (double)i / SIDE, (double)j / SIDE))));
        most_sq = fmax(most_sq, nearest_sq);
    }
    return sqrt(most_sq);
}

Test(bound, along_a_diagonal_is_never_less_than_what_samples_show)
{
    uint64_t state = 46;
    double share = 0;

    for (unsigned round = 0; round < 40; round++) {
        vec3 points[16], corners[4];
        fixture_random_piece(points, 0.02 * round, &state);
        bezier_corners(points, corners);
        for (unsigned from = 0; from < 2; from++) {
            enum quad_cut cut = from ? QUAD_CUT_FROM_1 : QUAD_CUT_FROM_0;
            double bound = bound_of(points, cut, false), closer = bound_of(points, cut, true),
                   most = to_triangles(points, corners, from), reach = 2.0 / SIDE;
            cr_expect(le(dbl, most, closer + 1e-14), "round %u, from %u", round, from);
            cr_expect(le(dbl, to_piece(points, corners, from, &state), closer + reach), "round %u", round);
            cr_expect(le(dbl, bound, bound_of(points, QUAD_CUT_EITHER, false) + 1e-14), "round %u", round);
            share = fmax(share, closer > 0 ? most / closer : 0);
        }
    }
    cr_expect(gt(dbl, share, 0.4)); /* the bound is one, and no wild one */
}

/* z = uv has its corner 2 lifted; its middle is at 1/4, between the diagonals at 1/2 and at 0. Bent upwards,
 * it is nearer to the one from corner 0. Each cut alone leaves 1/4 there. */
Test(choose, takes_the_diagonal_nearer_to_the_middle)
{
    const vec3 corners[4] = {{0, 0, 0}, {1, 0, 0}, {1, 1, 1}, {0, 1, 0}};

    cr_expect(eq(int, quad_fit_choose(corners, (vec3){0.5, 0.5, 0.4}), QUAD_CUT_FROM_0));
    cr_expect(eq(int, quad_fit_choose(corners, (vec3){0.5, 0.5, 0.1}), QUAD_CUT_FROM_1));
}
