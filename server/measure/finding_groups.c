/* finding_groups.c - one labelling of corners for each kind of finding. */
#include "measure/finding_groups.h"

#include <string.h>

#include "measure/topology_report.h"
#include "topology/disjoint_sets.h"

const char *finding_size_unit(enum finding_kind kind)
{
    static const char *const units[FINDING_KIND_COUNT] = {
        [FINDING_NONMANIFOLD_EDGE] = "edges", [FINDING_FLIPPED_FACES] = "faces",
        [FINDING_DUPLICATE_FACES] = "faces",  [FINDING_DEGENERATE_FACES] = "faces",
        [FINDING_OPEN_LOOP] = "length",       [FINDING_NONMANIFOLD_VERTEX] = "faces",
        [FINDING_STRAY_SHELL] = "area",       [FINDING_LOST] = "area",
        [FINDING_INVENTED] = "area",
    };
    return units[kind];
}

/* Rises from 0 to 1 with the size and is 1/2 at half; only orders findings (no source). */
static double saturate(double size, double half)
{
    return size > 0 ? size / (size + half) : 0;
}
static const double half_score_count = 8;

static bool make_room(const struct measure_input *input, size_t group_count, struct finding_groups *groups,
                      struct arena *keep, struct error *err)
{
    groups->count = group_count;
    groups->corner_group = ARENA_NEW(keep, uint32_t, input->edges.corner_count);
    groups->size = ARENA_ZERO(keep, double, group_count);
    groups->score = ARENA_ZERO(keep, double, group_count);
    if (keep->failed)
        return arena_error(err);
    memset(groups->corner_group, 0xff, input->edges.corner_count * sizeof *groups->corner_group);
    return true;
}

static void score_by_count(struct finding_groups *groups)
{
    for (size_t g = 0; g < groups->count; g++)
        groups->score[g] = saturate(groups->size[g], half_score_count);
}

/* Turns set[item] of marked items into group numbers by first item, UINT32_MAX for the others; returns how
 * many groups there are. */
static size_t number_groups(const bool *marked, uint32_t *set, size_t count)
{
    uint32_t group_count = 0;
    for (uint32_t i = 0; i < count; i++)
        if (marked[i])
            set[i] = set[i] == i ? group_count++ : set[set[i]];
    for (uint32_t i = 0; i < count; i++)
        if (!marked[i])
            set[i] = UINT32_MAX;
    return group_count;
}

/* Groups of marked faces that touch: at a shared vertex, or where by_edges, along a shared edge. extra[f] is
 * what a face adds to the size of its group. */
static bool group_faces(const struct measure_input *input, const bool *marked, bool by_edges,
                        const bool *extra, struct finding_groups *groups, struct arena *keep,
                        struct arena scratch, struct error *err)
{
    const struct mesh *mesh = input->mesh;
    const struct edges *edges = &input->edges;
    size_t place_count = by_edges ? edges->count : mesh->vertex_count;
    uint32_t *set = ARENA_NEW(&scratch, uint32_t, mesh->face_count);
    uint32_t *latest = ARENA_NEW(&scratch, uint32_t, place_count); /* marked face at this vertex or edge */
    if (scratch.failed)
        return arena_error(err);
    disjoint_sets_begin(set, mesh->face_count);
    memset(latest, 0xff, place_count * sizeof *latest);
    for (uint32_t c = 0; c < edges->corner_count; c++) {
        uint32_t f = edges_face(edges, c), place = by_edges ? edges->corner_edge[c] : mesh->face_vertices[c];
        if (!marked[f] || place == EDGE_NONE)
            continue;
        if (latest[place] != UINT32_MAX)
            disjoint_sets_join(set, latest[place], f);
        latest[place] = f;
    }
    if (!make_room(input, number_groups(marked, set, mesh->face_count), groups, keep, err))
        return false;
    for (size_t f = 0; f < mesh->face_count; f++)
        if (marked[f])
            groups->size[set[f]] += extra[f];
    for (size_t c = 0; c < edges->corner_count; c++)
        groups->corner_group[c] = set[edges_face(edges, (uint32_t)c)];
    score_by_count(groups);
    return true;
}

static bool group_nonmanifold_edges(const struct measure_input *input, struct finding_groups *groups,
                                    struct arena *keep, struct arena scratch, struct error *err)
{
    const struct edges *edges = &input->edges;
    uint32_t *set = ARENA_NEW(&scratch, uint32_t, edges->count);
    bool *marked = ARENA_NEW(&scratch, bool, edges->count);
    uint32_t *latest = ARENA_NEW(&scratch, uint32_t, input->mesh->vertex_count);
    if (scratch.failed)
        return arena_error(err);
    disjoint_sets_begin(set, edges->count);
    memset(latest, 0xff, input->mesh->vertex_count * sizeof *latest);
    for (uint32_t e = 0; e < edges->count; e++) {
        const uint32_t ends[2] = {edges->low[e], edges->high[e]};
        marked[e] = edges_incidence(edges, e) > 2;
        for (size_t i = 0; marked[e] && i < 2; i++) {
            if (latest[ends[i]] != UINT32_MAX)
                disjoint_sets_join(set, latest[ends[i]], e);
            latest[ends[i]] = e;
        }
    }
    if (!make_room(input, number_groups(marked, set, edges->count), groups, keep, err))
        return false;
    groups->are_sides = true;
    for (size_t e = 0; e < edges->count; e++)
        if (marked[e])
            groups->size[set[e]]++;
    for (size_t c = 0; c < edges->corner_count; c++)
        if (edges->corner_edge[c] != EDGE_NONE)
            groups->corner_group[c] = set[edges->corner_edge[c]];
    score_by_count(groups);
    return true;
}

/* In an orientable sheet the faces of the smaller side, by number; a tie leaves the first face as it is. In a
 * sheet that cannot be oriented, the faces at its inconsistent edges. */
static void mark_flipped(const struct measure_input *input, bool *marked, int64_t *sheet_balance)
{
    const struct shells *shells = &input->shells;
    const struct edges *edges = &input->edges;
    for (size_t f = 0; f < input->mesh->face_count; f++)
        sheet_balance[shells->face_sheet[f]] += shells->face_reversed[f] ? -1 : 1;
    for (size_t f = 0; f < input->mesh->face_count; f++) {
        uint32_t sheet = shells->face_sheet[f];
        marked[f] =
            shells->sheet_orientable[sheet] && shells->face_reversed[f] == (sheet_balance[sheet] >= 0);
    }
    for (size_t e = 0; e < edges->count; e++)
        if (edges_incidence(edges, e) == 2 && !edges_is_consistent(edges, input->mesh, e))
            for (uint32_t i = edges->side_begin[e]; i < edges->side_begin[e + 1]; i++) {
                uint32_t f = edges_face(edges, edges->sides[i]);
                marked[f] = marked[f] || !shells->sheet_orientable[shells->face_sheet[f]];
            }
}

static bool group_flipped_faces(const struct measure_input *input, struct finding_groups *groups,
                                struct arena *keep, struct arena scratch, struct error *err)
{
    bool *marked = ARENA_NEW(&scratch, bool, input->mesh->face_count);
    int64_t *balance = ARENA_ZERO(&scratch, int64_t, input->shells.sheet_count);
    if (scratch.failed)
        return arena_error(err);
    mark_flipped(input, marked, balance);
    return group_faces(input, marked, true, marked, groups, keep, scratch, err);
}

static bool group_duplicate_faces(const struct measure_input *input, struct finding_groups *groups,
                                  struct arena *keep, struct arena scratch, struct error *err)
{
    bool *marked = ARENA_ZERO(&scratch, bool, input->mesh->face_count);
    bool *is_extra = ARENA_ZERO(&scratch, bool, input->mesh->face_count);
    if (scratch.failed)
        return arena_error(err);
    for (size_t f = 0; f < input->mesh->face_count; f++)
        if (input->duplicates.first_copy[f] != f)
            is_extra[f] = marked[f] = marked[input->duplicates.first_copy[f]] = true;
    return group_faces(input, marked, false, is_extra, groups, keep, scratch, err);
}

static bool group_degenerate_faces(const struct measure_input *input, struct finding_groups *groups,
                                   struct arena *keep, struct arena scratch, struct error *err)
{
    bool *marked = ARENA_NEW(&scratch, bool, input->mesh->face_count);
    if (scratch.failed)
        return arena_error(err);
    for (size_t f = 0; f < input->mesh->face_count; f++)
        marked[f] = (input->face_class[f] & FACE_DEGENERATE) != 0;
    return group_faces(input, marked, false, marked, groups, keep, scratch, err);
}

static bool group_open_loops(const struct measure_input *input, struct finding_groups *groups,
                             struct arena *keep, struct error *err)
{
    const struct open_loops *loops = &input->loops;
    const struct edges *edges = &input->edges;
    if (!make_room(input, loops->count, groups, keep, err))
        return false;
    groups->are_sides = true;
    for (uint32_t i = 0; i < loops->count; i++) {
        for (uint32_t j = loops->edge_begin[i]; j < loops->edge_begin[i + 1]; j++)
            groups->corner_group[edges->sides[edges->side_begin[loops->edges[j]]]] = i;
        groups->size[i] = open_loop_report(input, i).length / input->unit;
        groups->score[i] = saturate(groups->size[i], input->diagonal / input->unit);
    }
    return true;
}

static bool group_nonmanifold_vertices(const struct measure_input *input, struct finding_groups *groups,
                                       struct arena *keep, struct arena scratch, struct error *err)
{
    const struct mesh *mesh = input->mesh;
    const struct edges *edges = &input->edges;
    uint32_t *vertex_group = ARENA_NEW(&scratch, uint32_t, mesh->vertex_count);
    uint32_t *latest_face = ARENA_ZERO(&scratch, uint32_t, input->fans.nonmanifold_count);
    if (scratch.failed || !make_room(input, input->fans.nonmanifold_count, groups, keep, err))
        return arena_error(err);
    uint32_t count = 0;
    for (size_t v = 0; v < mesh->vertex_count; v++)
        vertex_group[v] = input->fans.vertex_class_count[v] > 1 ? count++ : UINT32_MAX;
    for (size_t c = 0; c < edges->corner_count; c++) {
        uint32_t group = vertex_group[mesh->face_vertices[c]];
        groups->corner_group[c] = group;
        if (group == UINT32_MAX)
            continue;
        groups->size[group] += latest_face[group] != edges_face(edges, (uint32_t)c) + 1;
        latest_face[group] = edges_face(edges, (uint32_t)c) + 1;
    }
    score_by_count(groups);
    return true;
}

static bool group_stray_shells(const struct measure_input *input, struct finding_groups *groups,
                               struct arena *keep, struct arena scratch, struct error *err)
{
    size_t shell_count = input->shells.count;
    double largest = 0;
    uint32_t stray_count = 0;
    uint32_t *shell_group = ARENA_NEW(&scratch, uint32_t, shell_count);
    if (scratch.failed)
        return arena_error(err);
    for (size_t s = 0; s < shell_count; s++)
        largest = fmax(largest, input->shell_area[s]);
    for (size_t s = 0; s < shell_count; s++)
        shell_group[s] = input->shell_area[s] < FINDING_STRAY_SHARE * largest ? stray_count++ : UINT32_MAX;
    if (!make_room(input, stray_count, groups, keep, err))
        return false;
    for (size_t c = 0; c < input->edges.corner_count; c++)
        groups->corner_group[c] =
            shell_group[input->shells.face_shell[edges_face(&input->edges, (uint32_t)c)]];
    for (size_t s = 0; s < shell_count; s++)
        if (shell_group[s] != UINT32_MAX) {
            groups->size[shell_group[s]] = input->shell_area[s];
            groups->score[shell_group[s]] = saturate(input->shell_area[s], largest);
        }
    return true;
}

bool finding_groups_build(const struct measure_input *input, enum finding_kind kind,
                          struct finding_groups *groups, struct arena *keep, struct arena scratch,
                          struct error *err)
{
    memset(groups, 0, sizeof *groups);
    switch (kind) {
    case FINDING_NONMANIFOLD_EDGE:
        return group_nonmanifold_edges(input, groups, keep, scratch, err);
    case FINDING_FLIPPED_FACES:
        return group_flipped_faces(input, groups, keep, scratch, err);
    case FINDING_DUPLICATE_FACES:
        return group_duplicate_faces(input, groups, keep, scratch, err);
    case FINDING_DEGENERATE_FACES:
        return group_degenerate_faces(input, groups, keep, scratch, err);
    case FINDING_OPEN_LOOP:
        return group_open_loops(input, groups, keep, err);
    case FINDING_NONMANIFOLD_VERTEX:
        return group_nonmanifold_vertices(input, groups, keep, scratch, err);
    case FINDING_STRAY_SHELL:
        return group_stray_shells(input, groups, keep, scratch, err);
    case FINDING_LOST: /* not by topology: places.h */
    case FINDING_INVENTED:
    case FINDING_KIND_COUNT:
        break;
    }
    return true;
}
