/* steps.h - the log of what was done: steps are only ever added, each in the transaction of what it tells.
 *
 * The store writes its own ('file added', 'version withdrawn', 'spec added', 'audit made', 'waiver added',
 * 'waiver withdrawn', 'signed off', 'key first used'); inside the room that is inside.h's STEP_INSERT. */
#ifndef STORE_STEPS_H
#define STORE_STEPS_H

#include "store/store.h"

enum { STORE_STEP_TEXT_MAX = 4800 };

struct store_step {
    int64_t id;
    int64_t specimen; /* 0: of the whole service */
    const char *created;
    const char *kind;  /* "audit made", ... */
    const char *who;   /* as stated; NULL: nobody was named */
    const char *text;  /* "cage 2 by print 1: conforms" */
    const char *about; /* a row of what: "audit", "spec", "version", "waiver", "sign-off", ... */
    int64_t about_id;
};
/* In a transaction of its own, for what is done outside the store. id and created are made here. */
bool store_step_add(struct store *store, const struct store_step *step, struct error *err);

struct store_step_page {
    size_t count;
    struct store_step *items; /* newest first */
    const char *next;
    int64_t total;
};
/* Of a specimen (ERROR_NOT_FOUND), or 0: of all and of the service; limit 1..500; cursor as in specimen.h. */
bool store_step_list(struct store *store, int64_t specimen, size_t limit, const char *cursor,
                     struct arena *keep, struct store_step_page *page, struct error *err);

#endif
