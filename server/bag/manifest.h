/* manifest.h - one manifest of a bag, laid beside its files. */
#ifndef BAG_MANIFEST_H
#define BAG_MANIFEST_H

#include "bag/bag.h"
#include "bag/problems.h"

enum listing { LISTED_NOT, LISTED_RIGHT, LISTED_WRONG };

struct manifest {
    const char *path; /* "manifest-sha256.txt" */
    bool is_there, of_payload, is_wide;
    enum listing *listings; /* [bag->count] */
    size_t missing_count;
    const char **missing; /* listed, but not there; sorted */
};

/* Adds lines without the form "digest  path", files listed twice, and files that such a manifest may not
 * list. Errors as bag_check. */
bool manifest_read(const struct bag *bag, const char *path, struct arena *keep, struct manifest *manifest,
                   struct bag_problems *problems, struct error *err);
bool manifest_misses(const struct manifest *manifest, const char *path);

#endif
