/* audit.h - a run judged by a spec, rule by rule.
 *
 * Pure: the same readings, spec and waivers give the same audit. What a record holds for each rule is read by
 * json/audit_json.h. */
#ifndef SPEC_AUDIT_H
#define SPEC_AUDIT_H

#include "spec/spec.h"

enum reading_state {
    READING_KNOWN,     /* lower and upper are certain */
    READING_UNBOUNDED, /* it rests on samples, and nothing says how far it may be off */
    READING_UNDEFINED, /* the record says null: not defined for this file */
    READING_ALONE,     /* it needs a reference, and the file was measured alone */
    READING_UNITLESS,  /* the file's unit of length is unknown, the limit has one */
    READING_ABSENT,    /* the record has no such key: made by other definitions, or not asked for */
};

/* In the unit of the rule's limit, before rounding. */
struct audit_reading {
    enum reading_state state;
    bool exact;   /* counted, not computed */
    bool sampled; /* the ends are four standard errors about a sampled value */
    double lower, upper;
    bool has_certified; /* of a sampled one: wider ends are known that are certain */
    double certified_lower, certified_upper;
};

/* No interval narrower than that is advised, or may be asked for, as a share of the diagonal: a value that is
 * judged is rounded to fewer digits (judged.h), and doubles have sixteen. */
#define AUDIT_CERTIFY_LEAST 1e-9

/* What would decide a rule that is undecided. */
enum decided_by {
    DECIDED_ALREADY,
    DECIDED_BY_NARROWER_INTERVAL, /* measure again with a finer --certify */
    DECIDED_BY_BETTER_SCANNER,    /* a smaller standard uncertainty */
    DECIDED_BY_REFERENCE,         /* measure against a scan */
    DECIDED_BY_UNITS,             /* state the unit of length */
    DECIDED_BY_OTHER_MEASURE,     /* this one has no bound: state the rule for one that has */
    DECIDED_BY_MENDING,           /* the value is not defined for a file like this */
    DECIDED_BY_MEASURING_AGAIN,   /* the record lacks it */
    DECIDED_BY_FEWER_FINDINGS,    /* there are more than the record lists one by one */
};
const char *decided_by_word(enum decided_by by); /* "", "narrower interval", "better scanner", ... */

struct audit_rule {
    const struct rule *rule;
    struct audit_reading reading;
    double lower, upper; /* rounded once (judged.h): what is shown and judged; NaN where not known */
    struct limit limit;
    double margin;        /* decision_margin; NaN where not known */
    bool has_probability; /* of conformity, where an uncertainty was stated */
    double probability_least, probability_greatest;
    enum outcome outcome;        /* of the rule itself, waived or not */
    const struct waiver *waiver; /* NULL: none that holds on the day */
    bool waiver_ran_out;         /* none holds, and the last day of one is over */
    enum decided_by decided_by;
    double decided_at; /* the certify, or the standard uncertainty, that is thought to do; NaN: none */
};

struct audit_counts {
    size_t conforms, does_not_conform, undecided,
        waived;             /* of required rules; a waived one is only in waived */
    size_t advisory_missed; /* advisory rules that do not conform or are undecided */
};

struct audit {
    enum outcome outcome;
    struct audit_counts counts;
    size_t rule_count;
    struct audit_rule *rules; /* [rule_count], the caller's */
};

/* One rule, no waiver looked at. Where certified ends decide it, they are the reading's, and samples are left
 * aside. */
struct audit_rule audit_judge_rule(const struct rule *rule, const struct audit_reading *reading,
                                   double certify);

/* readings and rules: [spec->rule_count]; certify: what the record was measured with. day: "2026-11-28", the
 * day for which waivers are looked at. Of required rules that are not waived: one that does not conform
 * decides, then one that is undecided; the audit conforms otherwise. Everything borrowed must outlive the
 * audit. */
struct audit audit_make(const struct spec *spec, const struct audit_reading *readings, double certify,
                        const struct waiver *waivers, size_t waiver_count, const char *day,
                        struct audit_rule *rules);

#endif
