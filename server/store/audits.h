/* audits.h - runs judged by a spec: one row for each time the outcome was another. */
#ifndef STORE_AUDITS_H
#define STORE_AUDITS_H

#include "base/digest.h"
#include "store/store.h"

struct store_audit {
    int64_t id, run, spec, specimen, version, number, spec_version, waived, revision;
    const char *kind, *catalogue_number, *spec_name, *outcome, *sha256, *created;
    int64_t sign_off_count;
    const char *body; /* NULL in lists */
};
struct store_audit_new {
    int64_t run, spec, waived;
    const char *outcome, *body;
    char sha256[DIGEST_HEX_SIZE];
};
/* *created false: the last audit of the run by that spec has the same bytes; it is *id. */
bool store_audit_add(struct store *store, const struct store_audit_new *audit, int64_t *id, bool *created,
                     struct error *err);
bool store_audit_get(struct store *store, int64_t id, struct arena *keep, struct store_audit *audit,
                     struct error *err);

struct store_audit_query {
    int64_t specimen, run, spec; /* 0: of all */
    size_t limit;                /* 1..500 */
    const char *cursor;
};
struct store_audit_page {
    size_t count;
    struct store_audit *items; /* newest first */
    const char *next;
    int64_t total;
};
bool store_audit_list(struct store *store, const struct store_audit_query *query, struct arena *keep,
                      struct store_audit_page *page, struct error *err);

#endif
