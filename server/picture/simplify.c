/* simplify.c - by meshoptimizer. */
#include "picture/simplify.h"

#include <meshoptimizer.h>

#define COLLAPSED_MAX 16000000 /* triangles: collapsing the edges of more takes too long */
#define ERROR_MAX 1.0f         /* of the extent: as much as it takes */

size_t simplify(const float (*positions)[3], size_t vertex_count, const uint32_t (*triangles)[3],
                size_t triangle_count, size_t wanted, size_t most, uint32_t (*simplified)[3])
{
    const unsigned *from = &triangles[0][0];
    unsigned *to = &simplified[0][0];
    size_t corners = 3 * triangle_count, got = 0;

    if (triangle_count <= COLLAPSED_MAX)
        got = meshopt_simplify(to, from, corners, &positions[0][0], vertex_count, sizeof *positions,
                               3 * wanted, ERROR_MAX, 0, NULL);
    if (got == 0 || got > 3 * most)
        got = meshopt_simplifySloppy(to, from, corners, &positions[0][0], vertex_count, sizeof *positions,
                                     3 * wanted, ERROR_MAX, NULL);
    meshopt_optimizeVertexCache(to, to, got, vertex_count);
    return got / 3;
}
