/* standing.h - how a specimen stands by a spec, from what is known of its newest audit.
 *
 * Pure: times are RFC 3339 UTC text, as the store has them, and are compared as text. */
#ifndef SPEC_STANDING_H
#define SPEC_STANDING_H

#include <stdbool.h>
#include <stddef.h>

/* In the order of what asks for somebody. */
enum standing {
    STANDING_BLOCKED,
    STANDING_UNDECIDED,
    STANDING_NOT_AUDITED,
    STANDING_NOT_MEASURED,
    STANDING_WAIVED,
    STANDING_READY,
    STANDING_COUNT
};
/* "blocked", "undecided", "not audited", "not measured", "waived", "ready". */
const char *standing_word(enum standing standing);
bool standing_parse(const char *word, enum standing *standing);

/* Why a specimen is not audited. */
enum standing_cause {
    STANDING_NO_CAUSE,
    STANDING_NO_AUDIT,    /* nobody has audited its newest run by this spec */
    STANDING_OLDER_SPEC,  /* its newest run was audited by an older version of the spec only */
    STANDING_WAIVER_OVER, /* it conformed thanks to waivers, and one of them holds no longer */
};
/* "", "no audit", "older spec", "waiver over". */
const char *standing_cause_word(enum standing_cause cause);

/* Of one specimen and one version of a spec. Its newest run is that of the newest version, not withdrawn,
 * that is measured and of a kind that the spec is for. */
struct standing_facts {
    const char *specimen_created;
    const char *run_created;    /* of the newest run; NULL: none */
    const char *spec_created;   /* of the version of the spec */
    const char *outcome;        /* of the newest audit of that run by that version; NULL: none */
    bool has_waived;            /* rules of it are waived */
    bool has_older;             /* where there is none: an older version has audited the run */
    const char *series_created; /* of the first audit of an unbroken series, by the spec's name, of the same
                                   standing that ends in that one */
    const char *waived_until;   /* the first moment at which one of its waived rules has no waiver */
};

struct standing_state {
    enum standing standing;
    enum standing_cause cause;
    const char *since; /* one of the facts' strings */
};
/* A newer run, or a newer spec, that nobody has audited yet does not end a series: what counts is what the
 * audits said. */
struct standing_state standing_of(const struct standing_facts *facts, const char *now);

#endif
