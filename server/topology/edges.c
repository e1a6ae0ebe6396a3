/* edges.c - edges from face sides, gathered by the lower vertex of each side; edges of one vertex are
 * numbered among themselves, then all together. */
#include "topology/edges.h"

#include <assert.h>
#include <string.h>

#include "base/tasks.h"

enum { CHUNK_VERTICES = 8192, FACES_IN_CHUNK = 65536, RANGES_MAX = 4, FEW = 24 };

/* A side as its lower vertex sees it. */
struct spoke {
    uint32_t high, corner;
};

/* What a chunk of vertices finds. */
struct chunk_counts {
    size_t edges; /* until they become the number of the chunk's first edge */
    size_t open, nonmanifold, inconsistent, incidence_max;
};

struct gathering {
    const struct mesh *mesh;
    struct edges *edges;
    size_t range_count; /* of faces, of about as many corners each; one thread each */
    uint32_t *cursor;   /* [range_count][vertex_count] how many, then where the next one goes */
    uint32_t *begin;    /* [vertex_count + 1] spokes of each lower vertex, by ascending corners */
    struct spoke *spokes;
    uint32_t *place; /* [corner_count] of each spoke: which edge of its vertex */
    uint32_t *vertex_edges;
    struct chunk_counts *chunks;
};

static void name_corner_faces(void *context, size_t chunk)
{
    struct gathering *gathering = context;
    const struct mesh *mesh = gathering->mesh;
    size_t begin = chunk * FACES_IN_CHUNK;
    size_t end = mesh->face_count - begin < FACES_IN_CHUNK ? mesh->face_count : begin + FACES_IN_CHUNK;
    for (size_t f = begin; f < end; f++)
        for (uint32_t c = mesh->face_offsets[f]; c < mesh->face_offsets[f + 1]; c++)
            gathering->edges->corner_face[c] = (uint32_t)f;
}

static size_t range_border(const struct gathering *gathering, size_t range)
{
    return (size_t)((uint64_t)gathering->mesh->face_count * range / gathering->range_count);
}

static void count_range(void *context, size_t range)
{
    struct gathering *gathering = context;
    const struct mesh *mesh = gathering->mesh;
    uint32_t *count = gathering->cursor + range * mesh->vertex_count;
    for (size_t f = range_border(gathering, range); f < range_border(gathering, range + 1); f++) {
        const uint32_t *face = mesh_face(mesh, f);
        size_t size = mesh_face_size(mesh, f);
        uint32_t a = face[size - 1];
        for (size_t i = 0; i < size; a = face[i++])
            if (a != face[i])
                count[a < face[i] ? a : face[i]]++;
    }
}

static void fill_range(void *context, size_t range)
{
    struct gathering *gathering = context;
    const struct mesh *mesh = gathering->mesh;
    uint32_t *cursor = gathering->cursor + range * mesh->vertex_count;
    for (size_t f = range_border(gathering, range); f < range_border(gathering, range + 1); f++) {
        uint32_t first = mesh->face_offsets[f], end = mesh->face_offsets[f + 1];
        for (uint32_t c = first; c < end; c++) {
            uint32_t a = mesh->face_vertices[c], b = mesh->face_vertices[c + 1 < end ? c + 1 : first];
            if (a != b)
                gathering->spokes[cursor[a < b ? a : b]++] = (struct spoke){a < b ? b : a, c};
            else
                gathering->edges->corner_edge[c] = EDGE_NONE;
        }
    }
}

static void place_ranges(struct gathering *gathering)
{
    size_t vertex_count = gathering->mesh->vertex_count;
    uint32_t sum = 0;
    for (size_t v = 0; v < vertex_count; v++) {
        gathering->begin[v] = sum;
        for (size_t r = 0; r < gathering->range_count; r++) {
            uint32_t *cursor = &gathering->cursor[r * vertex_count + v];
            uint32_t count = *cursor;
            *cursor = sum;
            sum += count;
        }
    }
    gathering->begin[vertex_count] = sum;
}

/* Vertices of many spokes: latest[high] is the newest edge that ends at high, by a number that only grows, so
 * that a vertex shared by thousands of faces costs no more than others. */
static void number_large_vertices(struct gathering *gathering, uint32_t *latest)
{
    uint32_t count = 1;
    for (size_t v = 0; v < gathering->mesh->vertex_count; v++) {
        uint32_t first = count;
        if (gathering->begin[v + 1] - gathering->begin[v] <= FEW)
            continue;
        for (uint32_t i = gathering->begin[v]; i < gathering->begin[v + 1]; i++) {
            uint32_t *number = &latest[gathering->spokes[i].high];
            if (*number < first)
                *number = count++;
            gathering->place[i] = *number - first;
        }
        gathering->vertex_edges[v] = count - first;
    }
}

static uint32_t number_few(const struct spoke *spokes, size_t count, uint32_t *place)
{
    uint32_t highs[FEW], found = 0;
    for (size_t i = 0; i < count; i++) {
        uint32_t k = 0;
        while (k < found && highs[k] != spokes[i].high)
            k++;
        if (k == found)
            highs[found++] = spokes[i].high;
        place[i] = k;
    }
    return found;
}

static size_t chunk_end(const struct gathering *gathering, size_t chunk)
{
    size_t begin = chunk * CHUNK_VERTICES, count = gathering->mesh->vertex_count;
    return count - begin < CHUNK_VERTICES ? count : begin + CHUNK_VERTICES;
}

static void number_chunk(void *context, size_t chunk)
{
    struct gathering *gathering = context;
    size_t edges = 0;
    for (size_t v = chunk * CHUNK_VERTICES; v < chunk_end(gathering, chunk); v++) {
        uint32_t begin = gathering->begin[v], count = gathering->begin[v + 1] - begin;
        if (count <= FEW)
            gathering->vertex_edges[v] =
                number_few(gathering->spokes + begin, count, gathering->place + begin);
        edges += gathering->vertex_edges[v];
    }
    gathering->chunks[chunk].edges = edges;
}

static void count_classes(const struct mesh *mesh, const struct edges *edges, size_t begin, size_t end,
                          struct chunk_counts *counts)
{
    for (size_t e = begin; e < end; e++) {
        uint32_t incidence = edges_incidence(edges, e);
        counts->open += incidence == 1;
        counts->nonmanifold += incidence > 2;
        counts->inconsistent += incidence == 2 && !edges_is_consistent(edges, mesh, e);
        counts->incidence_max = incidence > counts->incidence_max ? incidence : counts->incidence_max;
    }
}

/* The edges of one vertex, numbered from e on. side_begin[e + k + 1] counts the sides of its edge k, then is
 * where the next of them goes, and so ends as the end of k. */
static void make_edges(const struct gathering *gathering, uint32_t v, size_t e)
{
    struct edges *edges = gathering->edges;
    uint32_t begin = gathering->begin[v], end = gathering->begin[v + 1], sum = begin;
    uint32_t *cursor = edges->side_begin + e + 1;
    for (uint32_t k = 0; k < gathering->vertex_edges[v]; k++) {
        cursor[k] = 0;
        edges->low[e + k] = v;
    }
    for (uint32_t i = begin; i < end; i++) {
        cursor[gathering->place[i]]++;
        edges->high[e + gathering->place[i]] = gathering->spokes[i].high;
    }
    for (uint32_t k = 0; k < gathering->vertex_edges[v]; k++) {
        uint32_t count = cursor[k];
        cursor[k] = sum;
        sum += count;
    }
    for (uint32_t i = begin; i < end; i++) {
        uint32_t c = gathering->spokes[i].corner;
        edges->sides[cursor[gathering->place[i]]++] = c;
        edges->corner_edge[c] = (uint32_t)(e + gathering->place[i]);
    }
}

static void make_chunk(void *context, size_t chunk)
{
    struct gathering *gathering = context;
    struct chunk_counts *counts = &gathering->chunks[chunk];
    size_t e = counts->edges;
    for (size_t v = chunk * CHUNK_VERTICES; v < chunk_end(gathering, chunk); v++) {
        make_edges(gathering, (uint32_t)v, e);
        e += gathering->vertex_edges[v];
    }
}

/* The edges of a chunk begin where those of the one before end: known to all only when all are made. */
static void count_chunk(void *context, size_t chunk)
{
    struct gathering *gathering = context;
    count_classes(gathering->mesh, gathering->edges, gathering->chunks[chunk].edges,
                  gathering->chunks[chunk + 1].edges, &gathering->chunks[chunk]);
}

static bool prepare(struct gathering *gathering, size_t threads, struct arena *keep, struct arena *scratch)
{
    struct edges *edges = gathering->edges;
    size_t vertex_count = gathering->mesh->vertex_count, corner_count = edges->corner_count;
    gathering->range_count = threads < RANGES_MAX ? threads : RANGES_MAX;
    if (gathering->range_count == 0 || corner_count < FACES_IN_CHUNK)
        gathering->range_count = 1;
    edges->corner_edge = ARENA_NEW(keep, uint32_t, corner_count);
    edges->corner_face = ARENA_NEW(keep, uint32_t, corner_count);
    edges->sides = ARENA_NEW(keep, uint32_t, corner_count);
    gathering->begin = ARENA_NEW(scratch, uint32_t, vertex_count + 1);
    gathering->spokes = ARENA_NEW(scratch, struct spoke, corner_count);
    gathering->place = ARENA_NEW(scratch, uint32_t, corner_count);
    gathering->vertex_edges = ARENA_NEW(scratch, uint32_t, vertex_count);
    gathering->chunks =
        ARENA_ZERO(scratch, struct chunk_counts, tasks_chunks(vertex_count, CHUNK_VERTICES) + 1);
    struct arena before = *scratch;
    gathering->cursor = ARENA_ZERO(scratch, uint32_t, gathering->range_count * vertex_count);
    if (!gathering->cursor) { /* the edges are the same with one range */
        *scratch = before;
        gathering->range_count = 1;
        gathering->cursor = ARENA_ZERO(scratch, uint32_t, vertex_count);
    }
    return !keep->failed && !scratch->failed;
}

bool edges_build(const struct mesh *mesh, size_t threads, struct edges *edges, struct arena *keep,
                 struct arena scratch, struct error *err)
{
    struct gathering gathering = {.mesh = mesh, .edges = edges};
    size_t chunk_count = tasks_chunks(mesh->vertex_count, CHUNK_VERTICES), sum = 0;
    memset(edges, 0, sizeof *edges);
    edges->corner_count = mesh_corner_count(mesh);
    if (!prepare(&gathering, threads, keep, &scratch))
        return arena_error(err);

    tasks_run(threads, tasks_chunks(mesh->face_count, FACES_IN_CHUNK), name_corner_faces, &gathering);
    tasks_run(threads, gathering.range_count, count_range, &gathering);
    place_ranges(&gathering);
    tasks_run(threads, gathering.range_count, fill_range, &gathering);
    memset(gathering.cursor, 0, mesh->vertex_count * sizeof *gathering.cursor);
    number_large_vertices(&gathering, gathering.cursor);
    tasks_run(threads, chunk_count, number_chunk, &gathering);
    for (size_t i = 0; i <= chunk_count; i++) {
        size_t count = gathering.chunks[i].edges;
        gathering.chunks[i].edges = sum;
        sum += count;
    }
    edges->count = sum;
    edges->low = ARENA_NEW(keep, uint32_t, edges->count);
    edges->high = ARENA_NEW(keep, uint32_t, edges->count);
    edges->side_begin = ARENA_NEW(keep, uint32_t, edges->count + 1);
    if (keep->failed)
        return arena_error(err);
    edges->side_begin[0] = 0;
    tasks_run(threads, chunk_count, make_chunk, &gathering);
    tasks_run(threads, chunk_count, count_chunk, &gathering);
    for (size_t i = 0; i < chunk_count; i++) {
        const struct chunk_counts *counts = &gathering.chunks[i];
        edges->open_count += counts->open;
        edges->nonmanifold_count += counts->nonmanifold;
        edges->inconsistent_count += counts->inconsistent;
        edges->incidence_max =
            counts->incidence_max > edges->incidence_max ? counts->incidence_max : edges->incidence_max;
    }
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
