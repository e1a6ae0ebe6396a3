/* grid_fit.h - a bicubic piece as a grid of its own points, fine enough that two triangles a cell stand for
 * it.
 *
 * The piece S is cut at equal steps along u and along v; each cell is a bicubic piece again, for whose two
 * triangles quad_fit.h gives a bound in both directions. The bound of the grid is the largest of its cells'.
 * How many cells to take is a guess from second differences; what it gives is checked. Pure functions. */
#ifndef SUBDIV_GRID_FIT_H
#define SUBDIV_GRID_FIT_H

#include "subdiv/quad_fit.h"

#include <stddef.h>
#include <stdint.h>

struct grid_size {
    uint32_t columns, rows; /* cells along u and along v, at least 1 */
};

static inline size_t grid_cells(struct grid_size size)
{
    return (size_t)size.columns * size.rows;
}

/* The bound, without rounding. */
double grid_eps(const vec3 bezier[16], struct grid_size size);

/* About how many cells keep the bound within eps (> 0): with a cell's share h of the square, a piece is off
 * its triangles by an eighth of its second derivatives times h^2. Of these, what only changes how fast a row
 * of points is run through does not count, nor the mixed one across the normal. At most side_max along a
 * side. */
struct grid_size grid_guess(const vec3 bezier[16], double eps, uint32_t side_max);

struct grid_found {
    struct grid_size size;
    double bound; /* INFINITY where the grid was not looked at */
    size_t work;  /* cells looked at on the way to it */
};
/* A grid whose bound is at most eps, where side_max allows. One of more than cells_max cells is not looked
 * at.
 */
struct grid_found grid_find(const vec3 bezier[16], double eps, uint32_t side_max, size_t cells_max);

#endif
