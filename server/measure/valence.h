/* valence.h - how many edges meet at each vertex, and where that is not the regular number.
 *
 * The valence of a vertex is the number of edges at it. Vertices with more than one fan or on a non-manifold
 * edge are counted apart. Regular is, in a cage, 4 inside and 3 on an open edge; in a scan 6 and 4. A
 * boundary vertex with one face is a corner: it is in the boundary histogram, but neither regular nor
 * irregular. (D. Bommes et al., "Quad-mesh generation and processing: a survey", Computer Graphics Forum,
 * 2013.) */
#ifndef MEASURE_VALENCE_H
#define MEASURE_VALENCE_H

#include "measure/measure_input.h"
#include "measure/mesh_report.h"

enum valence_place {
    VALENCE_UNUSED, /* no face uses it */
    VALENCE_INTERIOR,
    VALENCE_BOUNDARY,
    VALENCE_CORNER,
    VALENCE_NONMANIFOLD
};

/* One vertex. After valence_find only `edges` and `place` mean anything. */
struct vertex_valence {
    uint32_t edges, open_edges, nonmanifold_edges;
    uint32_t faces, latest_face; /* latest_face: the last that named the vertex, plus one */
    enum valence_place place;
};

/* Fills valences[vertex count]. */
void valence_find(const struct measure_input *input, struct vertex_valence *valences);

bool valence_build(const struct measure_input *input, struct valence_report *report, struct arena *keep,
                   struct arena scratch, struct error *err);

#endif
