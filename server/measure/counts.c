/* counts.c - counting vertices and faces by what is wrong with them. */
#include "measure/counts.h"

#include <string.h>

#include "measure/position_key.h"

enum { AT_ONCE = 32 };

/* Open addressing, at most half full. */
struct positions {
    const struct measure_input *input;
    uint32_t *table; /* vertices of different positions, UINT32_MAX: free */
    size_t mask;
};

static bool stands_elsewhere(const struct positions *positions, uint32_t v, size_t at)
{
    const vec3 *p = positions->input->mesh->positions;
    while (positions->table[at] != UINT32_MAX && !position_equal(p[positions->table[at]], p[v]))
        at = (at + 1) & positions->mask;
    if (positions->table[at] != UINT32_MAX)
        return false;
    positions->table[at] = v;
    return true;
}

/* Where they are in the table is asked of memory for all of them before the first is waited for. */
static size_t count_coincident_of(const struct positions *positions, size_t begin, size_t end)
{
    const struct measure_input *input = positions->input;
    size_t places[AT_ONCE], coincident = 0;
    for (size_t v = begin; v < end; v++) {
        places[v - begin] = (size_t)position_hash(input->mesh->positions[v]) & positions->mask;
        __builtin_prefetch(&positions->table[places[v - begin]]);
    }
    for (size_t v = begin; v < end; v++)
        coincident += input->fans.vertex_class_count[v] > 0
                      && !stands_elsewhere(positions, (uint32_t)v, places[v - begin]);
    return coincident;
}

/* Referenced vertices whose exact position (+0 = -0) an earlier one has. */
static bool count_coincident(const struct measure_input *input, size_t *coincident, struct arena scratch,
                             struct error *err)
{
    struct positions positions = {.input = input, .mask = 1};
    size_t count = input->mesh->vertex_count;
    while (positions.mask < 2 * input->fans.referenced_count)
        positions.mask = 2 * positions.mask + 1;
    positions.table = ARENA_NEW(&scratch, uint32_t, positions.mask + 1);
    if (scratch.failed)
        return arena_error(err);
    memset(positions.table, 0xff, (positions.mask + 1) * sizeof *positions.table);
    for (size_t v = 0; v < count; v += AT_ONCE)
        *coincident += count_coincident_of(&positions, v, count - v < AT_ONCE ? count : v + AT_ONCE);
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

bool integer_histogram_build(const size_t *times, size_t value_count, struct integer_histogram *histogram,
                             struct arena *keep, struct error *err)
{
    size_t bin_count = 0;
    for (size_t value = 0; value < value_count; value++)
        bin_count += times[value] > 0;
    histogram->bin_count = 0;
    histogram->bins = ARENA_NEW(keep, struct integer_bin, bin_count);
    if (keep->failed)
        return arena_error(err);
    for (size_t value = 0; value < value_count; value++)
        if (times[value] > 0)
            histogram->bins[histogram->bin_count++] = (struct integer_bin){(uint32_t)value, times[value]};
    return true;
}
