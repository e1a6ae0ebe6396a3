/* test_deviation_bound.c
 *   faces_*   the bound by several faces is the value of the game: no grid of weights is better, and some
 * point of the triangle is as far (von Neumann's minimax theorem) way_*     the bound by the way from a
 * corner
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "measure/deviation_bound.h"
#include "support/fixture_shapes.h"

#define GRID 60

static double weighted_maximum(double distances[][3], const double *weights, size_t count)
{
    double worst = 0;

    for (int i = 0; i < 3; i++) {
        double sum = 0;
        for (size_t k = 0; k < count; k++)
            sum += weights[k] * distances[k][i];
        worst = fmax(worst, sum);
    }
    return worst;
}

/* The least over a grid of weights on three faces. */
static double least_on_grid(double distances[][3])
{
    double best = INFINITY;

    for (int a = 0; a <= GRID; a++)
        for (int b = 0; a + b <= GRID; b++) {
            const double weights[3] = {a / (double)GRID, b / (double)GRID, (GRID - a - b) / (double)GRID};
            best = fmin(best, weighted_maximum(distances, weights, 3));
        }
    return best;
}

/* The largest over a grid of points of the least over faces of the linear interpolant. */
static double largest_on_grid(double distances[][3], size_t count)
{
    double best = 0;

    for (int a = 0; a <= GRID; a++)
        for (int b = 0; a + b <= GRID; b++) {
            double least = INFINITY;
            for (size_t k = 0; k < count; k++)
                least =
                    fmin(least, (a * distances[k][0] + b * distances[k][1] + (GRID - a - b) * distances[k][2])
                                    / GRID);
            best = fmax(best, least);
        }
    return best;
}

Test(deviation_bound, faces_give_the_value_of_the_game)
{
    uint64_t state = 17;

    for (int n = 0; n < 3000; n++) {
        double distances[BOUND_FACES_MAX][3];
        size_t count = 1 + fixture_random_below(&state, BOUND_FACES_MAX);
        for (size_t k = 0; k < count; k++)
            for (int i = 0; i < 3; i++)
                distances[k][i] =
                    n % 3 ? fixture_random_unit(&state) : (double)fixture_random_below(&state, 3);
        double bound = bound_by_faces(distances, count), low = largest_on_grid(distances, count);
        /* a grid step away from the optimum, values up to 2 change by at most 4 / GRID */
        cr_expect(bound >= low - 1e-12 && bound <= low + 4.0 / GRID, "case %d: %g, some point %g", n, bound,
                  low);
        if (count == 3)
            cr_expect(bound <= least_on_grid(distances) + 1e-12, "case %d", n);
    }
}

Test(deviation_bound, faces_on_a_ridge_are_exact)
{
    /* two faces, one near each side: 1 + x and 1 - x over x = -0.1, 0.1, 0 */
    double distances[2][3] = {{0.9, 1.1, 1}, {1.1, 0.9, 1}};

    cr_expect(fabs(bound_by_faces(distances, 2) - 1) < 1e-15);
    cr_expect(eq(dbl, bound_by_faces(distances, 1), 1.1));
}

Test(deviation_bound, way_from_the_nearest_corner)
{
    const vec3 corners[3] = {{0, 0, 0}, {3, 0, 0}, {0, 4, 0}};
    const double distances[3] = {1, 0.5, 2};

    /* 1 + 4, 0.5 + 5, 2 + 5 */
    cr_expect(eq(dbl, bound_by_way(corners, distances), 5));
}
