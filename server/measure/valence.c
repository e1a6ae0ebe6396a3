/* valence.c - edges at each vertex. */
#include "measure/valence.h"

#include <string.h>

#include "measure/counts.h"

static void look_around(const struct measure_input *input, struct vertex_valence *around)
{
    const struct edges *edges = &input->edges;
    for (size_t e = 0; e < edges->count; e++) {
        uint32_t incidence = edges_incidence(edges, e);
        if (e + AHEAD < edges->count)
            ahead_ask(&around[edges->high[e + AHEAD]]);
        struct vertex_valence *ends[2] = {&around[edges->low[e]], &around[edges->high[e]]};
        for (size_t i = 0; i < 2; i++) {
            ends[i]->edges++;
            ends[i]->open_edges += incidence == 1;
            ends[i]->nonmanifold_edges += incidence > 2;
        }
    }
    for (size_t c = 0; edges->open_count > 0 && c < edges->corner_count; c++) {
        if (c + AHEAD < edges->corner_count)
            ahead_ask(&around[input->mesh->face_vertices[c + AHEAD]]);
        struct vertex_valence *at = &around[input->mesh->face_vertices[c]];
        at->faces += at->latest_face != edges_face(edges, (uint32_t)c) + 1;
        at->latest_face = edges_face(edges, (uint32_t)c) + 1;
    }
}

static enum valence_place place_of(const struct vertex_valence *at, uint32_t class_count)
{
    if (class_count == 0)
        return VALENCE_UNUSED;
    if (class_count > 1 || at->nonmanifold_edges > 0)
        return VALENCE_NONMANIFOLD;
    if (at->open_edges == 0)
        return VALENCE_INTERIOR;
    return at->faces == 1 ? VALENCE_CORNER : VALENCE_BOUNDARY;
}

void valence_find(const struct measure_input *input, struct vertex_valence *valences)
{
    size_t vertex_count = input->mesh->vertex_count;

    memset(valences, 0, vertex_count * sizeof *valences);
    look_around(input, valences);
    for (size_t v = 0; v < vertex_count; v++)
        valences[v].place = place_of(&valences[v], input->fans.vertex_class_count[v]);
}

bool valence_build(const struct measure_input *input, struct valence_report *report, struct arena *keep,
                   struct arena scratch, struct error *err)
{
    size_t vertex_count = input->mesh->vertex_count, judged = 0;
    uint32_t regular_interior = input->kind == MESH_CAGE ? 4 : 6;
    uint32_t regular_boundary = input->kind == MESH_CAGE ? 3 : 4;
    struct vertex_valence *valences = ARENA_NEW(&scratch, struct vertex_valence, vertex_count);
    memset(report, 0, sizeof *report);
    if (scratch.failed)
        return arena_error(err);

    valence_find(input, valences);
    for (size_t v = 0; v < vertex_count; v++)
        report->max = valences[v].edges > report->max ? valences[v].edges : report->max;
    size_t value_count = (size_t)report->max + 1;
    size_t *interior = ARENA_ZERO(&scratch, size_t, value_count),
           *boundary = ARENA_ZERO(&scratch, size_t, value_count);
    if (scratch.failed)
        return arena_error(err);
    for (size_t v = 0; v < vertex_count; v++) {
        const struct vertex_valence *at = &valences[v];
        report->nonmanifold += at->place == VALENCE_NONMANIFOLD;
        report->corners += at->place == VALENCE_CORNER;
        judged += at->place == VALENCE_INTERIOR || at->place == VALENCE_BOUNDARY;
        if (at->place == VALENCE_INTERIOR) {
            interior[at->edges]++;
            report->irregular_interior += at->edges != regular_interior;
        } else if (at->place == VALENCE_BOUNDARY || at->place == VALENCE_CORNER) {
            boundary[at->edges]++;
            report->irregular_boundary += at->place == VALENCE_BOUNDARY && at->edges != regular_boundary;
        }
    }
    size_t irregular = report->irregular_interior + report->irregular_boundary;
    report->irregular_share = judged > 0 ? (double)irregular / (double)judged : NAN;
    return integer_histogram_build(interior, value_count, &report->interior, keep, err)
           && integer_histogram_build(boundary, value_count, &report->boundary, keep, err);
}
