/* handoffs.h - what was handed over: for each the audit it rests on and the zip, which never changes. */
#ifndef STORE_HANDOFFS_H
#define STORE_HANDOFFS_H

#include "base/digest.h"
#include "store/upload.h"

struct store_handoff {
    int64_t id, audit, specimen, bytes;
    const char *name, *by, *created;
    const char *sha256; /* of the zip */
    const char *seal;   /* fingerprint of the key that sealed it */
};
struct store_handoff_list {
    size_t count;
    struct store_handoff *items; /* newest first */
};
bool store_handoff_get(struct store *store, int64_t id, struct arena *keep, struct store_handoff *handoff,
                       struct error *err);
/* Of an audit (ERROR_NOT_FOUND). */
bool store_handoff_list(struct store *store, int64_t audit, struct arena *keep,
                        struct store_handoff_list *list, struct error *err);

struct store_handoff_new {
    int64_t audit, specimen;
    int64_t revision; /* of the specimen: ERROR_BUSY where it changed since */
    const char *name, *by, *seal;
};
/* zip: a finished upload. The specimen's state becomes "handed over", and the log tells of it, in the same
 * transaction. */
bool store_handoff_add(struct store *store, const struct store_handoff_new *handoff,
                       const struct store_upload *zip, int64_t *id, struct error *err);
enum { STORE_BY_MAX = 255 }; /* bytes */
bool store_handoff_by_check(const char *by, struct error *err);

/* An empty file of the data folder without a name, gone when *fd is closed: for what is made or looked at
 * before it becomes something. ERROR_MACHINE, also where so many bytes would eat into the reserve of free
 * disk. */
bool store_scratch_file(struct store *store, uint64_t bytes, int *fd, struct error *err);

#endif
