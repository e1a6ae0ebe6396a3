/* test_grid_fit.c
 *   bound_*   never less than the distance of samples of random pieces; falls as the square of the cells
 *   find_*    reaches what is wanted with few cells; flat pieces are one cell; says what side_max leaves
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>

#include "geom/point_triangle.h"
#include "subdiv/bezier.h"
#include "subdiv/grid_fit.h"
#include "support/fixture_shapes.h"

/* From a point of the piece to the nearest triangle of its grid, along either diagonal. */
static double distance_to_grid(const vec3 points[16], struct grid_size size, vec3 p)
{
    double nearest_sq = INFINITY;

    for (uint32_t j = 0; j < size.rows; j++)
        for (uint32_t i = 0; i < size.columns; i++) {
            vec3 corner[4];
            for (uint32_t k = 0; k < 4; k++)
                corner[k] = bezier_at(points, (double)(i + (k == 1 || k == 2)) / size.columns,
                                      (double)(j + k / 2) / size.rows);
            for (int k = 0; k < 2; k++)
                nearest_sq = fmin(nearest_sq,
                                  triangle_nearest(p, corner[0], corner[k + 1], corner[k + 2]).distance_sq);
        }
    return sqrt(nearest_sq);
}

Test(bound, of_random_pieces_is_never_less_than_what_samples_show)
{
    uint64_t state = 41;
    double share = 0;

    for (unsigned round = 0; round < 60; round++) {
        struct grid_size size = {1 + round % 4, 1 + round % 3};
        vec3 points[16];
        fixture_random_piece(points, 0.05 + 0.02 * round, &state);
        double bound = grid_eps(points, size), most = 0;
        for (int k = 0; k < 400; k++) {
            vec3 p = bezier_at(points, fixture_random_unit(&state), fixture_random_unit(&state));
            most = fmax(most, distance_to_grid(points, size, p));
        }
        cr_expect(le(dbl, most, bound + 1e-14), "round %u", round);
        share = fmax(share, most / bound);
    }
    cr_expect(gt(dbl, share, 0.3)); /* the bound is one, and no wild one */
}

/* A parabola z = u (1 - u) over its chord is 1/4 high; n chords leave 1 / (4 n^2) upright, and no chord is
 * steeper than 45 degrees. Its Bezier heights are 0, 1/3, 1/3, 0, so the bound is up to a third more. */
Test(bound, of_a_parabola_falls_as_the_square_of_the_cells)
{
    vec3 points[16];

    for (int i = 0; i < 16; i++)
        points[i] = (vec3){i % 4 / 3.0, i / 4 / 3.0, i % 4 == 1 || i % 4 == 2 ? 1.0 / 3 : 0};
    for (uint32_t n = 1; n < 20; n++) {
        double bound = grid_eps(points, (struct grid_size){n, 1});
        cr_expect(le(dbl, bound, (1.0 / 3 + 1e-12) / (n * n)), "%u", n);
        cr_expect(ge(dbl, bound, 0.25 * M_SQRT1_2 / (n * n)), "%u", n);
    }
}

Test(find, reaches_what_is_wanted)
{
    uint64_t state = 42;

    for (unsigned round = 0; round < 10; round++) {
        vec3 points[16];
        fixture_random_piece(points, 0.3, &state);
        struct grid_found found = grid_find(points, 1e-3, 1024, SIZE_MAX);
        cr_expect(le(dbl, found.bound, 1e-3));
        cr_expect(eq(dbl, found.bound, grid_eps(points, found.size)));
        cr_expect(le(sz, grid_cells(found.size),
                     3000)); /* bends of some 6 need (6 / 8 / 1e-4) cells each way's root */
        cr_expect(le(sz, grid_cells(found.size), found.work));
    }
}

Test(find, takes_one_cell_where_the_piece_is_flat)
{
    uint64_t state = 43;
    vec3 points[16];

    fixture_random_piece(points, 0, &state);
    struct grid_found found = grid_find(points, 1e-9, 1024, SIZE_MAX);
    cr_expect(eq(sz, grid_cells(found.size), 1));
    cr_expect(eq(sz, found.work, 1));
    cr_expect(le(dbl, found.bound, 1e-15));
}

Test(find, ends_at_the_cells_it_may_have)
{
    uint64_t state = 44;
    vec3 points[16];

    fixture_random_piece(points, 0.5, &state);
    struct grid_found found = grid_find(points, 1e-12, 8, SIZE_MAX);
    cr_expect(eq(sz, grid_cells(found.size), 64));
    cr_expect(gt(dbl, found.bound, 1e-12));
    for (int i = 0; i < 16; i++)
        points[i] = (vec3){0, 0, 0};
    cr_expect(eq(sz, grid_cells(grid_find(points, 0, 8, SIZE_MAX).size), 1));
}

Test(find, does_not_look_at_a_grid_of_too_many_cells)
{
    uint64_t state = 45;
    vec3 points[16];

    fixture_random_piece(points, 0.5, &state);
    struct grid_found found = grid_find(points, 1e-9, 1024, 100000);
    cr_expect(gt(sz, grid_cells(found.size), 100000));
    cr_expect(found.bound == INFINITY);
    cr_expect(le(sz, found.work, 12 * 100000)); /* coarser grids, if any */
}
