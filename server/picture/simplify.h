/* simplify.h - fewer triangles over the same vertices, by collapsing edges in the order of the error that
 * this makes (M. Garland, P. Heckbert 1997, "Surface simplification using quadric error metrics"), or, where
 * too few can be collapsed without changing the topology, by merging vertices in the cells of a grid.
 *
 * The work is meshoptimizer's, which takes its memory from the system and ends the process where there is
 * none: only a worker calls it. */
#ifndef PICTURE_SIMPLIFY_H
#define PICTURE_SIMPLIFY_H

#include <stddef.h>
#include <stdint.h>

/* Fills `simplified`, room for triangle_count, with about `wanted` triangles in an order that takes their
 * vertices again soon, and returns how many; 0 where nothing but slivers would be left. Vertices are merged
 * where collapsing edges leaves more than `most`. positions: near [-1, 1]. */
size_t simplify(const float (*positions)[3], size_t vertex_count, const uint32_t (*triangles)[3],
                size_t triangle_count, size_t wanted, size_t most, uint32_t (*simplified)[3]);

#endif
