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
    uint64_t seed;
};

/* positions has room for the vertices; slots come from scratch, for some expected_vertices to begin with.
 * False when scratch is too small (arena_error). */
bool weld_begin(struct weld *weld, vec3 *positions, size_t room, size_t expected_vertices, uint64_t seed,
                struct arena *scratch, struct error *err);

/* p with +0 for every -0: as all of the following expect it. */
static inline vec3 weld_point(vec3 p)
{
    return (vec3){p.x + 0.0, p.y + 0.0, p.z + 0.0};
}
uint64_t weld_hash(const struct weld *weld, vec3 p);
/* Tell the processor what weld_vertex will look at; a hash some points ahead of the other, so that looking
 * need not wait for memory. */
void weld_expect_slot(const struct weld *weld, uint64_t hash);
void weld_expect_vertex(const struct weld *weld, uint64_t hash);

/* The vertex at p (finite, of that hash), a new one where none is there yet. False when positions is full or
 * scratch is too small (arena_error). */
bool weld_vertex(struct weld *weld, vec3 p, uint64_t hash, uint32_t *vertex, struct arena *scratch,
                 struct error *err);

#endif
