/* patches.h - triangles that stand for a Catmull-Clark limit surface, each with a certified distance.
 *
 * Every triangle T has a piece S_T of the limit surface over one control face, such that
 *     every point of S_T is within eps of T, and every point of T is within eps of S_T.
 * The pieces together are the whole limit surface. So for any point x, with d the distance to a set,
 *     d(x, limit) <= d(x, T) + eps_T for every T,     d(x, limit) >= min over T of (d(x, T) - eps_T).
 *
 * Proof. A bicubic piece becomes a grid of points of its own, two triangles a cell, with the eps of
 * grid_fit.h, or, where that does, one quad of its corners with the eps of quad_fit.h. So does a quad around
 * an extraordinary corner, with all of its pieces, or what is left there after many steps: two triangles over
 * its four corner limits, for which quad_fit.h gives an eps such that every point of the surface S over it is
 * within eps of one of the two, and every point of each is within eps of S; let S_T be the points of S within
 * eps of T. Where a vertex has more than NET_VALENCE_MAX faces, S and T lie in the box of the faces that
 * touch the face, since both lie in the hull of their vertices, and eps is its diagonal. Rounding is part of
 * eps: 2^-42 of the largest coordinate, since some hundred operations of 2^-53 each lie between a cage and a
 * point, and more where sums over a large valence do: keep the cage near the origin.
 *
 * A piece has as many cells as the wanted eps asks for along each side, up to `side_max`, and is halved first
 * where the halves then need fewer: eps is larger only where side_max, the steps towards an extraordinary
 * corner or the room of one face's tree end, and true. A grid shares its points. Neighbouring pieces may be
 * cut differently: triangles need not meet along common edges, though points that are limits of control
 * vertices are shared. Distances do not need more. Boundaries and creases are exact: no triangle bridges one,
 * since none reaches over two control faces. At non-manifold edges and vertices and over faces left out, see
 * cage.h.
 *
 * Faces do not depend on each other: chunks of them may be built on several threads, each with arenas of its
 * own, and joined in order; the result is the same for any chunks. Time and memory are linear in the faces; a
 * face on a semi-sharp edge costs about as many times as much as one at an extraordinary vertex as the edge
 * is sharp. How much a face costs goes with the eps that is wanted: room for work keeps it in bounds. */
#ifndef SUBDIV_PATCHES_H
#define SUBDIV_PATCHES_H

#include "subdiv/cage.h"

#define LIMIT_SIDE_DEFAULT 1024

struct limit_settings {
    double eps;        /* wanted, in the units of the cage; not negative */
    uint32_t side_max; /* cells along a side of a grid, at most; at most 4096 */
};

/* Where the surface is wanted: pieces of a control face that are farther from all of its places than their
 * reach, as boxes around their control points tell it, are left out. */
struct limit_place {
    aabb box; /* in the units of the cage */
    double reach;
};
struct limit_choice {
    const struct limit_place *places;
    const size_t *begin;  /* [face_count of the control mesh + 1] into list */
    const uint32_t *list; /* places, face by face */
};

/* What all chunks share. */
struct limit_base {
    struct cage cage; /* refined once, where many faces are not quads: face_source tells the control faces */
    size_t vertex_count; /* of the control mesh: the first vertices of cage are theirs */
    vec3 *limits;        /* [cage.mesh.vertex_count] */
    aabb *vertex_boxes;  /* of the faces at each vertex; NULL when no valence is too large */
    struct limit_settings settings;
    const struct limit_choice *choice;                       /* NULL: all of the surface */
    double rounding;                                         /* part of every eps */
    size_t nonmanifold_edge_count, nonmanifold_vertex_count; /* of the control mesh */
};

struct limit_mesh {
    size_t position_count, triangle_count;
    vec3 *positions; /* limit points; the first are the limits of all control vertices, in their order */
    uint32_t (*triangles)[3]; /* [triangle_count] counter-clockwise like their face */
    uint32_t *faces;          /* [triangle_count] control face, ascending */
    double *eps;              /* [triangle_count] */
    double eps_max;           /* 0 without triangles */
    size_t over_count;        /* triangles whose eps is larger than wanted */
    size_t left_out_count, nonmanifold_edge_count, nonmanifold_vertex_count; /* see cage.h */
};

/* Everything at once. The mesh must be valid, creases may be NULL. ERROR_LIMIT when memory ends. */
bool limit_mesh_build(const struct mesh *mesh, const struct creases *creases, enum boundary_rule rule,
                      struct limit_settings settings, struct limit_mesh *limit, struct arena *keep,
                      struct arena scratch, struct error *err);

/* The same in steps. The cage is copied or refined into base and must outlive it. */
bool limit_base_build(const struct cage *cage, struct limit_settings settings, struct limit_base *base,
                      struct arena *keep, struct arena scratch, struct error *err);

/* How much a chunk may be. */
struct limit_room {
    size_t quads;
    size_t work; /* looks at a bicubic piece, or at a face around a corner that is refined */
};
static inline struct limit_room limit_room_any(void)
{
    return (struct limit_room){SIZE_MAX, SIZE_MAX};
}
struct limit_chunk {
    size_t face_count; /* looked at to the end */
    size_t quad_count, work;
    size_t point_count; /* besides the limits of control vertices */
    bool too_many;      /* nothing is kept: more than there is room for */
    struct limit_grid *first, *last;
};
/* The pieces of faces first to end - 1 of base->cage; their memory is taken from keep. Where there is no room
 * for them, they are not kept, nor counted to the end: no more work is done than there is room for and that
 * of a face. */
bool limit_chunk_build(const struct limit_base *base, size_t first, size_t end, struct limit_room room,
                       struct limit_chunk *chunk, struct arena *keep, struct arena scratch,
                       struct error *err);
/* Chunks of faces, in order; none that is too many. */
bool limit_mesh_join(const struct limit_base *base, const struct limit_chunk *chunks, size_t chunk_count,
                     struct limit_mesh *limit, struct arena *keep, struct error *err);

/* True when every triangle names positions, every face ascends and no eps is negative. */
bool limit_mesh_is_valid(const struct limit_mesh *limit);

#endif
