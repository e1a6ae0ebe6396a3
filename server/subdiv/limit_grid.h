/* limit_grid.h - a piece of a limit surface as a grid of points, on the way from patches.c to patches_join.c.
 */
#ifndef SUBDIV_LIMIT_GRID_H
#define SUBDIV_LIMIT_GRID_H

#include "subdiv/grid_fit.h"

/* The points of a piece, row by row; a cell of the grid is a quad. */
struct limit_grid {
    struct limit_grid *next;
    double eps;
    uint32_t face; /* of base.cage */
    struct grid_size size;
    enum quad_cut cut; /* of its cells; either: along the shorter diagonal */
    bool whole;        /* its corners are those of the face */
    vec3 points[];
};

static inline size_t limit_grid_points(struct grid_size size)
{
    return ((size_t)size.columns + 1) * (size.rows + 1);
}

#endif
