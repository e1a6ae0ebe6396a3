/* cage.h - a control mesh with what the rules of subdivision need: edges, their sharpness, the kind of each
 * vertex.
 *
 * The vertices are those of the mesh it was built from, with the same numbers. Of its faces, corners that
 * repeat the one before them are dropped, and faces that then have fewer than three corners or name a vertex
 * twice are left out and counted; face_source tells which face of the first mesh each face comes from.
 *
 * Open edges, and edges with three and more faces, are sharp for ever. An edge between two faces is an edge
 * between two faces however they are turned: the rules do not know a direction, so Moebius bands and faces
 * turned over are refined like others. A vertex is fixed, and counted as non-manifold, where the faces at it
 * are neither one closed fan nor one open fan; where exactly two edges of three and more faces pass through a
 * vertex and all faces there lie between them, it moves along these edges. No limit surface in the classical
 * sense exists at non-manifold edges and vertices: what is computed there is a convention. All arrays belong
 * to the arena given as keep. */
#ifndef SUBDIV_CAGE_H
#define SUBDIV_CAGE_H

#include "mesh/creases.h"
#include "subdiv/rules.h"
#include "topology/edges.h"

enum cage_flag {
    CAGE_SMOOTH = 1,      /* one closed fan of quads, no sharp edge */
    CAGE_REGULAR = 2,     /* smooth with four quads */
    CAGE_FIXED = 4,       /* stays where it is */
    CAGE_SEMI_SHARP = 8,  /* an edge of finite sharpness */
    CAGE_NOT_QUADS = 16,  /* a face that is not a quad */
    CAGE_OPEN_FAN = 32,   /* its faces are one open fan */
    CAGE_CLOSED_FAN = 64, /* its faces are one closed fan */
    CAGE_UNUSED = 128     /* no face */
};

struct cage {
    struct mesh mesh;
    struct edges edges;
    enum boundary_rule rule;
    double *sharpness;      /* [edges.count] 0, finite, or INFINITY */
    uint32_t *corner_begin; /* [vertex_count + 1] into corners */
    uint32_t *corners;      /* the corners at each vertex, ascending */
    uint8_t *flags;         /* [vertex_count] of enum cage_flag */
    uint8_t *sharp_count;   /* [vertex_count] edges of infinite sharpness there; 3: three and more */
    uint32_t *face_source;  /* [face_count] */
    size_t source_face_count;
    size_t face_left_out_count, first_face_left_out; /* the latter when there is one */
    size_t crease_unknown_count;                     /* creases that are no edge of the mesh */
    size_t nonmanifold_edge_count;
    size_t nonmanifold_vertex_count; /* vertices at a non-manifold edge or in several fans */
    size_t valence_max;              /* most corners at one vertex */
};

/* The mesh must be valid; creases may be NULL. Of several creases on one edge the sharpest counts.
 * ERROR_LIMIT when memory ends. */
bool cage_build(const struct mesh *mesh, const struct creases *creases, enum boundary_rule rule,
                struct cage *cage, struct arena *keep, struct arena scratch, struct error *err);

/* For makers of refined and of partial cages: cage_connect takes cage->mesh and cage->rule, whose faces name
 * no vertex twice, and makes edges, corners and the sharpness of open and non-manifold edges; then the maker
 * sets the finite sharpnesses, and cage_flag makes flags and counts. */
bool cage_connect(struct cage *cage, struct arena *keep, struct arena scratch, struct error *err);
void cage_flag(struct cage *cage);

/* True when edges, corners and flags fit the mesh. */
bool cage_is_valid(const struct cage *cage);

static inline uint32_t cage_next(const struct cage *cage, uint32_t c)
{
    return edges_next_corner(&cage->edges, &cage->mesh, c);
}
static inline uint32_t cage_previous(const struct cage *cage, uint32_t c)
{
    return edges_previous_corner(&cage->edges, &cage->mesh, c);
}
/* The first side on an edge stands for it: at each of its two ends exactly one corner sees the edge by that
 * side. */
static inline bool cage_side_is_first(const struct cage *cage, uint32_t side)
{
    return cage->edges.sides[cage->edges.side_begin[cage->edges.corner_edge[side]]] == side;
}

/* A step in a walk around a vertex: a corner there, and the side of its face by which to leave: the side that
 * starts at the corner or the side that ends there. */
struct spoke {
    uint32_t corner, leave;
};

/* Through the side's edge, which has two sides, into the next face. */
static inline struct spoke cage_turn(const struct cage *cage, struct spoke from)
{
    const struct edges *edges = &cage->edges;
    const uint32_t *pair = edges->sides + edges->side_begin[edges->corner_edge[from.leave]];
    uint32_t side = pair[0] == from.leave ? pair[1] : pair[0];
    if (cage->mesh.face_vertices[side] == cage->mesh.face_vertices[from.corner])
        return (struct spoke){side, cage_previous(cage, side)};
    uint32_t corner = cage_next(cage, side);
    return (struct spoke){corner, corner};
}
/* The other end of the edge by which a spoke leaves. */
static inline uint32_t cage_spoke_end(const struct cage *cage, struct spoke s)
{
    return cage->mesh.face_vertices[s.leave == s.corner ? cage_next(cage, s.corner) : s.leave];
}

#endif
