/* duplicates.c - copies of faces, found across their edges, or by a hash that does not see the order of the
 * corners. */
#include "topology/duplicates.h"

#include <string.h>

#include "base/mix64.h"
#include "base/tasks.h"

enum { FEW = 16, CHUNK = 1 << 14 };

/* Faces gathered by their lowest vertex, which copies share: a bucket is small unless faces are stacked. */
struct buckets {
    uint32_t *begin; /* [vertex_count + 1] */
    uint32_t *faces; /* [face_count] ascending within a bucket */
    size_t largest;  /* of those with more than FEW faces */
};

/* Room for one large bucket. */
struct lookup {
    uint64_t *hash;  /* [largest] of each face */
    uint32_t *table; /* places in the bucket of the first copies met so far */
};

static uint32_t lowest_vertex(const struct mesh *mesh, size_t f)
{
    const uint32_t *face = mesh_face(mesh, f);
    uint32_t lowest = face[0];
    for (size_t i = 1; i < mesh_face_size(mesh, f); i++)
        lowest = face[i] < lowest ? face[i] : lowest;
    return lowest;
}

static uint64_t hash_without_order(const struct mesh *mesh, size_t f)
{
    const uint32_t *face = mesh_face(mesh, f);
    uint64_t sum = mesh_face_size(mesh, f);
    for (size_t i = 0; i < mesh_face_size(mesh, f); i++)
        sum += mix64(face[i]);
    return sum;
}

static void gather_buckets(const struct mesh *mesh, struct buckets *buckets)
{
    for (size_t f = 0; f < mesh->face_count; f++)
        buckets->begin[lowest_vertex(mesh, f) + 1]++;
    for (size_t v = 0; v < mesh->vertex_count; v++) {
        size_t size = buckets->begin[v + 1];
        buckets->largest = size > FEW && size > buckets->largest ? size : buckets->largest;
        buckets->begin[v + 1] += buckets->begin[v];
    }
    for (size_t f = 0; f < mesh->face_count; f++)
        buckets->faces[buckets->begin[lowest_vertex(mesh, f)]++] = (uint32_t)f;
    memmove(buckets->begin + 1, buckets->begin, mesh->vertex_count * sizeof *buckets->begin);
    buckets->begin[0] = 0;
}

/* times[v] is zero for every vertex before and after. */
static bool have_same_vertices(const struct mesh *mesh, size_t f, size_t g, uint32_t *times)
{
    const uint32_t *a = mesh_face(mesh, f), *b = mesh_face(mesh, g);
    size_t size = mesh_face_size(mesh, f), matched = 0;
    if (size != mesh_face_size(mesh, g))
        return false;
    for (size_t i = 0; i < size; i++)
        times[a[i]]++;
    while (matched < size && times[b[matched]] > 0)
        times[b[matched++]]--;
    for (size_t i = 0; i < size; i++)
        times[a[i]] = 0;
    return matched == size;
}

static void set_copy(struct duplicates *duplicates, uint32_t f, uint32_t first)
{
    duplicates->first_copy[f] = first;
    duplicates->extra_count += first != f;
}

/* The same for the same vertices in any order; cheap, and no harm where it is the same for others. */
static uint64_t sum_vertices(const struct mesh *mesh, size_t f)
{
    const uint32_t *face = mesh_face(mesh, f);
    uint64_t sum = 0, product = 1;
    for (size_t i = 0; i < mesh_face_size(mesh, f); i++) {
        sum += face[i];
        product *= 2 * (uint64_t)face[i] + 1;
    }
    return sum ^ product;
}

static void match_few(const struct mesh *mesh, const uint32_t *faces, size_t count, uint32_t *times,
                      struct duplicates *duplicates)
{
    uint64_t sums[FEW];
    for (size_t i = 0; i < count; i++) {
        uint32_t first = faces[i];
        sums[i] = sum_vertices(mesh, first);
        for (size_t j = 0; j < i; j++)
            if (sums[j] == sums[i] && have_same_vertices(mesh, faces[j], faces[i], times)) {
                first = faces[j];
                break;
            }
        set_copy(duplicates, faces[i], first);
    }
}

/* Looks up every face of one bucket in a table of a power of two of more than twice as many places as the
 * bucket has faces. */
static void match_many(const struct mesh *mesh, const uint32_t *faces, size_t count,
                       const struct lookup *lookup, uint32_t *times, struct duplicates *duplicates)
{
    uint32_t *table = lookup->table;
    size_t mask = 1;
    while (mask < 2 * count)
        mask = 2 * mask + 1;
    memset(table, 0xff, (mask + 1) * sizeof *table);
    for (uint32_t i = 0; i < count; i++) {
        size_t at;
        lookup->hash[i] = hash_without_order(mesh, faces[i]);
        for (at = (size_t)mix64(lookup->hash[i]) & mask; table[at] != UINT32_MAX; at = (at + 1) & mask)
            if (lookup->hash[table[at]] == lookup->hash[i]
                && have_same_vertices(mesh, faces[table[at]], faces[i], times))
                break;
        if (table[at] == UINT32_MAX)
            table[at] = i;
        set_copy(duplicates, faces[i], faces[table[at]]);
    }
}

struct looking {
    const struct mesh *mesh;
    const struct edges *edges;
    uint32_t *first_copy;
    size_t *extra_counts; /* [chunks] */
};

/* Of triangles that meet in twos a copy lies across every side. */
static void look_across(void *context, size_t chunk)
{
    const struct looking *looking = context;
    const struct mesh *mesh = looking->mesh;
    const struct edges *edges = looking->edges;
    const uint32_t *vertices = mesh->face_vertices;
    size_t extra_count = 0;

    for (size_t f = chunk * CHUNK; f < tasks_chunk_end(chunk, CHUNK, mesh->face_count); f++) {
        if (f + 2 * AHEAD < mesh->face_count) {
            ahead_ask(&edges->side_begin[edges->corner_edge[3 * (f + 2 * AHEAD)]]);
            ahead_ask(&edges->sides[edges->side_begin[edges->corner_edge[3 * (f + AHEAD)]]]);
        }
        uint32_t e = edges->corner_edge[3 * f], begin = edges->side_begin[e], first = (uint32_t)f;
        if (edges->side_begin[e + 1] - begin == 2) {
            uint32_t across = edges->sides[begin] == 3 * f ? edges->sides[begin + 1] : edges->sides[begin];
            if (vertices[edges_previous_corner(edges, mesh, across)] == vertices[3 * f + 2])
                first = across / 3 < f ? across / 3 : (uint32_t)f;
        }
        looking->first_copy[f] = first;
        extra_count += first != f;
    }
    looking->extra_counts[chunk] = extra_count;
}

static bool look_across_all(const struct mesh *mesh, const struct edges *edges, size_t threads,
                            struct duplicates *duplicates, struct arena scratch)
{
    size_t chunks = tasks_chunks(mesh->face_count, CHUNK);
    struct looking looking = {mesh, edges, duplicates->first_copy, ARENA_NEW(&scratch, size_t, chunks)};

    if (scratch.failed)
        return false;
    tasks_run(threads, chunks, look_across, &looking);
    for (size_t chunk = 0; chunk < chunks; chunk++)
        duplicates->extra_count += looking.extra_counts[chunk];
    return true;
}

static bool look_in_buckets(const struct mesh *mesh, struct duplicates *duplicates, struct arena scratch)
{
    struct buckets buckets = {ARENA_ZERO(&scratch, uint32_t, mesh->vertex_count + 1),
                              ARENA_NEW(&scratch, uint32_t, mesh->face_count), 0};
    uint32_t *times = ARENA_ZERO(&scratch, uint32_t, mesh->vertex_count);
    if (scratch.failed)
        return false;

    gather_buckets(mesh, &buckets);
    struct lookup lookup = {ARENA_NEW(&scratch, uint64_t, buckets.largest),
                            ARENA_NEW(&scratch, uint32_t, 4 * buckets.largest + 2)};
    if (scratch.failed)
        return false;
    for (size_t v = 0; v < mesh->vertex_count; v++) {
        const uint32_t *faces = buckets.faces + buckets.begin[v];
        size_t count = buckets.begin[v + 1] - buckets.begin[v];
        if (count <= FEW)
            match_few(mesh, faces, count, times, duplicates);
        else
            match_many(mesh, faces, count, &lookup, times, duplicates);
    }
    return true;
}

bool duplicates_build(const struct mesh *mesh, const struct edges *edges, size_t threads,
                      struct duplicates *duplicates, struct arena *keep, struct arena scratch,
                      struct error *err)
{
    duplicates->extra_count = 0;
    duplicates->first_copy = ARENA_NEW(keep, uint32_t, mesh->face_count);
    if (keep->failed)
        return arena_error(err);
    bool every_side_has_an_edge = edges->side_begin[edges->count] == edges->corner_count;
    bool done = edges->triangles && every_side_has_an_edge && edges->incidence_max <= 2
                    ? look_across_all(mesh, edges, threads, duplicates, scratch)
                    : look_in_buckets(mesh, duplicates, scratch);
    return done || arena_error(err);
}
