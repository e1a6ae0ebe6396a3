/* deviation_cells.h - the triangles that can be nearest to what only one of two surfaces has.
 *
 * A lattice of cells over the frame. Cells of a surface's own triangles, those that the other has not, are
 * asked for the nearest cell that the other surface surely reaches: so far at most is the other from all of
 * them. What has no cell as near can be left out of an index that is asked from these triangles alone. */
#ifndef MEASURE_DEVIATION_CELLS_H
#define MEASURE_DEVIATION_CELLS_H

#include "measure/deviation_shared.h"

struct held_triangles {
    bool *marked[2];  /* [triangle_count] of each surface, as listed; one at least */
    size_t counts[2]; /* how many are */
    double reach[2]; /* no point of a surface's own triangles is farther from the other, and every triangle of
                      * the other that is as near to one of them is marked; 0 where it has none */
};

/* Marks, beside them, the own triangles of each surface. Arrays: from keep.
 * ERROR_LIMIT when memory ends. */
bool cells_mark(const struct deviation_surface *const surfaces[2], const struct shared_triangles *shared,
                size_t threads, struct held_triangles *held, struct arena *keep, struct arena scratch,
                struct error *err);

#endif
