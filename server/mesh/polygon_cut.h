/* polygon_cut.h - a simple polygon in the plane becomes triangles by one plane sweep.
 *
 * Hertel and Mehlhorn 1983, "Fast triangulation of simple polygons": the sweep goes left to right; between a
 * lower and an upper side it keeps the chain of corners that still lack triangles, and cuts off triangles as
 * soon as a corner sees two neighbours of the chain. O(n log n). */
#ifndef MESH_POLYGON_CUT_H
#define MESH_POLYGON_CUT_H

#include "base/arena.h"

typedef struct {
    double x, y;
} polygon_point;

/* Room for polygons of up to `capacity` corners; opaque. */
struct polygon_cutter {
    size_t capacity;
    struct polygon_sweep *sweep;
};

/* False when the arena is out of memory. */
bool polygon_cutter_open(struct polygon_cutter *cutter, size_t capacity, struct arena *keep);

/* Fills count - 2 triangles of corner numbers, counter-clockwise. False when the polygon is not simple, has
 * no area or runs clockwise: `triangles` is then undefined. 3 <= count <= capacity. */
bool polygon_cut(const struct polygon_cutter *cutter, const polygon_point *points, size_t count,
                 uint32_t (*triangles)[3]);

#endif
