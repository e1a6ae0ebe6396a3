/* open_loops.c - walking the boundary through the faces around each of its vertices. */
#include "topology/open_loops.h"

#include <assert.h>
#include <string.h>

#include "topology/disjoint_sets.h"

/* A side as seen from one of its ends: `forward` when it starts there, else it ends there. */
struct spoke {
    uint32_t side;
    bool forward;
};

/* The next side of the same face that makes an edge, onward or backward from side c. */
static uint32_t edge_side_after(const struct mesh *mesh, const struct edges *edges, uint32_t c)
{
    do
        c = edges_next_corner(edges, mesh, c);
    while (edges->corner_edge[c] == EDGE_NONE);
    return c;
}
static uint32_t edge_side_before(const struct mesh *mesh, const struct edges *edges, uint32_t c)
{
    do
        c = edges_previous_corner(edges, mesh, c);
    while (edges->corner_edge[c] == EDGE_NONE);
    return c;
}

/* The other spoke of the same face at the end of `spoke` from which it is seen. */
static struct spoke other_spoke_of_face(const struct mesh *mesh, const struct edges *edges,
                                        struct spoke spoke)
{
    return spoke.forward ? (struct spoke){edge_side_before(mesh, edges, spoke.side), false}
                         : (struct spoke){edge_side_after(mesh, edges, spoke.side), true};
}

/* From an open edge to the next one through the umbrella of `vertex`; spoke is the open edge seen from there.
 */
static struct spoke turn_about_vertex(const struct mesh *mesh, const struct edges *edges, uint32_t vertex,
                                      struct spoke spoke)
{
    for (;;) {
        spoke = other_spoke_of_face(mesh, edges, spoke);
        uint32_t e = edges->corner_edge[spoke.side];
        if (edges_incidence(edges, e) == 1)
            return spoke;
        const uint32_t *sides = edges->sides + edges->side_begin[e];
        uint32_t across = sides[0] == spoke.side ? sides[1] : sides[0];
        spoke = (struct spoke){across, mesh->face_vertices[across] == vertex};
    }
}

static uint32_t far_vertex(const struct mesh *mesh, const struct edges *edges, struct spoke spoke)
{
    return mesh->face_vertices[spoke.forward ? edges_next_corner(edges, mesh, spoke.side) : spoke.side];
}

struct boundary {
    const struct mesh *mesh;
    const struct edges *edges;
    const bool *shell_has_nonmanifold_edge;
    const struct shells *shells;
    bool *strung; /* [edge count] */
};

static uint32_t edge_shell(const struct boundary *boundary, size_t e)
{
    const struct edges *edges = boundary->edges;
    return boundary->shells->face_shell[edges_face(edges, edges->sides[edges->side_begin[e]])];
}

/* Walks one loop from open edge e and appends its edges; returns how many. */
static uint32_t walk_loop(const struct boundary *boundary, uint32_t e, uint32_t *out)
{
    const struct mesh *mesh = boundary->mesh;
    const struct edges *edges = boundary->edges;
    struct spoke leaving = {edges->sides[edges->side_begin[e]], true};
    uint32_t count = 0;
    while (!boundary->strung[e]) {
        boundary->strung[e] = true;
        out[count++] = e;
        uint32_t vertex = far_vertex(mesh, edges, leaving);
        struct spoke arriving = {leaving.side, !leaving.forward};
        leaving = turn_about_vertex(mesh, edges, vertex, arriving);
        e = edges->corner_edge[leaving.side];
    }
    return count;
}

static void string_loops(const struct boundary *boundary, struct open_loops *loops)
{
    const struct edges *edges = boundary->edges;
    uint32_t used = 0;
    for (uint32_t e = 0; e < edges->count; e++) {
        if (edges_incidence(edges, e) != 1 || boundary->strung[e]
            || boundary->shell_has_nonmanifold_edge[edge_shell(boundary, e)])
            continue;
        uint32_t side = edges->sides[edges->side_begin[e]];
        loops->shell[loops->count] = edge_shell(boundary, e);
        loops->first_vertex[loops->count] = boundary->mesh->face_vertices[side];
        used += walk_loop(boundary, e, loops->edges + used);
        loops->edge_begin[++loops->count] = used;
    }
    loops->loop_count = loops->count;
}

static bool is_left_over(const struct boundary *boundary, uint32_t e)
{
    return edges_incidence(boundary->edges, e) == 1 && !boundary->strung[e];
}

/* Open edges of shells with a non-manifold edge: those that meet in one fan are joined. set has a place for
 * every edge, latest one for every fan. */
static void join_left_over(const struct boundary *boundary, const struct fans *fans, uint32_t *set,
                           uint32_t *latest)
{
    const struct edges *edges = boundary->edges;
    disjoint_sets_begin(set, edges->count);
    memset(latest, 0xff, fans->count * sizeof *latest);
    for (uint32_t e = 0; e < edges->count; e++) {
        if (!is_left_over(boundary, e))
            continue;
        uint32_t side = edges->sides[edges->side_begin[e]];
        uint32_t ends[2] = {side, edges_next_corner(edges, boundary->mesh, side)};
        for (size_t i = 0; i < 2; i++) {
            uint32_t fan = fans->corner_fan[ends[i]];
            if (latest[fan] != UINT32_MAX)
                disjoint_sets_join(set, latest[fan], e);
            latest[fan] = e;
        }
    }
}

/* Appends the joined sets as groups, each with its edges ascending. number has a place for every edge. */
static void gather_groups(const struct boundary *boundary, uint32_t *set, uint32_t *number,
                          struct open_loops *loops)
{
    const struct edges *edges = boundary->edges;
    uint32_t *size = loops->edge_begin + 1; /* of loop or group i, until they become ends */
    for (uint32_t e = 0; e < edges->count; e++) {
        if (!is_left_over(boundary, e))
            continue;
        uint32_t root = disjoint_sets_find(set, e);
        if (root == e) {
            number[e] = (uint32_t)loops->count;
            loops->shell[loops->count] = edge_shell(boundary, e);
            loops->first_vertex[loops->count] = edges->low[e];
            size[loops->count++] = 0;
        }
        size[number[root]]++;
    }
    for (uint32_t e = 0; e < edges->count; e++)
        if (is_left_over(boundary, e))
            number[e] = number[disjoint_sets_find(set, e)];
    uint32_t *cursor =
        set; /* the sets are not needed any more: their room holds where each group is filled */
    for (size_t i = loops->loop_count; i < loops->count; i++) {
        cursor[i] = loops->edge_begin[i];
        loops->edge_begin[i + 1] += loops->edge_begin[i];
    }
    for (uint32_t e = 0; e < edges->count; e++)
        if (is_left_over(boundary, e))
            loops->edges[cursor[number[e]]++] = e;
}

bool open_loops_build(const struct mesh *mesh, const struct edges *edges, const struct fans *fans,
                      const struct shells *shells, struct open_loops *loops, struct arena *keep,
                      struct arena scratch, struct error *err)
{
    memset(loops, 0, sizeof *loops);
    loops->edge_begin = ARENA_ZERO(keep, uint32_t, edges->open_count + 1);
    loops->edges = ARENA_NEW(keep, uint32_t, edges->open_count);
    loops->ends = arena_alloc(keep, edges->open_count, sizeof *loops->ends, _Alignof(uint32_t));
    loops->shell = ARENA_NEW(keep, uint32_t, edges->open_count);
    loops->first_vertex = ARENA_NEW(keep, uint32_t, edges->open_count);
    if (keep->failed || edges->open_count == 0)
        return !keep->failed || arena_error(err);
    bool *strung = ARENA_ZERO(&scratch, bool, edges->count);
    bool *has_nonmanifold_edge = ARENA_ZERO(&scratch, bool, shells->count);
    if (scratch.failed)
        return arena_error(err);

    struct boundary boundary = {mesh, edges, has_nonmanifold_edge, shells, strung};
    for (size_t e = 0; edges->nonmanifold_count > 0 && e < edges->count; e++)
        if (edges_incidence(edges, e) > 2)
            has_nonmanifold_edge[edge_shell(&boundary, e)] = true;
    string_loops(&boundary, loops);
    if (edges->nonmanifold_count > 0) {
        uint32_t *set = ARENA_NEW(&scratch, uint32_t, edges->count);
        uint32_t *number = ARENA_NEW(&scratch, uint32_t, edges->count);
        uint32_t *latest = ARENA_NEW(&scratch, uint32_t, fans->count);
        if (scratch.failed)
            return arena_error(err);
        join_left_over(&boundary, fans, set, latest);
        gather_groups(&boundary, set, number, loops);
    }
    for (size_t i = 0; i < edges->open_count; i++) {
        loops->ends[i][0] = edges->low[loops->edges[i]];
        loops->ends[i][1] = edges->high[loops->edges[i]];
    }
    assert(open_loops_is_valid(loops, mesh, edges, shells));
    return true;
}

bool open_loops_is_valid(const struct open_loops *loops, const struct mesh *mesh, const struct edges *edges,
                         const struct shells *shells)
{
    if (loops->loop_count > loops->count || loops->edge_begin[0] != 0
        || loops->edge_begin[loops->count] != edges->open_count)
        return false;
    for (size_t i = 0; i < loops->count; i++) {
        if (loops->edge_begin[i] >= loops->edge_begin[i + 1] || loops->shell[i] >= shells->count
            || loops->first_vertex[i] >= mesh->vertex_count)
            return false;
        for (uint32_t j = loops->edge_begin[i]; j < loops->edge_begin[i + 1]; j++) {
            uint32_t e = loops->edges[j];
            if (e >= edges->count || edges_incidence(edges, e) != 1
                || shells->face_shell[edges_face(edges, edges->sides[edges->side_begin[e]])]
                       != loops->shell[i])
                return false;
        }
    }
    return true;
}
