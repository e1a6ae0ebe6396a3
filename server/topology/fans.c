/* fans.c - fans by union-find over the corners. */
#include "topology/fans.h"

#include <assert.h>
#include <string.h>

#include "topology/disjoint_sets.h"

/* Joins the corners at both ends of an edge on two of its sides, which run through it in the same direction
 * or not. */
static void join_across(const struct mesh *mesh, const struct edges *edges, uint32_t c, uint32_t d, bool same,
                        uint32_t *parent)
{
    uint32_t after_c = edges_next_corner(edges, mesh, c), after_d = edges_next_corner(edges, mesh, d);

    disjoint_sets_join(parent, c, same ? d : after_d);
    disjoint_sets_join(parent, after_c, same ? after_d : d);
}

/* What the edges a little after e will join. */
static void ask_ahead(const struct edges *edges, size_t e, const uint32_t *parent)
{
    const uint32_t *sides;
    size_t count = edges_sides_ahead(edges, e, &sides);

    for (size_t i = 0; i < count; i++)
        ahead_ask(&parent[sides[i]]);
}

static void join_across_edges(const struct mesh *mesh, const struct edges *edges, uint32_t *parent)
{
    for (size_t e = 0; e < edges->count; e++) {
        const uint32_t *side = edges->sides + edges->side_begin[e];
        uint32_t incidence = edges_incidence(edges, e);
        /* of two sides nothing needs to be looked up where all are known to agree */
        bool known = edges->inconsistent_count == 0 && incidence == 2;
        ask_ahead(edges, e, parent);
        for (uint32_t i = 1; i < incidence; i++)
            join_across(mesh, edges, side[i - 1], side[i],
                        !known && mesh->face_vertices[side[i - 1]] == mesh->face_vertices[side[i]], parent);
    }
    for (uint32_t c = 0; c < edges->corner_count; c++)
        if (edges->corner_edge[c] == EDGE_NONE)
            disjoint_sets_join(parent, c, edges_next_corner(edges, mesh, c));
}

/* Joins the fans that one face has at one vertex. seen[v] is the latest corner at v; it is of the same face
 * when it is not before the face's first corner. */
static void join_within_faces(const struct mesh *mesh, const struct fans *fans, uint32_t *seen,
                              uint32_t *fan_parent)
{
    memset(seen, 0xff, mesh->vertex_count * sizeof *seen);
    for (size_t f = 0; f < mesh->face_count; f++)
        for (uint32_t c = mesh->face_offsets[f]; c < mesh->face_offsets[f + 1]; c++) {
            uint32_t v = mesh->face_vertices[c];
            if (seen[v] != UINT32_MAX && seen[v] >= mesh->face_offsets[f])
                disjoint_sets_join(fan_parent, fans->corner_fan[seen[v]], fans->corner_fan[c]);
            seen[v] = c;
        }
}

/* fan_parent is NULL where every fan is a class. */
static void count_classes(const struct mesh *mesh, struct fans *fans, const uint32_t *fan_parent)
{
    for (size_t i = 0; i < fans->count; i++) {
        if (i + 2 * AHEAD < fans->count) {
            ahead_ask(&mesh->face_vertices[fans->first_corner[i + 2 * AHEAD]]);
            ahead_ask(&fans->vertex_class_count[mesh->face_vertices[fans->first_corner[i + AHEAD]]]);
        }
        if (!fan_parent || fan_parent[i] == i)
            fans->vertex_class_count[mesh->face_vertices[fans->first_corner[i]]]++;
    }
    for (size_t v = 0; v < mesh->vertex_count; v++) {
        fans->referenced_count += fans->vertex_class_count[v] > 0;
        fans->nonmanifold_count += fans->vertex_class_count[v] > 1;
    }
}

/* What a face joins that names a vertex twice, not running: no triangle does. */
static bool join_classes(const struct mesh *mesh, const struct fans *fans, uint32_t **fan_parent,
                         struct arena *scratch)
{
    uint32_t *seen = ARENA_NEW(scratch, uint32_t, mesh->vertex_count);
    *fan_parent = ARENA_NEW(scratch, uint32_t, fans->count);
    if (scratch->failed)
        return false;
    disjoint_sets_begin(*fan_parent, fans->count);
    join_within_faces(mesh, fans, seen, *fan_parent);
    return true;
}

bool fans_build(const struct mesh *mesh, const struct edges *edges, struct fans *fans, struct arena *keep,
                struct arena scratch, struct error *err)
{
    memset(fans, 0, sizeof *fans);
    fans->corner_fan = ARENA_NEW(keep, uint32_t, edges->corner_count);
    fans->vertex_class_count = ARENA_ZERO(keep, uint32_t, mesh->vertex_count);
    uint32_t *fan_parent = NULL;
    if (keep->failed)
        return arena_error(err);

    disjoint_sets_begin(fans->corner_fan, edges->corner_count);
    join_across_edges(mesh, edges, fans->corner_fan);
    fans->count = disjoint_sets_number(fans->corner_fan, edges->corner_count);

    fans->first_corner = ARENA_NEW(keep, uint32_t, fans->count);
    if (keep->failed || (!edges->triangles && !join_classes(mesh, fans, &fan_parent, &scratch)))
        return arena_error(err);
    for (uint32_t c = (uint32_t)edges->corner_count; c-- > 0;) {
        if (c >= AHEAD)
            ahead_ask(&fans->first_corner[fans->corner_fan[c - AHEAD]]);
        fans->first_corner[fans->corner_fan[c]] = c;
    }
    count_classes(mesh, fans, fan_parent);
    assert(fans_is_valid(fans, mesh, edges));
    return true;
}

/* The corner at `vertex` of the face side c, which has vertex at one of its ends. */
static uint32_t corner_at(const struct mesh *mesh, const struct edges *edges, uint32_t c, uint32_t vertex)
{
    return mesh->face_vertices[c] == vertex ? c : edges_next_corner(edges, mesh, c);
}

bool fans_is_valid(const struct fans *fans, const struct mesh *mesh, const struct edges *edges)
{
    for (uint32_t c = 0; c < edges->corner_count; c++) {
        uint32_t fan = fans->corner_fan[c];
        if (fan >= fans->count || fans->first_corner[fan] > c
            || mesh->face_vertices[fans->first_corner[fan]] != mesh->face_vertices[c]
            || fans->vertex_class_count[mesh->face_vertices[c]] == 0)
            return false;
        if (edges->corner_edge[c] == EDGE_NONE)
            continue;
        uint32_t side = edges->sides[edges->side_begin[edges->corner_edge[c]]];
        if (fans->corner_fan[corner_at(mesh, edges, side, mesh->face_vertices[c])] != fan)
            return false;
    }
    return true;
}
