/* spec.h - written acceptance rules, as they were read; and a waiver of one of them.
 *
 * A spec is plain data: json/spec_json.h reads it and says what is wrong with it. Every string belongs to the
 * document it was read from, or to the list of measures. */
#ifndef SPEC_SPEC_H
#define SPEC_SPEC_H

#include "spec/decision.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    SPEC_RULES_MAX = 200,
    SPEC_KINDS_MAX = 32,     /* kinds of finding in one rule */
    SPEC_SIGNATURES_MAX = 2, /* persons who sign: "two-person rule" */
};

/* What a limit is stated in. Lengths, areas and volumes of a record are converted into it. */
enum limit_unit {
    LIMIT_COUNT,
    LIMIT_RATIO,
    LIMIT_SHARE,
    LIMIT_DEGREE,
    LIMIT_MM, /* of an area: square millimetres; of a volume: cubic ones */
    LIMIT_CM,
    LIMIT_M,
    LIMIT_IN,
    LIMIT_DIAGONAL, /* the box diagonal of the reference, or of the subject where it was measured alone */
    LIMIT_UNIT_COUNT
};
const char *
limit_unit_word(enum limit_unit unit); /* "count", "ratio", "share", "degree", "mm", ..., "diagonal" */
bool limit_unit_parse(const char *word, enum limit_unit *unit);
/* Metres of one mm, cm, m, in; 0 for the others. An inch is 25.4 mm (ISO 80000-3). */
double limit_unit_metres(enum limit_unit unit);

enum rule_about {
    RULE_MEASURE,   /* a number of the record */
    RULE_STATEMENT, /* a true or false of it, such as subject.topology.closed */
    RULE_FINDINGS,  /* a number over its findings */
};

enum findings_take {
    TAKE_COUNT,        /* how many */
    TAKE_LARGEST_SIZE, /* the size of the largest, a length */
    TAKE_FACES,        /* faces in all of them */
    TAKE_COUNT_OF_WAYS
};
const char *findings_take_word(enum findings_take take); /* "count", "largest size", "faces" */
bool findings_take_parse(const char *word, enum findings_take *take);

struct rule_findings {
    size_t kind_count; /* 0: of every kind */
    const char *kinds[SPEC_KINDS_MAX];
    const char *severity; /* "fault", "warning", "note"; NULL: any */
    const char *mesh;     /* "subject", "reference"; NULL: both */
    enum findings_take take;
};

struct rule {
    const char *id;     /* short, unique in the spec: "closed" */
    const char *name;   /* what it is called where it is shown */
    const char *reason; /* why the rule is there */
    const char *source; /* where it was published */
    enum rule_about about;
    const char *path;              /* of RULE_MEASURE and RULE_STATEMENT, in the record */
    struct rule_findings findings; /* of RULE_FINDINGS */
    bool expected;                 /* of RULE_STATEMENT */
    enum relation relation;
    double limit;
    enum limit_unit unit;
    int power;     /* of the unit: 1 lengths, 2 areas, 3 volumes, 0 others */
    bool required; /* else advisory */
    bool guarded;
    double standard_uncertainty; /* in unit^power; 0: none was stated */
    double guard_factor;         /* the guard band is this many standard uncertainties */
    const char *uncertainty_source;
};

struct spec {
    void *document; /* owns the strings */
    const char *name, *purpose;
    int version;
    bool for_scan, for_cage; /* kinds of subject it may judge */
    int signatures;          /* persons who have to sign, 1 or 2 */
    char sha256[65];         /* of its RFC 8785 text */
    size_t rule_count;
    struct rule *rules;
};

/* That a rule need not hold, for a reason, stated by somebody, until the end of a day. */
struct waiver {
    const char *rule, *reason, *author;
    const char *expires; /* "2026-12-31", the last day it holds */
};

#endif
