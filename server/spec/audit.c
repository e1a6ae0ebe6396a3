/* audit.c - each rule judged, then all of them together. */
#include "spec/audit.h"

#include "spec/judged.h"

#include <math.h>
#include <string.h>

const char *decided_by_word(enum decided_by by)
{
    static const char *const words[] = {
        [DECIDED_ALREADY] = "",
        [DECIDED_BY_NARROWER_INTERVAL] = "narrower interval",
        [DECIDED_BY_BETTER_SCANNER] = "better scanner",
        [DECIDED_BY_REFERENCE] = "reference",
        [DECIDED_BY_UNITS] = "units",
        [DECIDED_BY_OTHER_MEASURE] = "other measure",
        [DECIDED_BY_MENDING] = "mending",
        [DECIDED_BY_MEASURING_AGAIN] = "measuring again",
        [DECIDED_BY_FEWER_FINDINGS] = "fewer findings",
    };
    return words[by];
}

static enum decided_by decided_when_unknown(enum reading_state state)
{
    switch (state) {
    case READING_UNBOUNDED:
        return DECIDED_BY_OTHER_MEASURE;
    case READING_UNDEFINED:
        return DECIDED_BY_MENDING;
    case READING_ALONE:
        return DECIDED_BY_REFERENCE;
    case READING_UNITLESS:
        return DECIDED_BY_UNITS;
    case READING_ABSENT:
        return DECIDED_BY_MEASURING_AGAIN;
    case READING_KNOWN:
        break;
    }
    return DECIDED_ALREADY;
}

static void round_once(struct audit_rule *judged)
{
    const struct audit_reading *reading = &judged->reading;
    if (reading->exact || reading->lower == reading->upper) {
        judged->lower = reading->exact ? reading->lower : judged_nearest(reading->lower);
        judged->upper = reading->exact ? reading->upper : judged->lower;
        return;
    }
    judged->lower = judged_down(reading->lower);
    judged->upper = judged_up(reading->upper);
}

/* Whether it is the interval that keeps a rule open: it would be decided if the value were known to be any
 * one of its ends. Where even that would not do, the guard band keeps it open. */
static bool interval_keeps_open(const struct audit_rule *judged)
{
    return judged->lower < judged->upper
           && (decision_make(&judged->limit, judged->lower, judged->lower) != OUTCOME_UNDECIDED
               || decision_make(&judged->limit, judged->upper, judged->upper) != OUTCOME_UNDECIDED);
}

/* A tenth of the width that was asked for: common practice, no source. NaN where that is not to be had. */
static double finer_certify(double certify)
{
    double finer = judged_nearest(certify / 10);
    return finer >= AUDIT_CERTIFY_LEAST ? finer : NAN;
}

/* Whether the rule would be decided with that standard uncertainty. */
static bool decides(const struct audit_rule *judged, double standard_uncertainty)
{
    struct limit limit = judged->limit;
    limit.guard_band = judged->rule->guard_factor * standard_uncertainty;
    return decision_make(&limit, judged->lower, judged->upper) != OUTCOME_UNDECIDED;
}

/* With this standard uncertainty the guard band would end just before the value; NaN where none does, because
 * the value is at the limit, or beyond it on one end and within it on the other. */
static double scanner_that_decides(const struct audit_rule *judged)
{
    double inner = fabs(judged->limit.value - judged->upper),
           outer = fabs(judged->limit.value - judged->lower);
    double most = judged_down(fmin(inner, outer) / judged->rule->guard_factor);
    if (!decides(judged, most))
        most = judged_down(most * (1 - 1e-5)); /* one step of the last digit, or ten */
    return most > 0 && decides(judged, most) ? most : NAN;
}

static void say_what_decides(struct audit_rule *judged, double certify)
{
    judged->decided_at = NAN;
    if (judged->outcome != OUTCOME_UNDECIDED)
        judged->decided_by = DECIDED_ALREADY;
    else if (judged->reading.state != READING_KNOWN)
        judged->decided_by = decided_when_unknown(judged->reading.state);
    else if (judged->rule->about == RULE_FINDINGS && judged->lower < judged->upper)
        judged->decided_by = DECIDED_BY_FEWER_FINDINGS;
    else if (judged->limit.guard_band > 0 && !interval_keeps_open(judged)) {
        judged->decided_by = DECIDED_BY_BETTER_SCANNER;
        judged->decided_at = scanner_that_decides(judged);
    } else {
        judged->decided_by = DECIDED_BY_NARROWER_INTERVAL;
        judged->decided_at = finer_certify(certify);
    }
}

static void find_waiver(const struct waiver *waivers, size_t waiver_count, const char *day,
                        struct audit_rule *judged)
{
    for (size_t i = 0; i < waiver_count; i++) {
        if (strcmp(waivers[i].rule, judged->rule->id) != 0)
            continue;
        if (strcmp(waivers[i].expires, day) >= 0)
            judged->waiver = &waivers[i];
        else
            judged->waiver_ran_out = true;
    }
    judged->waiver_ran_out = judged->waiver_ran_out && !judged->waiver;
}

static struct audit_rule judge_as_read(const struct rule *rule, const struct audit_reading *reading,
                                       double certify)
{
    struct audit_rule judged = {.rule = rule,
                                .reading = *reading,
                                .lower = NAN,
                                .upper = NAN,
                                .margin = NAN,
                                .outcome = OUTCOME_UNDECIDED};
    judged.limit = (struct limit){rule->relation, rule->limit,
                                  rule->guarded ? rule->guard_factor * rule->standard_uncertainty : 0};
    if (reading->state == READING_KNOWN) {
        round_once(&judged);
        judged.outcome = decision_make(&judged.limit, judged.lower, judged.upper);
        judged.margin = decision_margin(&judged.limit, judged.lower, judged.upper);
        judged.has_probability =
            rule->standard_uncertainty > 0
            && decision_probability(&judged.limit, judged.lower, judged.upper, rule->standard_uncertainty,
                                    &judged.probability_least, &judged.probability_greatest);
    }
    say_what_decides(&judged, certify);
    return judged;
}

struct audit_rule audit_judge_rule(const struct rule *rule, const struct audit_reading *reading,
                                   double certify)
{
    if (reading->state == READING_KNOWN && reading->sampled && reading->has_certified) {
        const struct audit_reading certified = {
            .state = READING_KNOWN, .lower = reading->certified_lower, .upper = reading->certified_upper};
        struct audit_rule judged = judge_as_read(rule, &certified, certify);
        if (judged.outcome != OUTCOME_UNDECIDED)
            return judged;
    }
    return judge_as_read(rule, reading, certify);
}

static void count_rule(const struct audit_rule *judged, struct audit_counts *counts)
{
    if (!judged->rule->required)
        counts->advisory_missed += judged->outcome != OUTCOME_CONFORMS;
    else if (judged->outcome == OUTCOME_CONFORMS)
        counts->conforms++;
    else if (judged->waiver)
        counts->waived++;
    else if (judged->outcome == OUTCOME_UNDECIDED)
        counts->undecided++;
    else
        counts->does_not_conform++;
}

struct audit audit_make(const struct spec *spec, const struct audit_reading *readings, double certify,
                        const struct waiver *waivers, size_t waiver_count, const char *day,
                        struct audit_rule *rules)
{
    struct audit audit = {.rule_count = spec->rule_count, .rules = rules};
    for (size_t i = 0; i < spec->rule_count; i++) {
        rules[i] = audit_judge_rule(&spec->rules[i], &readings[i], certify);
        find_waiver(waivers, waiver_count, day, &rules[i]);
        count_rule(&rules[i], &audit.counts);
    }
    audit.outcome = audit.counts.does_not_conform ? OUTCOME_DOES_NOT_CONFORM
                    : audit.counts.undecided      ? OUTCOME_UNDECIDED
                                                  : OUTCOME_CONFORMS;
    return audit;
}
