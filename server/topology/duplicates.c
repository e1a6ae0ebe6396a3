/* duplicates.c - copies of faces, found by a hash that does not see the order of the corners. */
#include "topology/duplicates.h"

#include <string.h>

#include "base/mix64.h"

/* Faces gathered by their lowest vertex, which copies share: a bucket is small unless faces are stacked. */
struct buckets {
    uint32_t *begin; /* [vertex_count + 1] */
    uint32_t *faces; /* [face_count] ascending within a bucket */
    uint64_t *hash;  /* [face_count] of face faces[i] at i */
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

static void gather_buckets(const struct mesh *mesh, const struct buckets *buckets)
{
    for (size_t f = 0; f < mesh->face_count; f++)
        buckets->begin[lowest_vertex(mesh, f) + 1]++;
    for (size_t v = 0; v < mesh->vertex_count; v++)
        buckets->begin[v + 1] += buckets->begin[v];
    for (size_t f = 0; f < mesh->face_count; f++) {
        uint32_t at = buckets->begin[lowest_vertex(mesh, f)]++;
        buckets->faces[at] = (uint32_t)f;
        buckets->hash[at] = hash_without_order(mesh, f);
    }
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

/* Looks up every face of one bucket in a table of the first copies met so far; table is a power of two of
 * more than twice as many places as the bucket has faces. */
static void match_bucket(const struct mesh *mesh, const struct buckets *buckets, uint32_t begin, uint32_t end,
                         uint32_t *table, uint32_t *times, struct duplicates *duplicates)
{
    size_t mask = 1;
    while (mask < 2 * (size_t)(end - begin))
        mask = 2 * mask + 1;
    memset(table, 0xff, (mask + 1) * sizeof *table);
    for (uint32_t i = begin; i < end; i++) {
        uint32_t f = buckets->faces[i];
        size_t at = (size_t)mix64(buckets->hash[i]) & mask;
        duplicates->first_copy[f] = f;
        for (; table[at] != UINT32_MAX; at = (at + 1) & mask) {
            uint32_t earlier = table[at];
            if (buckets->hash[earlier] == buckets->hash[i]
                && have_same_vertices(mesh, buckets->faces[earlier], f, times)) {
                duplicates->first_copy[f] = buckets->faces[earlier];
                duplicates->extra_count++;
                break;
            }
        }
        if (table[at] == UINT32_MAX)
            table[at] = i;
    }
}

bool duplicates_build(const struct mesh *mesh, struct duplicates *duplicates, struct arena *keep,
                      struct arena scratch, struct error *err)
{
    duplicates->extra_count = 0;
    duplicates->first_copy = ARENA_NEW(keep, uint32_t, mesh->face_count);
    struct buckets buckets = {ARENA_ZERO(&scratch, uint32_t, mesh->vertex_count + 1),
                              ARENA_NEW(&scratch, uint32_t, mesh->face_count),
                              ARENA_NEW(&scratch, uint64_t, mesh->face_count)};
    uint32_t *times = ARENA_ZERO(&scratch, uint32_t, mesh->vertex_count);
    uint32_t *table = ARENA_NEW(&scratch, uint32_t, 4 * mesh->face_count + 2);
    if (keep->failed || scratch.failed)
        return arena_error(err);

    gather_buckets(mesh, &buckets);
    for (size_t v = 0; v < mesh->vertex_count; v++)
        if (buckets.begin[v + 1] > buckets.begin[v])
            match_bucket(mesh, &buckets, buckets.begin[v], buckets.begin[v + 1], table, times, duplicates);
    return true;
}
