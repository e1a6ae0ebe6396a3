/* ring.h - one vertex with its edges and faces, taken apart from the mesh and refined alone.
 *
 * After a step, the vertex point, the edge points and the face points around a vertex depend on nothing but
 * the vertex, the ends of its edges and the face points of its faces. So a ring can be refined for ever
 * without its mesh: that gives limits where edges are semi-sharp, where faces are not quads, and at darts. */
#ifndef SUBDIV_RING_H
#define SUBDIV_RING_H

#include "subdiv/cage.h"

struct ring {
    vec3 vertex;
    bool fixed;
    size_t edge_count, face_count;
    vec3 *ends;            /* [edge_count] */
    double *sharpness;     /* [edge_count] */
    vec3 *face_points;     /* [face_count] of the next step */
    uint32_t (*sides)[2];  /* [face_count] the two edges of each face here */
    vec3 *face_sums;       /* [edge_count] for a step */
    uint32_t *edge_places; /* [edges.count of the cage] used while gathering */
};

/* Room for any vertex of the cage; false when the arena is out of memory. */
bool ring_open(struct ring *ring, const struct cage *cage, struct arena *keep);

/* The ring of a vertex that has a face, in the order of its corners. face_points of all faces, or NULL to
 * work out those needed. */
void ring_gather(struct ring *ring, const struct cage *cage, const vec3 *face_points, uint32_t v);

/* The same in the order of the fan, counter-clockwise where the face of the first corner is: face i lies
 * between edges i and i + 1 (the last one: and 0, in a closed fan). The vertex must have one closed or one
 * open fan. */
void ring_gather_fan(struct ring *ring, const struct cage *cage, const vec3 *face_points, uint32_t v);

/* One step: all faces are quads from then on. */
void ring_refine(struct ring *ring);

/* How many edges are infinitely sharp, and whether any is semi-sharp. */
size_t ring_sharp_count(const struct ring *ring);
bool ring_is_semi_sharp(const struct ring *ring);

#endif
