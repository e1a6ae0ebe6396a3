/* genus.c - counting V, E, F and loops of each shell. */
#include "topology/genus.h"

#include <string.h>

static void count_edges(const struct edges *edges, const struct mesh *mesh, const struct shells *shells,
                        struct shell_numbers *numbers)
{
    for (size_t e = 0; e < edges->count; e++) {
        uint32_t incidence = edges_incidence(edges, e);
        uint32_t f = edges_face(edges, edges->sides[edges->side_begin[e]]);
        struct shell_numbers *shell = &numbers[shells->face_shell[f]];
        shell->edges++;
        shell->open_edges += incidence == 1;
        shell->nonmanifold_edges += incidence > 2;
        shell->inconsistent_edges += incidence == 2 && !edges_is_consistent(edges, mesh, e);
    }
}

/* Fans gathered by vertex. */
struct fan_room {
    uint32_t *begin;  /* [vertex_count + 1] */
    uint32_t *fans;   /* fans[begin[v]] ... are those at v, ascending */
    uint32_t *latest; /* [shell count] the last vertex that the shell was met at, plus one */
};

static void gather_fans(const struct mesh *mesh, const struct fans *fans, const struct fan_room *room)
{
    uint32_t *begin = room->begin;
    for (size_t i = 0; i < fans->count; i++)
        begin[mesh->face_vertices[fans->first_corner[i]] + 1]++;
    for (size_t v = 0; v < mesh->vertex_count; v++)
        begin[v + 1] += begin[v];
    for (uint32_t i = 0; i < fans->count; i++)
        room->fans[begin[mesh->face_vertices[fans->first_corner[i]]]++] = i;
    memmove(begin + 1, begin, mesh->vertex_count * sizeof *begin);
    begin[0] = 0;
}

/* A shell has a vertex once, however many fans it has there; with two fans it is pinched. */
static void count_vertices(const struct mesh *mesh, const struct edges *edges, const struct fans *fans,
                           const struct shells *shells, const struct fan_room *room,
                           struct shell_numbers *numbers)
{
    for (uint32_t v = 0; v < mesh->vertex_count; v++)
        for (uint32_t i = room->begin[v]; i < room->begin[v + 1]; i++) {
            uint32_t s = shells->face_shell[edges_face(edges, fans->first_corner[room->fans[i]])];
            if (room->latest[s] == v + 1)
                numbers[s].pinched = true;
            else
                numbers[s].vertices++;
            room->latest[s] = v + 1;
        }
}

static void count_only_shell(const struct edges *edges, const struct fans *fans, struct shell_numbers *shell)
{
    shell->vertices = (uint32_t)fans->referenced_count;
    shell->pinched = fans->count > fans->referenced_count;
    shell->edges = (uint32_t)edges->count;
    shell->open_edges = (uint32_t)edges->open_count;
    shell->nonmanifold_edges = (uint32_t)edges->nonmanifold_count;
    shell->inconsistent_edges = (uint32_t)edges->inconsistent_count;
}

static void count_shells(const struct mesh *mesh, const struct edges *edges, const struct fans *fans,
                         const struct shells *shells, const struct fan_room *room,
                         struct shell_numbers *numbers)
{
    count_edges(edges, mesh, shells, numbers);
    if (fans->count == fans->referenced_count) { /* no vertex has two fans */
        for (size_t i = 0; i < fans->count; i++)
            numbers[shells->face_shell[edges_face(edges, fans->first_corner[i])]].vertices++;
        return;
    }
    gather_fans(mesh, fans, room);
    count_vertices(mesh, edges, fans, shells, room, numbers);
}

static void judge_shell(uint32_t face_total, bool orientable, struct shell_numbers *shell)
{
    shell->manifold = shell->nonmanifold_edges == 0 && !shell->pinched;
    if (shell->nonmanifold_edges > 0)
        shell->open_loops = GENUS_UNDEFINED;
    shell->euler_characteristic = (int64_t)shell->vertices - (int64_t)shell->edges + (int64_t)face_total;
    shell->genus = shell->manifold && orientable ? (2 - shell->open_loops - shell->euler_characteristic) / 2
                                                 : GENUS_UNDEFINED;
}

bool genus_build(const struct mesh *mesh, const struct edges *edges, const struct fans *fans,
                 const struct shells *shells, const struct open_loops *loops, struct genus *genus,
                 struct arena *keep, struct arena scratch, struct error *err)
{
    memset(genus, 0, sizeof *genus);
    genus->shells = ARENA_ZERO(keep, struct shell_numbers, shells->count);
    bool is_alone = shells->count == 1, is_plain = is_alone || fans->count == fans->referenced_count;
    struct fan_room room = {ARENA_ZERO(&scratch, uint32_t, is_plain ? 0 : mesh->vertex_count + 1),
                            ARENA_NEW(&scratch, uint32_t, is_plain ? 0 : fans->count),
                            ARENA_ZERO(&scratch, uint32_t, is_plain ? 0 : shells->count)};
    if (keep->failed || scratch.failed)
        return arena_error(err);

    if (is_alone)
        count_only_shell(edges, fans, &genus->shells[0]);
    else
        count_shells(mesh, edges, fans, shells, &room, genus->shells);
    for (size_t i = 0; i < loops->count; i++)
        genus->shells[loops->shell[i]].open_loops++;
    for (size_t s = 0; s < shells->count; s++) {
        struct shell_numbers *shell = &genus->shells[s];
        judge_shell(shells->face_total[s], shells->orientable[s], shell);
        if (shell->genus == GENUS_UNDEFINED || genus->genus == GENUS_UNDEFINED)
            genus->genus = GENUS_UNDEFINED;
        else
            genus->genus += shell->genus;
    }
    genus->open_loops = edges->nonmanifold_count > 0 ? GENUS_UNDEFINED : (int64_t)loops->count;
    genus->euler_characteristic =
        (int64_t)fans->referenced_count - (int64_t)edges->count + (int64_t)mesh->face_count;
    return true;
}
