/* waivers.h - that a rule of a spec need not hold for a specimen, for a reason, to the end of a day. */
#ifndef STORE_WAIVERS_H
#define STORE_WAIVERS_H

#include "store/store.h"

enum { STORE_AUTHOR_MAX = 200, STORE_REASON_MAX = 2000, STORE_RULE_MAX = 200 };

struct store_waiver {
    int64_t id, specimen, revision;
    const char *spec_name, *rule, *reason, *author, *expires, *created;
    const char *withdrawn_at; /* NULL: it was not */
};
/* id, revision, created and withdrawn_at are made here. expires must be a day; whoever calls has looked. */
bool store_waiver_add(struct store *store, const struct store_waiver *waiver, int64_t *id, struct error *err);
/* Again: nothing happens. */
bool store_waiver_withdraw(struct store *store, int64_t id, struct error *err);
bool store_waiver_get(struct store *store, int64_t id, struct arena *keep, struct store_waiver *waiver,
                      struct error *err);

struct store_waiver_list {
    size_t count;
    struct store_waiver *items; /* oldest first */
};
/* Of a specimen; spec_name NULL: for every spec, withdrawn ones too; else those in force for it. */
bool store_waiver_list(struct store *store, int64_t specimen, const char *spec_name, struct arena *keep,
                       struct store_waiver_list *list, struct error *err);

#endif
