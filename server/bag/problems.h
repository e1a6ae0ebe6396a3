/* problems.h - what is wrong with a bag, gathered: a check goes on after the first. */
#ifndef BAG_PROBLEMS_H
#define BAG_PROBLEMS_H

#include "base/arena.h"

#define BAG_PROBLEMS_MAX 200 /* kept; more are counted */

enum bag_aspect {
    BAG_COMPLETE, /* every file that is named is there, every file that is there is named */
    BAG_VALID,    /* every file has the digests that are written of it, tag files have their form */
    BAG_SEALED,   /* the service's key signed the manifests */
    BAG_SIGNED,   /* each sign-off's signature fits */
    BAG_AGREES,   /* the documents speak of these files and of one another */
    BAG_JUDGED,   /* the record judged by the spec gives the audit */
    BAG_MEASURED, /* the files measured again give the record */
    BAG_ASPECT_COUNT
};

struct bag_problem {
    enum bag_aspect aspect;
    const char *path; /* of the file at fault; "" where there is none */
    const char *text; /* one sentence */
};
struct bag_problems {
    struct arena *keep; /* where texts go; set by whoever begins */
    size_t count, total, by_aspect[BAG_ASPECT_COUNT];
    struct bag_problem items[BAG_PROBLEMS_MAX];
};

/* Where the arena is full only the count tells of it. path is copied. */
void bag_problem_add(struct bag_problems *problems, enum bag_aspect aspect, const char *path,
                     const char *format, ...) __attribute__((format(printf, 4, 5)));

#endif
