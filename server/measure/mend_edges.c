/* mend_edges.c - edges of the changes first, then the shared faces on them in one sweep. */
#include "measure/mend_edges.h"

#include <string.h>

#include "base/mix64.h"
#include "measure/hash_places.h"
#include "topology/disjoint_sets.h"

struct gathering {
    const struct mend_match *match;
    struct mend_edges *edges;
    struct hash_places table; /* of edges */
};

static void list_changes(const struct mend_match *match, enum mend_side side, struct mend_edges *edges)
{
    for (uint32_t f = 0; f < match->mesh[side]->face_count; f++)
        if (match->partner[side][f] == MEND_NONE)
            edges->faces[edges->change_count++] = f;
}

static void name_points(const struct mend_match *match, struct mend_edges *edges)
{
    for (size_t i = 0; i < edges->change_count; i++) {
        enum mend_side side = mend_edges_side(edges, i);
        const struct mesh *mesh = match->mesh[side];
        uint32_t f = edges->faces[i];
        for (uint32_t c = mesh->face_offsets[f]; c < mesh->face_offsets[f + 1]; c++) {
            uint32_t *point = &edges->point_of[mend_match_position(match, side, c)];
            if (*point != MEND_NONE)
                continue;
            *point = (uint32_t)edges->point_count;
            edges->points[edges->point_count++] = mesh->positions[mesh->face_vertices[c]];
        }
    }
}

/* The edge between two points, or the free place where it would go. */
static uint64_t *look_up(const struct gathering *gathering, uint32_t low, uint32_t high, uint64_t hash)
{
    const struct hash_places *table = &gathering->table;
    size_t at = hash_places_start(table, hash);

    for (; table->places[at] != HASH_PLACE_FREE; at = hash_places_after(table, at)) {
        if (!hash_place_may_hold(table->places[at], hash))
            continue;
        const struct mend_edge *edge = &gathering->edges->edges[hash_place_number(table->places[at])];
        if (edge->low == low && edge->high == high)
            break;
    }
    return &table->places[at];
}

/* The edge between two different points; a new one where `change` is given, else NULL where there is none. */
static struct mend_edge *edge_between(struct gathering *gathering, uint32_t a, uint32_t b, uint32_t change)
{
    struct mend_edges *edges = gathering->edges;
    uint32_t low = a < b ? a : b, high = a < b ? b : a;
    uint64_t hash = mix64((uint64_t)low << 32 | high), *place = look_up(gathering, low, high, hash);

    if (*place != HASH_PLACE_FREE)
        return &edges->edges[hash_place_number(*place)];
    if (change == MEND_NONE)
        return NULL;
    *place = hash_place_of(hash, (uint32_t)edges->count);
    edges->edges[edges->count] = (struct mend_edge){.low = low, .high = high, .change = change};
    return &edges->edges[edges->count++];
}

/* A side from point a to point b of face f; change is MEND_NONE where the face is shared. */
static void add_side(struct gathering *gathering, uint32_t a, uint32_t b, enum mend_side side, uint32_t f,
                     uint32_t change)
{
    struct mend_edge *edge = edge_between(gathering, a, b, change);
    int32_t listed = a < b ? 1 : -1;
    int32_t turn = side == MEND_SUBJECT && gathering->edges->flipped ? -listed : listed;

    if (!edge)
        return;
    edge->sides[side]++;
    edge->turns[side] += turn;
    if (change == MEND_NONE) { /* a face of the subject, and its partner in the reference */
        edge->shared++;
        edge->sides[MEND_REFERENCE]++;
        edge->turns[MEND_REFERENCE] += gathering->match->turned[f] ? -listed : listed;
        return;
    }
    edge->difference += side == MEND_SUBJECT ? turn : -turn;
    disjoint_sets_join(gathering->edges->region, edge->change, change);
}

static void add_face(struct gathering *gathering, enum mend_side side, uint32_t f, uint32_t change)
{
    const struct mend_match *match = gathering->match;
    const uint32_t *offsets = match->mesh[side]->face_offsets, *point_of = gathering->edges->point_of;
    uint32_t last = point_of[mend_match_position(match, side, offsets[f + 1] - 1)];

    for (uint32_t c = offsets[f]; c < offsets[f + 1]; c++) {
        uint32_t here = point_of[mend_match_position(match, side, c)];
        if (last != here && last != MEND_NONE && here != MEND_NONE)
            add_side(gathering, last, here, side, f, change);
        last = here;
    }
}

static void gather(struct gathering *gathering)
{
    const struct mend_match *match = gathering->match;
    struct mend_edges *edges = gathering->edges;

    disjoint_sets_begin(edges->region, edges->change_count);
    for (uint32_t i = 0; i < edges->change_count; i++)
        add_face(gathering, mend_edges_side(edges, i), edges->faces[i], i);
    for (uint32_t f = 0; edges->change_count > 0 && f < match->mesh[MEND_SUBJECT]->face_count; f++)
        if (match->partner[MEND_SUBJECT][f] != MEND_NONE)
            add_face(gathering, MEND_SUBJECT, f, MEND_NONE);
    edges->region_count = disjoint_sets_number(edges->region, edges->change_count);
}

bool mend_edges_build(const struct mend_match *match, struct mend_edges *edges, struct arena *keep,
                      struct arena scratch, struct error *err)
{
    const struct mesh *subject = match->mesh[MEND_SUBJECT], *reference = match->mesh[MEND_REFERENCE];
    size_t corner_count = 0;

    *edges =
        (struct mend_edges){.added_count = subject->face_count - match->shared_count,
                            .flipped = match->shared_count > 0 && match->turned_count == match->shared_count};
    size_t change_count = edges->added_count + reference->face_count - match->shared_count;
    edges->faces = ARENA_NEW(keep, uint32_t, change_count);
    edges->region = ARENA_NEW(keep, uint32_t, change_count);
    edges->point_of = ARENA_NEW(keep, uint32_t, match->position_end);
    if (keep->failed)
        return arena_error(err);
    memset(edges->point_of, 0xff, match->position_end * sizeof *edges->point_of);
    list_changes(match, MEND_SUBJECT, edges);
    list_changes(match, MEND_REFERENCE, edges);
    for (size_t i = 0; i < edges->change_count; i++)
        corner_count += mesh_face_size(match->mesh[mend_edges_side(edges, i)], edges->faces[i]);

    struct gathering gathering = {.match = match, .edges = edges};
    edges->edges = ARENA_NEW(keep, struct mend_edge, corner_count);
    if (!edges->edges || !hash_places_open(&gathering.table, corner_count, &scratch))
        return arena_error(err);
    edges->points = ARENA_NEW(keep, vec3, corner_count);
    if (!edges->points)
        return arena_error(err);
    name_points(match, edges);
    arena_trim(keep, edges->points, edges->point_count, sizeof *edges->points);
    gather(&gathering);
    return true;
}
