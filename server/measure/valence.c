/* valence.c - edges at each vertex. */
#include "measure/valence.h"

#include <string.h>

#include "measure/counts.h"

struct around_vertex {
    uint32_t edges, open_edges, nonmanifold_edges;
    uint32_t faces, latest_face; /* latest_face: the last that named the vertex, plus one */
};

static void look_around(const struct measure_input *input, struct around_vertex *around)
{
    const struct edges *edges = &input->edges;
    for (size_t e = 0; e < edges->count; e++) {
        uint32_t incidence = edges_incidence(edges, e);
        struct around_vertex *ends[2] = {&around[edges->low[e]], &around[edges->high[e]]};
        for (size_t i = 0; i < 2; i++) {
            ends[i]->edges++;
            ends[i]->open_edges += incidence == 1;
            ends[i]->nonmanifold_edges += incidence > 2;
        }
    }
    for (size_t c = 0; c < edges->corner_count; c++) {
        struct around_vertex *at = &around[input->mesh->face_vertices[c]];
        at->faces += at->latest_face != edges->corner_face[c] + 1;
        at->latest_face = edges->corner_face[c] + 1;
    }
}

bool valence_build(const struct measure_input *input, struct valence_report *report, struct arena *keep,
                   struct arena scratch, struct error *err)
{
    size_t vertex_count = input->mesh->vertex_count, interior_count = 0, boundary_count = 0;
    uint32_t regular_interior = input->kind == MESH_CAGE ? 4 : 6;
    uint32_t regular_boundary = input->kind == MESH_CAGE ? 3 : 4;
    struct around_vertex *around = ARENA_ZERO(&scratch, struct around_vertex, vertex_count);
    uint32_t *interior = ARENA_NEW(&scratch, uint32_t, vertex_count);
    uint32_t *boundary = ARENA_NEW(&scratch, uint32_t, vertex_count);
    memset(report, 0, sizeof *report);
    if (scratch.failed)
        return arena_error(err);

    look_around(input, around);
    for (size_t v = 0; v < vertex_count; v++) {
        const struct around_vertex *at = &around[v];
        uint32_t classes = input->fans.vertex_class_count[v];
        report->max = at->edges > report->max ? at->edges : report->max;
        if (classes == 0)
            continue;
        if (classes > 1 || at->nonmanifold_edges > 0) {
            report->nonmanifold++;
        } else if (at->open_edges == 0) {
            interior[interior_count++] = at->edges;
            report->irregular_interior += at->edges != regular_interior;
        } else {
            boundary[boundary_count++] = at->edges;
            if (at->faces == 1)
                report->corners++;
            else
                report->irregular_boundary += at->edges != regular_boundary;
        }
    }
    size_t judged = interior_count + boundary_count - report->corners;
    size_t irregular = report->irregular_interior + report->irregular_boundary;
    report->irregular_share = judged > 0 ? (double)irregular / (double)judged : NAN;
    return integer_histogram_build(interior, interior_count, true, &report->interior, keep, scratch, err)
           && integer_histogram_build(boundary, boundary_count, true, &report->boundary, keep, scratch, err);
}
