/* standing.h - how every specimen stands by a spec, and which rules hold it up.
 *
 * Retired specimens are left out: nobody waits for them. */
#ifndef STORE_STANDING_H
#define STORE_STANDING_H

#include "spec/standing.h"
#include "store/store.h"

struct store_standing {
    int64_t specimen, version, number, run, audit; /* version, run, audit 0: none */
    const char *kind, *catalogue_number, *title;   /* kind NULL: not measured */
    struct standing_facts facts;                   /* all of its holds only by store_standing_holds */
    struct standing_state state;
    const char *audit_created;
    /* of the newest audit, by store_standing_holds: */
    int64_t signer_count;                /* persons who signed it off */
    const char *signed_at, *handed_over; /* the last time; NULL: never */
};

struct store_standing_query {
    int64_t spec; /* the version that is asked for */
    bool for_scan, for_cage;
    const char *text; /* part of catalogue number or title; NULL: all */
    int64_t specimen; /* that one alone, retired or not; 0: all */
};
struct store_standing_list {
    size_t count;
    struct store_standing *items; /* by catalogue number; with `specimen` at most one */
};
bool store_standing_list(struct store *store, const struct store_standing_query *query, struct arena *keep,
                         struct store_standing_list *list, struct error *err);

/* Fills the holds, sign-offs and handoffs of some of the list's items. */
bool store_standing_holds(struct store *store, struct store_standing *const *items, size_t count,
                          struct arena *keep, struct error *err);

#endif
