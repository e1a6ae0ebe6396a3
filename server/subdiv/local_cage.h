/* local_cage.h - the surroundings of one face as a small cage of their own, so that they can be refined
 * alone.
 *
 * The surface over a face depends on nothing but the faces that touch it. The local cage has these, the face
 * itself as face 0, beginning at the corner asked for; its corners are the vertices 0, 1, 2, ... Flags,
 * valences and the edges at these vertices are those of the whole cage; at all other vertices they are not.
 */
#ifndef SUBDIV_LOCAL_CAGE_H
#define SUBDIV_LOCAL_CAGE_H

#include "subdiv/cage.h"

/* Numbers of the vertices and faces that are in the local cage at the moment, plus 1; all zero between calls.
 */
struct local_marks {
    uint32_t *vertices; /* [vertex_count of the whole cage] */
    uint32_t *faces;    /* [face_count] */
};

/* False when the arena is out of memory. */
bool local_marks_open(struct local_marks *marks, const struct cage *cage, struct arena *keep);

/* ERROR_LIMIT when memory ends. Time and memory go with the corners of the faces taken, whatever the size of
 * cage. */
bool local_cage_build(const struct cage *cage, uint32_t f, unsigned first, struct local_marks *marks,
                      struct cage *local, struct arena *keep, struct arena scratch, struct error *err);

/* A ball around all vertices of a local cage. The surface over face 0 lies in their hull. */
void local_cage_ball(const struct cage *local, vec3 *centre, double *radius);

#endif
