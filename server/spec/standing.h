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

/* Why a specimen is not audited, or what its newest audit does not know yet. */
enum standing_cause {
    STANDING_NO_CAUSE,
    STANDING_NO_AUDIT,     /* nobody has audited its newest run by this spec */
    STANDING_OLDER_SPEC,   /* its newest run was audited by an older version of the spec only */
    STANDING_WAIVER_OVER,  /* a waiver that the audit counts holds no longer */
    STANDING_WAIVER_ADDED, /* a waiver that the audit does not count holds by now, and none is over */
};
/* "", "no audit", "older spec", "waiver over", "waiver added". */
const char *standing_cause_word(enum standing_cause cause);

/* A required rule that an audit found not to conform or undecided. What it found stays; whether the rule is
 * waived is asked of the waivers there are now. */
struct standing_hold {
    const char *rule, *name;
    const char *outcome;      /* "does not conform" or "undecided" */
    bool was_waived;          /* in the audit */
    bool waived;              /* now */
    const char *turned;       /* since when it is, or is no longer, waived; NULL: it never was */
    const char *waived_until; /* where it is waived */
};

/* Of one specimen and one version of a spec. Its newest run is that of the newest version, not withdrawn,
 * that is measured and of a kind that the spec is for. */
struct standing_facts {
    const char *specimen_created;
    const char *run_created;    /* of the newest run; NULL: none */
    const char *spec_created;   /* of the version of the spec */
    const char *outcome;        /* of the newest audit of that run by that version; NULL: none */
    bool has_older;             /* where there is none: an older version has audited the run */
    const char *series_created; /* of the first audit of an unbroken series, by the spec's name, of the same
                                   standing that ends in that one; what other audits of the same run and
                                   version said of its waivers does not break it */
    /* of that audit; 0: nothing holds the specimen up, or no waiver of the spec was ever given to it */
    size_t hold_count;
    const struct standing_hold *holds;
};

struct standing_state {
    enum standing standing;
    enum standing_cause cause;
    const char *since;        /* one of the facts' strings */
    const char *waived_until; /* when the first of the waivers in force ends; NULL: there are none */
};
/* The rules as the newest audit found them, with the waivers of now. A newer run, or a newer spec, that
 * nobody has audited yet does not end a series: what counts is what the audits said. */
struct standing_state standing_of(const struct standing_facts *facts);
/* Whether an audit made now would say anything new: there is a cause. */
bool standing_asks_audit(const struct standing_state *state);

#endif
