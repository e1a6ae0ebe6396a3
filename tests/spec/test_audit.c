/* test_audit.c
 *   rule_*     one rule: rounded once, judged, and what would decide it
 *   waiver_*   which waiver holds on a day
 *   overall_*  what rules come to together */
#include "spec/audit.h"

#include "spec/judged.h"
#include "support/fixture_shapes.h"

#include <criterion/criterion.h>
#include <math.h>

static struct rule rule_of(enum relation relation, double limit)
{
    return (struct rule){.id = "near",
                         .name = "Near",
                         .reason = "because",
                         .source = "none",
                         .path = "a.b",
                         .relation = relation,
                         .limit = limit,
                         .unit = LIMIT_MM,
                         .power = 1,
                         .required = true,
                         .guard_factor = 1.65};
}
static struct rule guarded_of(enum relation relation, double limit, double standard_uncertainty)
{
    struct rule rule = rule_of(relation, limit);
    rule.guarded = true;
    rule.standard_uncertainty = standard_uncertainty;
    return rule;
}
static struct audit_reading known(double lower, double upper)
{
    return (struct audit_reading){.state = READING_KNOWN, .lower = lower, .upper = upper};
}
static struct audit_rule judge(const struct rule *rule, struct audit_reading reading)
{
    return audit_judge_rule(rule, &reading, 1e-4);
}

Test(audit, rule_is_judged_by_the_rounded_value)
{
    struct rule rule = rule_of(RELATION_AT_MOST, 0.4);
    struct audit_rule exact = judge(&rule, known(0.40000004, 0.40000004));
    cr_expect_eq(exact.lower, 0.4);
    cr_expect_eq(exact.upper, 0.4);
    cr_expect_eq(exact.outcome, OUTCOME_CONFORMS);
    cr_expect_eq(exact.margin, 0);
    struct audit_rule interval = judge(&rule, known(0.39999996, 0.40000004));
    cr_expect_eq(interval.lower, 0.399999);
    cr_expect_eq(interval.upper, 0.400001);
    cr_expect_eq(interval.outcome, OUTCOME_UNDECIDED);
}

Test(audit, rule_of_samples_is_judged_by_what_is_certified_where_that_decides)
{
    static const struct {
        double limit;
        bool has_certified, by_samples;
        enum outcome outcome;
    } rows[] = {{6, true, false, OUTCOME_CONFORMS}, {0.5, true, false, OUTCOME_DOES_NOT_CONFORM},
                {4, true, true, OUTCOME_CONFORMS}, /* what is certified leaves these open */
                {3, true, true, OUTCOME_UNDECIDED}, {2, true, true, OUTCOME_DOES_NOT_CONFORM},
                {6, false, true, OUTCOME_CONFORMS}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct rule rule = rule_of(RELATION_AT_MOST, rows[i].limit);
        struct audit_reading reading = known(2.5, 3.5);
        reading.sampled = true;
        reading.has_certified = rows[i].has_certified;
        reading.certified_lower = 1;
        reading.certified_upper = 5;
        struct audit_rule judged = judge(&rule, reading);
        cr_expect_eq(judged.outcome, rows[i].outcome, "%zu", i);
        cr_expect_eq(judged.reading.sampled, rows[i].by_samples, "%zu", i);
        cr_expect_eq(judged.lower, rows[i].by_samples ? 2.5 : 1, "%zu: %g", i, judged.lower);
        cr_expect_eq(judged.upper, rows[i].by_samples ? 3.5 : 5, "%zu: %g", i, judged.upper);
    }
}

Test(audit, rule_on_a_count_is_not_rounded)
{
    struct rule rule = rule_of(RELATION_AT_MOST, 12345678);
    struct audit_reading reading = known(12345679, 12345679);
    reading.exact = true;
    struct audit_rule judged = judge(&rule, reading);
    cr_expect_eq(judged.upper, 12345679);
    cr_expect_eq(judged.outcome, OUTCOME_DOES_NOT_CONFORM);
    cr_expect_eq(judged.margin, -1);
}

Test(audit, rule_that_is_not_known_says_what_would_make_it_known)
{
    static const struct {
        enum reading_state state;
        enum decided_by by;
    } rows[] = {{READING_UNBOUNDED, DECIDED_BY_OTHER_MEASURE},
                {READING_UNDEFINED, DECIDED_BY_MENDING},
                {READING_ALONE, DECIDED_BY_REFERENCE},
                {READING_UNITLESS, DECIDED_BY_UNITS},
                {READING_ABSENT, DECIDED_BY_MEASURING_AGAIN}};
    struct rule rule = rule_of(RELATION_AT_MOST, 1);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct audit_rule judged =
            judge(&rule, (struct audit_reading){.state = rows[i].state, .lower = NAN, .upper = NAN});
        cr_expect_eq(judged.outcome, OUTCOME_UNDECIDED);
        cr_expect_eq(judged.decided_by, rows[i].by);
        cr_expect(isnan(judged.lower) && isnan(judged.upper) && isnan(judged.margin)
                  && isnan(judged.decided_at));
        cr_expect_neq(*decided_by_word(judged.decided_by), '\0');
    }
}

Test(audit, rule_across_the_limit_wants_a_tenth_of_the_width)
{
    struct rule rule = rule_of(RELATION_AT_MOST, 1);
    struct audit_rule judged = judge(&rule, known(0.9, 1.1));
    cr_expect_eq(judged.decided_by, DECIDED_BY_NARROWER_INTERVAL);
    cr_expect_eq(judged.decided_at, 1e-5);
    struct audit_reading reading = known(0.9, 1.1);
    cr_expect(isnan(audit_judge_rule(&rule, &reading, NAN).decided_at));
    cr_expect_eq(judge(&rule, known(0.8, 0.9)).decided_by, DECIDED_ALREADY);
}

Test(audit, rule_on_a_cut_list_wants_fewer_findings_not_a_narrower_interval)
{
    struct rule rule = rule_of(RELATION_AT_MOST, 250);
    rule.about = RULE_FINDINGS;
    struct audit_reading reading = known(200, 300);
    reading.exact = true;
    cr_expect_eq(judge(&rule, reading).decided_by, DECIDED_BY_FEWER_FINDINGS);
}

Test(audit, rule_in_the_guard_band_wants_a_better_scanner)
{
    struct rule rule = guarded_of(RELATION_AT_MOST, 0.4, 0.05);
    struct audit_rule inside = judge(&rule, known(0.37, 0.37));
    cr_expect_eq(inside.outcome, OUTCOME_UNDECIDED);
    cr_expect_eq(inside.decided_by, DECIDED_BY_BETTER_SCANNER);
    cr_expect_float_eq(inside.decided_at, 0.03 / 1.65, 1e-6);
    cr_expect(inside.has_probability);
    cr_expect_float_eq(inside.probability_least, 0.725747, 1e-6); /* Phi(0.6), any table */
    cr_expect_eq(judge(&rule, known(0.3, 0.3)).outcome, OUTCOME_CONFORMS);
    cr_expect_eq(judge(&rule, known(0.49, 0.49)).outcome, OUTCOME_DOES_NOT_CONFORM);
    /* at the limit itself no scanner would do */
    cr_expect(isnan(judge(&rule, known(0.4, 0.4)).decided_at)
              || judge(&rule, known(0.4, 0.4)).decided_at > 0);
}

Test(audit, rule_with_an_uncertainty_but_simple_has_a_probability_and_no_guard_band)
{
    struct rule rule = guarded_of(RELATION_AT_MOST, 0.4, 0.05);
    rule.guarded = false;
    struct audit_rule judged = judge(&rule, known(0.39, 0.39));
    cr_expect_eq(judged.outcome, OUTCOME_CONFORMS);
    cr_expect_eq(judged.limit.guard_band, 0);
    cr_expect(judged.has_probability);
}

/* Whoever brings a scanner as good as was said gets an answer. */
Test(audit, rule_is_decided_by_the_scanner_it_asks_for)
{
    uint64_t state = 21;
    size_t asked = 0;
    for (int i = 0; i < 20000; i++) {
        double lower = judged_nearest(fixture_random_unit(&state) * 2);
        double upper = fixture_random_below(&state, 2)
                           ? lower
                           : judged_nearest(lower + fixture_random_unit(&state) * 0.1);
        struct rule rule = guarded_of((enum relation)fixture_random_below(&state, 4), 1,
                                      0.3 * fixture_random_unit(&state) + 1e-3);
        struct audit_rule judged = judge(&rule, known(lower, upper));
        if (judged.decided_by != DECIDED_BY_BETTER_SCANNER || isnan(judged.decided_at))
            continue;
        asked++;
        cr_assert_leq(judged.decided_at, rule.standard_uncertainty);
        struct rule better = guarded_of(rule.relation, 1, judged.decided_at);
        cr_assert_neq(judge(&better, known(lower, upper)).outcome, OUTCOME_UNDECIDED,
                      "%s 1: [%.17g, %.17g], %.17g", relation_word(rule.relation), lower, upper,
                      judged.decided_at);
    }
    cr_expect_gt(asked, 1000u);
}

static struct audit audit_of(struct rule *rules, size_t count, const double *values,
                             const struct waiver *waivers, size_t waiver_count, struct audit_rule *judged)
{
    struct audit_reading readings[8];
    struct spec spec = {.rule_count = count, .rules = rules};
    for (size_t i = 0; i < count; i++)
        readings[i] =
            isnan(values[i]) ? (struct audit_reading){.state = READING_ALONE} : known(values[i], values[i]);
    return audit_make(&spec, readings, 1e-4, waivers, waiver_count, "2026-11-28", judged);
}

Test(audit, waiver_holds_through_its_last_day)
{
    static const struct waiver waivers[] = {{"near", "agreed", "R. Roe", "2026-11-28"},
                                            {"far", "agreed", "R. Roe", "2026-11-27"}};
    struct rule rules[2] = {rule_of(RELATION_AT_MOST, 1), rule_of(RELATION_AT_MOST, 1)};
    struct audit_rule judged[2];
    rules[1].id = "far";
    struct audit audit = audit_of(rules, 2, (double[]){2, 2}, waivers, 2, judged);
    cr_expect_eq(judged[0].waiver, &waivers[0]);
    cr_expect_not(judged[0].waiver_ran_out);
    cr_expect_eq(judged[0].outcome, OUTCOME_DOES_NOT_CONFORM, "a waiver hid the outcome of the rule itself");
    cr_expect_null(judged[1].waiver);
    cr_expect(judged[1].waiver_ran_out);
    cr_expect_eq(audit.counts.waived, 1);
    cr_expect_eq(audit.counts.does_not_conform, 1);
    cr_expect_eq(audit.outcome, OUTCOME_DOES_NOT_CONFORM);
}

Test(audit, waiver_that_ran_out_does_not_hide_one_that_holds)
{
    static const struct waiver waivers[] = {{"near", "agreed", "R. Roe", "2027-01-31"},
                                            {"near", "agreed", "R. Roe", "2025-12-31"}};
    struct rule rule = rule_of(RELATION_AT_MOST, 1);
    struct audit_rule judged;
    cr_expect_eq(audit_of(&rule, 1, (double[]){2}, waivers, 2, &judged).outcome, OUTCOME_CONFORMS);
    cr_expect_eq(judged.waiver, &waivers[0]);
    cr_expect_not(judged.waiver_ran_out);
}

Test(audit, waiver_of_an_undecided_rule_is_enough)
{
    static const struct waiver waiver = {"near", "agreed", "R. Roe", "2027-01-31"};
    struct rule rule = rule_of(RELATION_AT_MOST, 1);
    struct audit_rule judged;
    struct audit audit = audit_of(&rule, 1, (double[]){NAN}, &waiver, 1, &judged);
    cr_expect_eq(audit.outcome, OUTCOME_CONFORMS);
    cr_expect_eq(audit.counts.waived, 1);
    cr_expect_eq(audit.counts.undecided, 0);
}

Test(audit, overall_one_that_does_not_conform_decides_before_undecided)
{
    struct rule rules[3] = {rule_of(RELATION_AT_MOST, 1), rule_of(RELATION_AT_MOST, 1),
                            rule_of(RELATION_AT_MOST, 1)};
    struct audit_rule judged[3];
    cr_expect_eq(audit_of(rules, 3, (double[]){0, 0, 0}, NULL, 0, judged).outcome, OUTCOME_CONFORMS);
    cr_expect_eq(audit_of(rules, 3, (double[]){0, NAN, 0}, NULL, 0, judged).outcome, OUTCOME_UNDECIDED);
    cr_expect_eq(audit_of(rules, 3, (double[]){2, NAN, 0}, NULL, 0, judged).outcome,
                 OUTCOME_DOES_NOT_CONFORM);
    rules[0].required = rules[1].required = false;
    struct audit audit = audit_of(rules, 3, (double[]){2, NAN, 0}, NULL, 0, judged);
    cr_expect_eq(audit.outcome, OUTCOME_CONFORMS);
    cr_expect_eq(audit.counts.advisory_missed, 2);
    cr_expect_eq(audit.counts.conforms, 1);
}
