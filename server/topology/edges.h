/* edges.h - the edges of a polygon mesh and the face sides that lie on each; indices only.
 *
 * A side is named by the corner it starts from: side c runs from the vertex of corner c to the vertex of the
 * next corner of the same face. An edge is an unordered pair of different vertices that are consecutive in at
 * least one face; a side whose two vertices are one and the same makes no edge. The incidence of an edge is
 * the number of sides on it: 1 open, 2 manifold, 3 and more non-manifold.
 *
 * Edges are numbered by their lower vertex, then by the first corner that names them. Everything is built in
 * time linear in the corners, however many sides share one edge or one vertex. All arrays belong to the arena
 * given as keep. */
#ifndef TOPOLOGY_EDGES_H
#define TOPOLOGY_EDGES_H

#include "base/ahead.h"
#include "mesh/mesh.h"

#define EDGE_NONE UINT32_MAX /* no edge: the side of a face that names one vertex twice running */

struct edges {
    size_t count;
    size_t corner_count;
    bool triangles;        /* every face is one: corners follow each other by threes */
    uint32_t *low, *high;  /* [count] the two vertices, low < high */
    uint32_t *side_begin;  /* [count + 1] into sides */
    uint32_t *sides;       /* the sides on each edge, ascending */
    uint32_t *corner_edge; /* [corner_count] edge of the side that starts here, or EDGE_NONE */
    uint32_t *corner_face; /* [corner_count], NULL where all faces are triangles: ask edges_face */
    size_t open_count, nonmanifold_count;
    size_t inconsistent_count; /* edges of incidence 2 through which both sides run in the same direction */
    size_t incidence_max;
};

/* The same edges for any number of threads. ERROR_LIMIT when keep or scratch is too small. */
bool edges_build(const struct mesh *mesh, size_t threads, struct edges *edges, struct arena *keep,
                 struct arena scratch, struct error *err);

/* True when every side lies on exactly the edge that its two vertices make, and every edge has a side. */
bool edges_is_valid(const struct edges *edges, const struct mesh *mesh);

static inline uint32_t edges_incidence(const struct edges *edges, size_t e)
{
    return edges->side_begin[e + 1] - edges->side_begin[e];
}
static inline uint32_t edges_face(const struct edges *edges, uint32_t c)
{
    return edges->triangles ? c / 3 : edges->corner_face[c];
}
static inline uint32_t edges_next_corner(const struct edges *edges, const struct mesh *mesh, uint32_t c)
{
    if (edges->triangles)
        return c % 3 == 2 ? c - 2 : c + 1;
    uint32_t f = edges->corner_face[c];
    return c + 1 == mesh->face_offsets[f + 1] ? mesh->face_offsets[f] : c + 1;
}
static inline uint32_t edges_previous_corner(const struct edges *edges, const struct mesh *mesh, uint32_t c)
{
    if (edges->triangles)
        return c % 3 == 0 ? c + 2 : c - 1;
    uint32_t f = edges->corner_face[c];
    return c == mesh->face_offsets[f] ? mesh->face_offsets[f + 1] - 1 : c - 1;
}
/* The sides that follow those of an edge a little later; fewer at the end of the list. */
static inline size_t edges_sides_ahead(const struct edges *edges, size_t e, const uint32_t **sides)
{
    size_t begin = edges->side_begin[e] + AHEAD, end = edges->side_begin[e + 1] + AHEAD,
           count = edges->side_begin[edges->count];

    *sides = edges->sides + (begin < count ? begin : count);
    return end <= count ? end - begin : begin < count ? count - begin : 0;
}
/* True when the two sides of an edge of incidence 2 run through it in opposite directions. */
static inline bool edges_is_consistent(const struct edges *edges, const struct mesh *mesh, size_t e)
{
    const uint32_t *side = edges->sides + edges->side_begin[e];
    return mesh->face_vertices[side[0]] != mesh->face_vertices[side[1]];
}

#endif
