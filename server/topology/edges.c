/* edges.c - edges from face sides by one counting pass over the lower vertex of each side. */
#include "topology/edges.h"

#include <assert.h>
#include <string.h>

static void name_corner_faces(const struct mesh *mesh, uint32_t *corner_face)
{
    for (size_t f = 0; f < mesh->face_count; f++)
        for (uint32_t c = mesh->face_offsets[f]; c < mesh->face_offsets[f + 1]; c++)
            corner_face[c] = (uint32_t)f;
}

/* Gathers the sides by lower vertex, ascending within one vertex; bucket_begin has vertex_count + 1 places.
 */
static void gather_by_low_vertex(const struct mesh *mesh, const struct edges *edges, uint32_t *bucket_begin,
                                 uint32_t *bucket_sides)
{
    const uint32_t *vertex = mesh->face_vertices;
    for (uint32_t c = 0; c < edges->corner_count; c++) {
        uint32_t a = vertex[c], b = vertex[edges_next_corner(edges, mesh, c)];
        if (a != b)
            bucket_begin[(a < b ? a : b) + 1]++;
    }
    for (size_t v = 0; v < mesh->vertex_count; v++)
        bucket_begin[v + 1] += bucket_begin[v];
    for (uint32_t c = 0; c < edges->corner_count; c++) {
        uint32_t a = vertex[c], b = vertex[edges_next_corner(edges, mesh, c)];
        if (a != b)
            bucket_sides[bucket_begin[a < b ? a : b]++] = c;
    }
    /* filling moved each start to the next one's */
    memmove(bucket_begin + 1, bucket_begin, mesh->vertex_count * sizeof *bucket_begin);
    bucket_begin[0] = 0;
}

/* Within the sides of one lower vertex, latest[high] is the newest edge that ends at high: an edge of this
 * vertex if it is not older than the vertex's first. No bucket is sorted, so a vertex shared by thousands of
 * faces costs no more than others. */
static void number_edges(const struct mesh *mesh, struct edges *edges, const uint32_t *bucket_begin,
                         const uint32_t *bucket_sides, uint32_t *latest)
{
    uint32_t count = 0;
    memset(latest, 0xff, mesh->vertex_count * sizeof *latest);
    for (uint32_t v = 0; v < mesh->vertex_count; v++) {
        uint32_t first_of_vertex = count;
        for (uint32_t i = bucket_begin[v]; i < bucket_begin[v + 1]; i++) {
            uint32_t c = bucket_sides[i];
            uint32_t a = mesh->face_vertices[c];
            uint32_t high = a == v ? mesh->face_vertices[edges_next_corner(edges, mesh, c)] : a;
            if (latest[high] == EDGE_NONE || latest[high] < first_of_vertex) {
                edges->low[count] = v;
                edges->high[count] = high;
                latest[high] = count++;
            }
            edges->corner_edge[c] = latest[high];
        }
    }
    edges->count = count;
}

static void gather_sides(struct edges *edges)
{
    memset(edges->side_begin, 0, (edges->count + 1) * sizeof *edges->side_begin);
    for (size_t c = 0; c < edges->corner_count; c++)
        if (edges->corner_edge[c] != EDGE_NONE)
            edges->side_begin[edges->corner_edge[c] + 1]++;
    for (size_t e = 0; e < edges->count; e++)
        edges->side_begin[e + 1] += edges->side_begin[e];
    for (uint32_t c = 0; c < edges->corner_count; c++)
        if (edges->corner_edge[c] != EDGE_NONE)
            edges->sides[edges->side_begin[edges->corner_edge[c]]++] = c;
    memmove(edges->side_begin + 1, edges->side_begin, edges->count * sizeof *edges->side_begin);
    edges->side_begin[0] = 0;
}

static void count_classes(const struct mesh *mesh, struct edges *edges)
{
    for (size_t e = 0; e < edges->count; e++) {
        uint32_t incidence = edges_incidence(edges, e);
        edges->open_count += incidence == 1;
        edges->nonmanifold_count += incidence > 2;
        edges->inconsistent_count += incidence == 2 && !edges_is_consistent(edges, mesh, e);
        if (incidence > edges->incidence_max)
            edges->incidence_max = incidence;
    }
}

bool edges_build(const struct mesh *mesh, struct edges *edges, struct arena *keep, struct arena scratch,
                 struct error *err)
{
    size_t corner_count = mesh_corner_count(mesh);
    memset(edges, 0, sizeof *edges);
    edges->corner_count = corner_count;
    edges->corner_edge = ARENA_NEW(keep, uint32_t, corner_count);
    edges->corner_face = ARENA_NEW(keep, uint32_t, corner_count);
    edges->sides = ARENA_NEW(keep, uint32_t, corner_count);
    uint32_t *bucket_begin = ARENA_ZERO(&scratch, uint32_t, mesh->vertex_count + 1);
    uint32_t *bucket_sides = ARENA_NEW(&scratch, uint32_t, corner_count);
    uint32_t *latest = ARENA_NEW(&scratch, uint32_t, mesh->vertex_count);
    uint32_t *low = ARENA_NEW(&scratch, uint32_t, corner_count);
    uint32_t *high = ARENA_NEW(&scratch, uint32_t, corner_count);
    if (keep->failed || scratch.failed)
        return arena_error(err);

    name_corner_faces(mesh, edges->corner_face);
    memset(edges->corner_edge, 0xff, corner_count * sizeof *edges->corner_edge);
    gather_by_low_vertex(mesh, edges, bucket_begin, bucket_sides);
    edges->low = low;
    edges->high = high;
    number_edges(mesh, edges, bucket_begin, bucket_sides, latest);

    edges->low = ARENA_NEW(keep, uint32_t, edges->count);
    edges->high = ARENA_NEW(keep, uint32_t, edges->count);
    edges->side_begin = ARENA_NEW(keep, uint32_t, edges->count + 1);
    if (keep->failed)
        return arena_error(err);
    memcpy(edges->low, low, edges->count * sizeof *low);
    memcpy(edges->high, high, edges->count * sizeof *high);
    gather_sides(edges);
    count_classes(mesh, edges);
    assert(edges_is_valid(edges, mesh));
    return true;
}

bool edges_is_valid(const struct edges *edges, const struct mesh *mesh)
{
    size_t side_count = 0;
    if (edges->corner_count != mesh_corner_count(mesh) || edges->side_begin[0] != 0)
        return false;
    for (uint32_t c = 0; c < edges->corner_count; c++) {
        uint32_t a = mesh->face_vertices[c];
        uint32_t b = mesh->face_vertices[edges_next_corner(edges, mesh, c)];
        uint32_t e = edges->corner_edge[c];
        if ((e == EDGE_NONE) != (a == b))
            return false;
        if (e == EDGE_NONE)
            continue;
        side_count++;
        if (e >= edges->count || edges->low[e] != (a < b ? a : b) || edges->high[e] != (a < b ? b : a))
            return false;
    }
    for (size_t e = 0; e < edges->count; e++) {
        if (edges->side_begin[e] >= edges->side_begin[e + 1])
            return false;
        for (uint32_t i = edges->side_begin[e]; i < edges->side_begin[e + 1]; i++)
            if (edges->sides[i] >= edges->corner_count || edges->corner_edge[edges->sides[i]] != e)
                return false;
    }
    return edges->side_begin[edges->count] == side_count;
}
