/* incidence.h - which faces name each vertex; indices only.
 *
 * Faces are counted, then put in their places, in ranges of about as many corners, each by a thread of its
 * own. Linear in the corners. */
#ifndef TOPOLOGY_INCIDENCE_H
#define TOPOLOGY_INCIDENCE_H

#include "base/arena.h"

struct incidence {
    uint32_t *begin; /* [vertex_count + 1] into faces */
    uint32_t *faces; /* those of each vertex, ascending; a face that names one twice is there twice */
};

/* The corners of face f: vertices[offsets[f]] ... vertices[offsets[f + 1] - 1]; or, where offsets is NULL,
 * three of each. */
struct incidence_faces {
    size_t vertex_count, face_count;
    const uint32_t *vertices, *offsets;
};

/* The arrays come from keep; what is left of it serves meanwhile. The same for any number of threads.
 * ERROR_LIMIT when it is too small. */
bool incidence_build(const struct incidence_faces *of, size_t threads, struct incidence *incidence,
                     struct arena *keep, struct error *err);

#endif
