/* counts.c - counting vertices and faces by what is wrong with them. */
#include "measure/counts.h"

#include <string.h>

#include "measure/position_key.h"

/* Referenced vertices whose exact position (+0 = -0) an earlier one has: open addressing, at most half full.
 */
static bool count_coincident(const struct measure_input *input, size_t *coincident, struct arena scratch,
                             struct error *err)
{
    const struct mesh *mesh = input->mesh;
    size_t mask = 1;
    while (mask < 2 * input->fans.referenced_count)
        mask = 2 * mask + 1;
    uint32_t *table = ARENA_NEW(&scratch, uint32_t, mask + 1);
    if (scratch.failed)
        return arena_error(err);
    memset(table, 0xff, (mask + 1) * sizeof *table);
    for (uint32_t v = 0; v < mesh->vertex_count; v++) {
        if (input->fans.vertex_class_count[v] == 0)
            continue;
        vec3 p = mesh->positions[v];
        size_t at = (size_t)position_hash(p) & mask;
        while (table[at] != UINT32_MAX && !position_equal(mesh->positions[table[at]], p))
            at = (at + 1) & mask;
        if (table[at] == UINT32_MAX)
            table[at] = v;
        else
            ++*coincident;
    }
    return true;
}

bool counts_build(const struct measure_input *input, struct mesh_counts *counts, struct arena scratch,
                  struct error *err)
{
    const struct mesh *mesh = input->mesh;
    *counts = (struct mesh_counts){.vertices = mesh->vertex_count,
                                   .faces = mesh->face_count,
                                   .edges = input->edges.count,
                                   .unreferenced_vertices = mesh->vertex_count - input->fans.referenced_count,
                                   .duplicate_faces = input->duplicates.extra_count};
    for (size_t f = 0; f < mesh->face_count; f++) {
        size_t size = mesh_face_size(mesh, f);
        unsigned class = input->face_class[f];
        counts->triangles += size == 3;
        counts->quads += size == 4;
        counts->ngons += size > 4;
        counts->degenerate_repeated += (class & FACE_REPEATED) != 0;
        counts->degenerate_zero_area += (class & FACE_ZERO_AREA) != 0;
        counts->degenerate_zero_side += (class & FACE_ZERO_SIDE) != 0;
        counts->degenerate_near_zero += (class & FACE_NEAR_ZERO) != 0;
    }
    counts->degenerate_faces = counts->degenerate_repeated + counts->degenerate_zero_area;
    return count_coincident(input, &counts->coincident_vertices, scratch, err);
}

bool integer_histogram_build(const uint32_t *values, size_t count, bool keep_zero,
                             struct integer_histogram *histogram, struct arena *keep, struct arena scratch,
                             struct error *err)
{
    size_t largest = 0, bin_count = 0;
    for (size_t i = 0; i < count; i++)
        largest = values[i] > largest ? values[i] : largest;
    size_t *times = ARENA_ZERO(&scratch, size_t, largest + 1);
    if (scratch.failed)
        return arena_error(err);
    for (size_t i = 0; i < count; i++)
        times[values[i]]++;
    if (!keep_zero)
        times[0] = 0;
    for (size_t value = 0; value <= largest; value++)
        bin_count += times[value] > 0;
    histogram->bin_count = 0;
    histogram->bins = ARENA_NEW(keep, struct integer_bin, bin_count);
    if (keep->failed)
        return arena_error(err);
    for (size_t value = 0; value <= largest; value++)
        if (times[value] > 0)
            histogram->bins[histogram->bin_count++] = (struct integer_bin){(uint32_t)value, times[value]};
    return true;
}
