/* genus.h - Euler characteristic and genus, shell by shell and in total.
 *
 * chi = V - E + F over the vertices that faces use. A shell has a genus only when it is a surface: no edge
 * with more than two faces, no vertex where it has two fans, and orientable; then g = (2 - b - chi) / 2 with
 * b its open loops (M. Botsch et al., Polygon Mesh Processing, 2010, chapter 1). A vertex where two different
 * shells touch spoils neither: chi of the whole is then 1 less than the sum. The total genus is the sum over
 * shells, and undefined where one shell has none. */
#ifndef TOPOLOGY_GENUS_H
#define TOPOLOGY_GENUS_H

#include "topology/open_loops.h"

#define GENUS_UNDEFINED INT64_MIN

struct shell_numbers {
    uint32_t vertices, edges, open_edges, nonmanifold_edges, inconsistent_edges;
    bool pinched;       /* has two fans at one vertex */
    bool manifold;      /* neither pinched nor with a non-manifold edge */
    int64_t open_loops; /* GENUS_UNDEFINED beside a non-manifold edge */
    int64_t euler_characteristic, genus;
};

struct genus {
    struct shell_numbers *shells; /* [shell count] in the order of struct shells */
    int64_t open_loops;           /* GENUS_UNDEFINED when the mesh has a non-manifold edge */
    int64_t euler_characteristic, genus;
};

bool genus_build(const struct mesh *mesh, const struct edges *edges, const struct fans *fans,
                 const struct shells *shells, const struct open_loops *loops, struct genus *genus,
                 struct arena *keep, struct arena scratch, struct error *err);

#endif
