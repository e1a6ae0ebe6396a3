/* shells.c - shells by union-find over faces; orientation by union-find that carries a parity. */
#include "topology/shells.h"

#include <assert.h>
#include <string.h>

#include "topology/disjoint_sets.h"

/* Numbers the shells by descending face count: a counting sort, stable, so that a tie keeps the order of
 * first faces. */
static bool number_by_size(const struct mesh *mesh, struct shells *shells, struct arena scratch,
                           struct error *err)
{
    if (shells->count == 1) {
        shells->face_total[0] = (uint32_t)mesh->face_count;
        return true;
    }
    uint32_t *size = ARENA_ZERO(&scratch, uint32_t, shells->count);
    uint32_t *begin = ARENA_ZERO(&scratch, uint32_t, mesh->face_count + 2);
    uint32_t *rank = ARENA_NEW(&scratch, uint32_t, shells->count);
    if (scratch.failed)
        return arena_error(err);
    for (size_t f = 0; f < mesh->face_count; f++)
        size[shells->face_shell[f]]++;
    for (size_t s = 0; s < shells->count; s++)
        begin[mesh->face_count - size[s] + 1]++;
    for (size_t i = 0; i <= mesh->face_count; i++)
        begin[i + 1] += begin[i];
    for (size_t s = 0; s < shells->count; s++) {
        rank[s] = begin[mesh->face_count - size[s]]++;
        shells->face_total[rank[s]] = size[s];
    }
    for (size_t f = 0; f < mesh->face_count; f++)
        shells->face_shell[f] = rank[shells->face_shell[f]];
    return true;
}

static void join_shells(const struct mesh *mesh, const struct edges *edges, struct shells *shells)
{
    if (edges->nonmanifold_count == 0) {
        /* shells and sheets are the same, and both are numbered by their first faces */
        memcpy(shells->face_shell, shells->face_sheet, mesh->face_count * sizeof *shells->face_shell);
        shells->count = shells->sheet_count;
        return;
    }
    disjoint_sets_begin(shells->face_shell, mesh->face_count);
    for (size_t e = 0; e < edges->count; e++)
        for (uint32_t i = edges->side_begin[e] + 1; i < edges->side_begin[e + 1]; i++)
            disjoint_sets_join(shells->face_shell, edges_face(edges, edges->sides[i - 1]),
                               edges_face(edges, edges->sides[i]));
    shells->count = disjoint_sets_number(shells->face_shell, mesh->face_count);
}

static bool build_shells(const struct mesh *mesh, const struct edges *edges, struct shells *shells,
                         struct arena *keep, struct arena scratch, struct error *err)
{
    join_shells(mesh, edges, shells);
    shells->face_total = ARENA_NEW(keep, uint32_t, shells->count);
    shells->orientable = ARENA_NEW(keep, bool, shells->count);
    if (keep->failed)
        return arena_error(err);
    return number_by_size(mesh, shells, scratch, err);
}

/* Union-find in which turned[f] says whether f runs against parent[f]. Path halving keeps it true. */
struct parity_sets {
    uint32_t *parent;
    bool *turned;
};

static uint32_t find_with_parity(const struct parity_sets *sets, uint32_t f, bool *turned)
{
    bool against = false;
    while (sets->parent[f] != f) {
        uint32_t up = sets->parent[f];
        sets->turned[f] ^= sets->turned[up];
        sets->parent[f] = sets->parent[up];
        against ^= sets->turned[f];
        f = sets->parent[f];
    }
    *turned = against;
    return f;
}

/* Joins the two faces at edge e; false where they are joined already and disagree. */
static bool join_across(const struct mesh *mesh, const struct edges *edges, size_t e,
                        const struct parity_sets *sets)
{
    const uint32_t *side = edges->sides + edges->side_begin[e];
    bool must_turn = !edges_is_consistent(edges, mesh, e), turned_a, turned_b;
    uint32_t a = find_with_parity(sets, edges_face(edges, side[0]), &turned_a);
    uint32_t b = find_with_parity(sets, edges_face(edges, side[1]), &turned_b);
    if (a == b)
        return (turned_a ^ turned_b) == must_turn;
    uint32_t child = a < b ? b : a;
    sets->parent[child] = a < b ? a : b;
    sets->turned[child] = turned_a ^ turned_b ^ must_turn;
    return true;
}

/* Where all sides agree as listed, no face is turned and no sheet disagrees with itself. */
static void join_agreeing_sheets(const struct mesh *mesh, const struct edges *edges, struct shells *shells)
{
    disjoint_sets_begin(shells->face_sheet, mesh->face_count);
    for (size_t e = 0; e < edges->count; e++) {
        const uint32_t *side = edges->sides + edges->side_begin[e], *ahead;
        size_t ahead_count = edges_sides_ahead(edges, e, &ahead);
        for (size_t i = 0; i < ahead_count; i++)
            ahead_ask(&shells->face_sheet[edges_face(edges, ahead[i])]);
        if (edges_incidence(edges, e) == 2)
            disjoint_sets_join(shells->face_sheet, edges_face(edges, side[0]), edges_face(edges, side[1]));
    }
    memset(shells->face_reversed, false, mesh->face_count * sizeof *shells->face_reversed);
    shells->sheet_count = disjoint_sets_number(shells->face_sheet, mesh->face_count);
}

/* clash[f]: f is at an edge across which its sheet disagrees with itself. */
static bool join_sheets(const struct mesh *mesh, const struct edges *edges, struct shells *shells,
                        bool *clash, struct arena scratch, struct error *err)
{
    if (edges->inconsistent_count == 0) {
        join_agreeing_sheets(mesh, edges, shells);
        return true;
    }
    struct parity_sets sets = {shells->face_sheet, ARENA_ZERO(&scratch, bool, mesh->face_count)};
    if (scratch.failed)
        return arena_error(err);
    disjoint_sets_begin(sets.parent, mesh->face_count);
    for (size_t e = 0; e < edges->count; e++)
        if (edges_incidence(edges, e) == 2 && !join_across(mesh, edges, e, &sets))
            clash[edges_face(edges, edges->sides[edges->side_begin[e]])] = true;
    for (uint32_t f = 0; f < mesh->face_count; f++)
        find_with_parity(&sets, f, &shells->face_reversed[f]);
    shells->sheet_count = disjoint_sets_number(shells->face_sheet, mesh->face_count);
    return true;
}

static bool judge_sheets(const struct mesh *mesh, struct shells *shells, const bool *clash,
                         struct arena *keep, struct error *err)
{
    shells->sheet_orientable = ARENA_NEW(keep, bool, shells->sheet_count);
    if (keep->failed)
        return arena_error(err);
    memset(shells->sheet_orientable, true, shells->sheet_count);
    memset(shells->orientable, true, shells->count);
    for (size_t f = 0; f < mesh->face_count; f++)
        if (clash[f]) {
            shells->sheet_orientable[shells->face_sheet[f]] = false;
            shells->orientable[shells->face_shell[f]] = false;
        }
    return true;
}

bool shells_build(const struct mesh *mesh, const struct edges *edges, struct shells *shells,
                  struct arena *keep, struct arena scratch, struct error *err)
{
    memset(shells, 0, sizeof *shells);
    shells->face_shell = ARENA_NEW(keep, uint32_t, mesh->face_count);
    shells->face_sheet = ARENA_NEW(keep, uint32_t, mesh->face_count);
    shells->face_reversed = ARENA_NEW(keep, bool, mesh->face_count);
    bool *clash = ARENA_ZERO(&scratch, bool, mesh->face_count);
    if (keep->failed || scratch.failed)
        return arena_error(err);
    if (!join_sheets(mesh, edges, shells, clash, scratch, err)
        || !build_shells(mesh, edges, shells, keep, scratch, err)
        || !judge_sheets(mesh, shells, clash, keep, err))
        return false;
    assert(shells_is_valid(shells, mesh, edges));
    return true;
}

bool shells_is_valid(const struct shells *shells, const struct mesh *mesh, const struct edges *edges)
{
    size_t faces = 0;
    for (size_t s = 0; s < shells->count; s++) {
        if (shells->face_total[s] == 0 || (s > 0 && shells->face_total[s] > shells->face_total[s - 1]))
            return false;
        faces += shells->face_total[s];
    }
    if (faces != mesh->face_count)
        return false;
    for (size_t e = 0; e < edges->count; e++) {
        const uint32_t *side = edges->sides + edges->side_begin[e];
        uint32_t f = edges_face(edges, side[0]);
        for (uint32_t i = 1; i < edges_incidence(edges, e); i++)
            if (shells->face_shell[edges_face(edges, side[i])] != shells->face_shell[f])
                return false;
        if (edges_incidence(edges, e) != 2)
            continue;
        uint32_t g = edges_face(edges, side[1]);
        bool turned = shells->face_reversed[f] != shells->face_reversed[g];
        if (shells->face_sheet[f] != shells->face_sheet[g]
            || (shells->sheet_orientable[shells->face_sheet[f]]
                && turned == edges_is_consistent(edges, mesh, e)))
            return false;
    }
    return true;
}
