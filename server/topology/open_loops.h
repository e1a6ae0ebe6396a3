/* open_loops.h - the open edges of a mesh, strung into loops.
 *
 * At each end of an open edge the walk goes through the faces around that end, across edges of two sides, to
 * the other open edge of the same umbrella; so a vertex where two loops touch does not merge them. This is
 * well defined in every shell without a non-manifold edge. In a shell that has one, the open edges are
 * gathered into connected groups instead (edges that meet in one fan), and is_group says so. Linear in the
 * corners. */
#ifndef TOPOLOGY_OPEN_LOOPS_H
#define TOPOLOGY_OPEN_LOOPS_H

#include "topology/fans.h"
#include "topology/shells.h"

struct open_loops {
    size_t count;         /* loops first, then groups */
    size_t loop_count;    /* how many are loops */
    uint32_t *edge_begin; /* [count + 1] into edges */
    uint32_t *edges;      /* every open edge once: in walking order in a loop, ascending in a group */
    uint32_t (*ends)[2];  /* the two vertices of each of these edges, the lower first */
    uint32_t *shell;      /* [count] */
    uint32_t
        *first_vertex; /* [count] where the walk of a loop starts; a group's lowest edge's lower vertex */
};

bool open_loops_build(const struct mesh *mesh, const struct edges *edges, const struct fans *fans,
                      const struct shells *shells, struct open_loops *loops, struct arena *keep,
                      struct arena scratch, struct error *err);

/* True when every open edge is in exactly one loop or group, of its own shell. */
bool open_loops_is_valid(const struct open_loops *loops, const struct mesh *mesh, const struct edges *edges,
                         const struct shells *shells);

#endif
