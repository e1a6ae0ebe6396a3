/* hooks.h - addresses that are told of events, and what they have still to be told.
 *
 * A delivery is made in the transaction of what it tells of, and stays until it is accepted or given up: what
 * is sent twice after a crash has the same uid. */
#ifndef STORE_HOOKS_H
#define STORE_HOOKS_H

#include "store/store.h"

enum { STORE_URL_MAX = 2000, STORE_SECRET_MIN = 16, STORE_SECRET_MAX = 200, STORE_HOOKS_MAX = 50 };

struct store_hook {
    int64_t id, revision;
    const char *url;
    const char *events; /* words parted by blanks, with one before and after: " audit " */
    const char *created, *failing_since, *disabled_at, *disabled_reason; /* the last three may be NULL */
    int64_t waiting, delivered, failed; /* of the deliveries that are still listed */
};
struct store_hook_new {
    const char *url, *events, *secret;
};
/* ERROR_CONFLICT where there are STORE_HOOKS_MAX; the caller has looked at url and events. */
bool store_hook_add(struct store *store, const struct store_hook_new *hook, int64_t *id, struct error *err);
/* What waits for it is given up. Again: nothing happens. */
bool store_hook_withdraw(struct store *store, int64_t id, struct error *err);
/* ERROR_NOT_FOUND for one that was withdrawn. */
bool store_hook_get(struct store *store, int64_t id, struct arena *keep, struct store_hook *hook,
                    struct error *err);
struct store_hook_list {
    size_t count;
    struct store_hook *items; /* oldest first, without those that were withdrawn */
};
bool store_hook_list(struct store *store, struct arena *keep, struct store_hook_list *list,
                     struct error *err);
/* Adds a delivery "test", which is tried once, also where the hook is disabled. */
bool store_hook_test(struct store *store, int64_t id, int64_t *delivery, struct error *err);

struct store_delivery {
    int64_t id, hook, attempts, due_ms, last_status; /* last_status 0: no answer, or not tried */
    const char *uid, *event, *state, *created, *ended, *last_error, *last_answer;
    const char *body, *url, *secret; /* NULL in lists */
};
struct store_delivery_page {
    size_t count;
    struct store_delivery *items; /* newest first */
    const char *next;
    int64_t total;
};
bool store_delivery_list(struct store *store, int64_t hook, size_t limit, const char *cursor,
                         struct arena *keep, struct store_delivery_page *page, struct error *err);

/* --- for who sends --- */

/* The one that has waited longest of those that are due, with its body as it is now; else *found is false and
 * *next_ms says when the next one is (0: none waits). */
bool store_delivery_due(struct store *store, int64_t now_ms, struct arena *keep,
                        struct store_delivery *delivery, bool *found, int64_t *next_ms, struct error *err);

struct store_attempt {
    bool accepted;
    int64_t status;          /* of the answer; 0: none */
    const char *error;       /* one sentence; NULL when accepted */
    const char *answer;      /* how the answer began; NULL: none */
    int64_t again_ms;        /* when it is tried next, unless accepted */
    int64_t disable_after_s; /* a hook that has failed for so long is disabled */
};
/* Accepted: the hook is well again, and no longer disabled. */
bool store_delivery_tried(struct store *store, const struct store_delivery *delivery,
                          const struct store_attempt *attempt, struct error *err);

/* Milliseconds since 1970. */
int64_t store_now_ms(void);

/* --- what feeds tell --- */

struct store_told {
    int64_t specimen, about_id;
    const char *created, *kind, *who; /* who may be NULL */
    const char *text, *about, *catalogue_number;
};
struct store_told_list {
    size_t count;
    struct store_told *items; /* newest first */
};
/* The last steps of the log that are audits, sign-offs and handoffs; specimen 0: of all; limit 1..500. */
bool store_told_list(struct store *store, int64_t specimen, size_t limit, struct arena *keep,
                     struct store_told_list *list, struct error *err);

/* --- the collection itself --- */

/* "9c1b...": a version 4 UUID (RFC 9562) that it keeps. */
bool store_collection_uuid(struct store *store, struct arena *keep, const char **uuid, struct error *err);

#endif
