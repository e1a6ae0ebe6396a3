/* duplicates.h - faces that have the same vertices as an earlier face.
 *
 * Two faces are copies of each other when they name the same vertices equally often, in any rotation or
 * direction; a face that joins the same corners in another order counts as well. Linear in the corners, also
 * with thousands of copies of one face. */
#ifndef TOPOLOGY_DUPLICATES_H
#define TOPOLOGY_DUPLICATES_H

#include "topology/edges.h"

struct duplicates {
    size_t extra_count; /* copies beyond the first of each set of vertices */
    uint32_t *
        first_copy; /* [face_count] the first face with the same vertices: the face itself where it is that */
};

/* The number of threads changes nothing. ERROR_LIMIT when memory ends. */
bool duplicates_build(const struct mesh *mesh, const struct edges *edges, size_t threads,
                      struct duplicates *duplicates, struct arena *keep, struct arena scratch,
                      struct error *err);

#endif
