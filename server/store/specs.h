/* specs.h - specs in their versions: never changed, an edit is the next version of the name. */
#ifndef STORE_SPECS_H
#define STORE_SPECS_H

#include "store/store.h"

#include "base/digest.h"

enum { STORE_SPEC_NAME_MAX = 200 };

struct store_spec {
    int64_t id, version, revision;
    const char *name, *sha256, *created;
    const char *body; /* RFC 8785 JSON; NULL in lists */
    bool is_latest;   /* of its name */
    int64_t audit_count;
};
struct store_spec_new {
    const char *name, *body;
    int64_t version; /* the next one of that name; ERROR_CONFLICT where somebody was quicker */
    char sha256[DIGEST_HEX_SIZE];
};
/* *created false: those bytes are there already, as *id. */
bool store_spec_add(struct store *store, const struct store_spec_new *spec, int64_t *id, bool *created,
                    struct error *err);
bool store_spec_get(struct store *store, int64_t id, struct arena *keep, struct store_spec *spec,
                    struct error *err);
/* The latest version of a name; *found false where there is none. */
bool store_spec_latest(struct store *store, const char *name, struct arena *keep, struct store_spec *spec,
                       bool *found, struct error *err);

struct store_spec_list {
    size_t count;
    struct store_spec *items; /* by name, latest version first */
};
bool store_spec_list(struct store *store, struct arena *keep, struct store_spec_list *list,
                     struct error *err);

#endif
