/* weld.h - corners with bit-equal coordinates become one vertex, numbered in the order first met; +0 and -0
 * are the same. Expected linear time: open addressing, with a hash seeded from the file's own digest. */
#ifndef IO_WELD_H
#define IO_WELD_H

#include "base/arena.h"
#include "geom/vec3.h"

struct weld {
    vec3 *positions; /* [room], the first vertex_count are set */
    size_t vertex_count, room;
    uint32_t *slots; /* vertex + 1, 0 when free; slot_count is a power of two */
    size_t slot_count;
    uint64_t seeds[2];
};

/* positions has room for the vertices; slots come from scratch, for some expected_vertices to begin with.
 * False when scratch is too small (arena_error). */
bool weld_begin(struct weld *weld, vec3 *positions, size_t room, size_t expected_vertices, uint64_t seed,
                struct arena *scratch, struct error *err);

/* The vertices at points (finite), new ones where none is there yet; +0 is stored for every -0. Takes points
 * some at a time, so that looking into the table need not wait for memory. False when positions is full or
 * scratch is too small (arena_error). */
bool weld_points(struct weld *weld, const vec3 *points, size_t count, uint32_t *vertices,
                 struct arena *scratch, struct error *err);

#endif
