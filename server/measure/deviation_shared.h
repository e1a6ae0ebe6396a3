/* deviation_shared.h - the triangles that two surfaces both have.
 *
 * Two triangles are the same when they have the same three corners, coordinate by coordinate (+0 is -0), in
 * any order. Found in linear time: side by side where both lists have nearly the same order, else by hashing;
 * what is found is compared, not only its hash. */
#ifndef MEASURE_DEVIATION_SHARED_H
#define MEASURE_DEVIATION_SHARED_H

#include "measure/deviation_surface.h"

struct shared_triangles {
    uint32_t *twins[2]; /* [triangle_count] of each surface's triangles, as listed: the number of the same
                         * one of the other, or BVH_NONE; NULL where none is shared */
    size_t counts[2];   /* how many have a twin */
    bool unique;        /* twins are the same for any number of threads; else only whether there is one is */
};

/* Of surfaces that need no index yet. twins: from keep, which may not be scratch. ERROR_LIMIT when memory
 * ends. */
bool shared_find(const struct deviation_surface *const surfaces[2], size_t threads,
                 struct shared_triangles *shared, struct arena *keep, struct arena scratch,
                 struct error *err);

#endif
