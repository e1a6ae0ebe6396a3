/* edges.c - edges from face sides, gathered by the lower vertex of each side, then by its other end. */
#include "topology/edges.h"

#include <assert.h>
#include <string.h>

#include "base/ahead.h"
#include "base/range_places.h"
#include "base/tasks.h"

enum { CHUNK_VERTICES = 8192, FACES_IN_CHUNK = 65536, FEW = 24 };

/* What a chunk of vertices finds. */
struct chunk_counts {
    size_t edges; /* until they become the number of the chunk's first edge */
    size_t open, nonmanifold, inconsistent, incidence_max;
};

/* Sides are put where those of their lower vertex are, by ascending corners; then those of each vertex are
 * gathered by the edge that they lie on, edges in the order of their first corners. */
struct gathering {
    const struct mesh *mesh;
    struct edges *edges;
    size_t range_count; /* of faces, of about as many corners each; one thread each */
    uint32_t *cursor;   /* [range_count][vertex_count] how many, then where the next one goes */
    uint32_t *highs;    /* [corner_count] of each side that is put, its higher vertex */
    uint32_t *begin;    /* [vertex_count + 1] into sides, of each lower vertex */
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

/* The counts of the vertices that are named a little after a face. */
static void ask_ahead(const struct gathering *gathering, uint32_t corner, size_t size, const uint32_t *count)
{
    for (size_t c = corner + AHEAD; c < corner + AHEAD + size && c < gathering->edges->corner_count; c++)
        ahead_ask(&count[gathering->mesh->face_vertices[c]]);
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
        ask_ahead(gathering, mesh->face_offsets[f], size, count);
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
        ask_ahead(gathering, first, end - first, cursor);
        for (uint32_t c = first; c < end; c++) {
            uint32_t a = mesh->face_vertices[c], b = mesh->face_vertices[c + 1 < end ? c + 1 : first];
            if (a == b) {
                gathering->edges->corner_edge[c] = EDGE_NONE;
                continue;
            }
            uint32_t at = cursor[a < b ? a : b]++;
            gathering->edges->sides[at] = c;
            gathering->highs[at] = a < b ? b : a;
        }
    }
}

/* Room for the sides of one vertex that has many. */
struct crowd {
    uint32_t *latest;  /* [vertex_count] the newest edge that ends there, by a number that only grows */
    uint32_t *corners; /* the sides in their first order */
    uint32_t *highs;   /* of each, its higher vertex */
    uint32_t *edges;   /* of each, which edge of its vertex */
    uint32_t *cursor;  /* where the next side of each edge goes */
};

/* Linear, so that a vertex shared by thousands of faces costs no more than others. *number: of the next edge.
 */
static void gather_many(const struct gathering *gathering, uint32_t v, const struct crowd *crowd,
                        uint32_t *number)
{
    uint32_t *sides = gathering->edges->sides + gathering->begin[v], first = *number, sum = 0;
    uint32_t *highs = gathering->highs + gathering->begin[v];
    size_t count = gathering->begin[v + 1] - gathering->begin[v];
    for (size_t i = 0; i < count; i++) {
        uint32_t *newest = &crowd->latest[highs[i]];
        if (*newest < first) {
            crowd->cursor[*number - first] = 0;
            *newest = (*number)++;
        }
        crowd->corners[i] = sides[i];
        crowd->highs[i] = highs[i];
        crowd->edges[i] = *newest - first;
        crowd->cursor[*newest - first]++;
    }
    for (uint32_t k = 0; k < *number - first; k++) {
        uint32_t size = crowd->cursor[k];
        crowd->cursor[k] = sum;
        sum += size;
    }
    for (size_t i = 0; i < count; i++) {
        uint32_t at = crowd->cursor[crowd->edges[i]]++;
        sides[at] = crowd->corners[i];
        highs[at] = crowd->highs[i];
    }
}

/* latest has a place for every vertex. */
static bool gather_crowded(const struct gathering *gathering, uint32_t *latest, struct arena scratch)
{
    size_t most = FEW;
    uint32_t number = 1;
    for (size_t v = 0; v < gathering->mesh->vertex_count; v++) {
        size_t count = gathering->begin[v + 1] - gathering->begin[v];
        most = count > most ? count : most;
    }
    if (most == FEW)
        return true;
    struct crowd crowd = {latest, ARENA_NEW(&scratch, uint32_t, most), ARENA_NEW(&scratch, uint32_t, most),
                          ARENA_NEW(&scratch, uint32_t, most), ARENA_NEW(&scratch, uint32_t, most)};
    if (scratch.failed)
        return false;
    memset(latest, 0, gathering->mesh->vertex_count * sizeof *latest);
    for (uint32_t v = 0; v < gathering->mesh->vertex_count; v++)
        if (gathering->begin[v + 1] - gathering->begin[v] > FEW)
            gather_many(gathering, v, &crowd, &number);
    return true;
}

/* Returns how many edges there are. */
static size_t gather_few(const struct gathering *gathering, uint32_t v)
{
    uint32_t *sides = gathering->edges->sides + gathering->begin[v], corners[FEW], ends[FEW];
    uint32_t *highs = gathering->highs + gathering->begin[v];
    size_t count = gathering->begin[v + 1] - gathering->begin[v], gathered = 0, edges = 0;
    memcpy(corners, sides, count * sizeof *corners);
    memcpy(ends, highs, count * sizeof *ends);
    for (size_t i = 0; i < count; i++) {
        uint32_t high = ends[i];
        edges += high != v;
        for (size_t j = i; high != v && j < count; j++)
            if (ends[j] == high) {
                sides[gathered] = corners[j];
                highs[gathered++] = high;
                ends[j] = v; /* is gathered */
            }
    }
    return edges;
}

static size_t count_gathered(const struct gathering *gathering, uint32_t v)
{
    uint32_t latest = v;
    size_t edges = 0;
    for (uint32_t i = gathering->begin[v]; i < gathering->begin[v + 1]; i++) {
        edges += gathering->highs[i] != latest;
        latest = gathering->highs[i];
    }
    return edges;
}

static size_t chunk_end(const struct gathering *gathering, size_t chunk)
{
    size_t begin = chunk * CHUNK_VERTICES, count = gathering->mesh->vertex_count;
    return count - begin < CHUNK_VERTICES ? count : begin + CHUNK_VERTICES;
}

static void gather_chunk(void *context, size_t chunk)
{
    struct gathering *gathering = context;
    size_t edges = 0;
    for (uint32_t v = (uint32_t)(chunk * CHUNK_VERTICES); v < chunk_end(gathering, chunk); v++)
        edges += gathering->begin[v + 1] - gathering->begin[v] <= FEW ? gather_few(gathering, v)
                                                                      : count_gathered(gathering, v);
    gathering->chunks[chunk].edges = edges;
}

static void count_edge(const struct gathering *gathering, const uint32_t *sides, size_t incidence,
                       struct chunk_counts *counts)
{
    const uint32_t *vertices = gathering->mesh->face_vertices;
    counts->open += incidence == 1;
    counts->nonmanifold += incidence > 2;
    counts->inconsistent += incidence == 2 && vertices[sides[0]] == vertices[sides[1]];
    counts->incidence_max = incidence > counts->incidence_max ? incidence : counts->incidence_max;
}

/* The edges of one vertex, numbered from e on; returns the number after them. */
static size_t make_edges(const struct gathering *gathering, uint32_t v, size_t e, struct chunk_counts *counts)
{
    struct edges *edges = gathering->edges;
    uint32_t begin = gathering->begin[v], end = gathering->begin[v + 1],
             side_count = gathering->begin[gathering->mesh->vertex_count];
    size_t before = e;
    for (uint32_t i = begin; i < end; i++) {
        uint32_t high = gathering->highs[i];
        if (i + AHEAD < side_count)
            ahead_ask(&edges->corner_edge[edges->sides[i + AHEAD]]);
        if (e == before || edges->high[e - 1] != high) {
            if (e > before)
                count_edge(gathering, edges->sides + begin, i - begin, counts);
            begin = edges->side_begin[e] = i;
            edges->low[e] = v;
            edges->high[e++] = high;
        }
        edges->corner_edge[edges->sides[i]] = (uint32_t)(e - 1);
    }
    if (e > before)
        count_edge(gathering, edges->sides + begin, end - begin, counts);
    return e;
}

static void make_chunk(void *context, size_t chunk)
{
    struct gathering *gathering = context;
    struct chunk_counts counts = {.edges = gathering->chunks[chunk].edges};
    size_t e = counts.edges;
    for (size_t v = chunk * CHUNK_VERTICES; v < chunk_end(gathering, chunk); v++)
        e = make_edges(gathering, (uint32_t)v, e, &counts);
    gathering->chunks[chunk] = counts;
}

static bool prepare(struct gathering *gathering, size_t threads, struct arena *keep, struct arena *scratch)
{
    struct edges *edges = gathering->edges;
    size_t vertex_count = gathering->mesh->vertex_count, corner_count = edges->corner_count;
    gathering->range_count = threads < RANGE_PLACES_MAX ? threads : RANGE_PLACES_MAX;
    if (gathering->range_count == 0 || corner_count < FACES_IN_CHUNK)
        gathering->range_count = 1;
    edges->corner_edge = ARENA_NEW(keep, uint32_t, corner_count);
    edges->corner_face = edges->triangles ? NULL : ARENA_NEW(keep, uint32_t, corner_count);
    edges->sides = ARENA_NEW(keep, uint32_t, corner_count);
    gathering->begin = ARENA_NEW(scratch, uint32_t, vertex_count + 1);
    gathering->highs = ARENA_NEW(scratch, uint32_t, corner_count);
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

/* Turns how many edges each chunk has into the number of its first; returns how many there are. */
static size_t number_chunks(struct chunk_counts *chunks, size_t chunk_count)
{
    size_t sum = 0;
    for (size_t i = 0; i < chunk_count; i++) {
        size_t count = chunks[i].edges;
        chunks[i].edges = sum;
        sum += count;
    }
    return sum;
}

bool edges_build(const struct mesh *mesh, size_t threads, struct edges *edges, struct arena *keep,
                 struct arena scratch, struct error *err)
{
    struct gathering gathering = {.mesh = mesh, .edges = edges};
    size_t chunk_count = tasks_chunks(mesh->vertex_count, CHUNK_VERTICES);
    memset(edges, 0, sizeof *edges);
    edges->corner_count = mesh_corner_count(mesh);
    edges->triangles = edges->corner_count == 3 * mesh->face_count;
    if (!prepare(&gathering, threads, keep, &scratch))
        return arena_error(err);

    if (!edges->triangles)
        tasks_run(threads, tasks_chunks(mesh->face_count, FACES_IN_CHUNK), name_corner_faces, &gathering);
    tasks_run(threads, gathering.range_count, count_range, &gathering);
    range_places(gathering.range_count, mesh->vertex_count, gathering.cursor, gathering.begin);
    tasks_run(threads, gathering.range_count, fill_range, &gathering);
    if (!gather_crowded(&gathering, gathering.cursor, scratch))
        return arena_error(err);
    tasks_run(threads, chunk_count, gather_chunk, &gathering);
    edges->count = number_chunks(gathering.chunks, chunk_count);
    edges->low = ARENA_NEW(keep, uint32_t, edges->count);
    edges->high = ARENA_NEW(keep, uint32_t, edges->count);
    edges->side_begin = ARENA_NEW(keep, uint32_t, edges->count + 1);
    if (keep->failed)
        return arena_error(err);
    tasks_run(threads, chunk_count, make_chunk, &gathering);
    edges->side_begin[edges->count] = gathering.begin[mesh->vertex_count];
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
