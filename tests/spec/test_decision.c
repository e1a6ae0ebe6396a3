/* test_decision.c
 *   outcome_*      an interval against a limit and a guard band, each relation
 *   random_*       the definition in the header, asked of one value at a time
 *   probability_*  JCGM 106:2012, clause 7.3: its table and its examples
 *   guarded_*      JCGM 106:2012, clause 8.3; Eurachem/CITAC "Use of uncertainty information in compliance
 *                  assessment", 2nd edition, 2021, annex A */
#include "spec/decision.h"
#include "support/fixture_shapes.h"

#include <criterion/criterion.h>
#include <math.h>

static const enum relation relations[] = {RELATION_AT_MOST, RELATION_AT_LEAST, RELATION_BELOW, RELATION_ABOVE,
                                          RELATION_EQUALS};

static enum outcome simple(enum relation relation, double limit, double lower, double upper)
{
    return decision_make(&(struct limit){relation, limit, 0}, lower, upper);
}

Test(decision, words_are_read_back_and_no_others)
{
    for (size_t i = 0; i < RELATION_COUNT; i++) {
        enum relation read = RELATION_COUNT;
        cr_expect(relation_parse(relation_word(relations[i]), &read));
        cr_expect_eq(read, relations[i]);
    }
    enum relation read;
    cr_expect_not(relation_parse("at mos", &read));
    cr_expect_not(relation_parse("At most", &read));
    cr_expect_not(relation_parse("", &read));
}

Test(decision, outcome_at_the_limit_itself_depends_on_strictness)
{
    cr_expect_eq(simple(RELATION_AT_MOST, 0.4, 0.4, 0.4), OUTCOME_CONFORMS);
    cr_expect_eq(simple(RELATION_AT_LEAST, 0.4, 0.4, 0.4), OUTCOME_CONFORMS);
    cr_expect_eq(simple(RELATION_BELOW, 0.4, 0.4, 0.4), OUTCOME_DOES_NOT_CONFORM);
    cr_expect_eq(simple(RELATION_ABOVE, 0.4, 0.4, 0.4), OUTCOME_DOES_NOT_CONFORM);
    cr_expect_eq(simple(RELATION_EQUALS, 0.4, 0.4, 0.4), OUTCOME_CONFORMS);
    cr_expect_eq(simple(RELATION_ABOVE, 0, -0.0, -0.0), OUTCOME_DOES_NOT_CONFORM);
    cr_expect_eq(simple(RELATION_EQUALS, 0, -0.0, -0.0), OUTCOME_CONFORMS);
}

Test(decision, outcome_of_an_interval_that_only_touches_the_limit)
{
    cr_expect_eq(simple(RELATION_AT_MOST, 1, 0.5, 1), OUTCOME_CONFORMS);
    cr_expect_eq(simple(RELATION_AT_MOST, 1, 1, 1.5), OUTCOME_UNDECIDED);
    cr_expect_eq(simple(RELATION_BELOW, 1, 0.5, 1), OUTCOME_UNDECIDED);
    cr_expect_eq(simple(RELATION_BELOW, 1, 1, 1.5), OUTCOME_DOES_NOT_CONFORM);
    cr_expect_eq(simple(RELATION_AT_LEAST, 1, 1, 1.5), OUTCOME_CONFORMS);
    cr_expect_eq(simple(RELATION_AT_LEAST, 1, 0.5, 1), OUTCOME_UNDECIDED);
    cr_expect_eq(simple(RELATION_ABOVE, 1, 0.5, 1), OUTCOME_DOES_NOT_CONFORM);
    cr_expect_eq(simple(RELATION_EQUALS, 1, 0.5, 1), OUTCOME_UNDECIDED);
    cr_expect_eq(simple(RELATION_EQUALS, 1, 1.5, 2), OUTCOME_DOES_NOT_CONFORM);
}

Test(decision, outcome_of_an_interval_without_end)
{
    cr_expect_eq(simple(RELATION_AT_MOST, 1, 0, INFINITY), OUTCOME_UNDECIDED);
    cr_expect_eq(simple(RELATION_AT_MOST, 1, 2, INFINITY), OUTCOME_DOES_NOT_CONFORM);
    cr_expect_eq(simple(RELATION_AT_LEAST, 1, 2, INFINITY), OUTCOME_CONFORMS);
    cr_expect_eq(simple(RELATION_AT_LEAST, 1, -INFINITY, 0), OUTCOME_DOES_NOT_CONFORM);
}

Test(decision, margin_is_of_the_worst_end_and_leaves_the_guard_band_out)
{
    cr_expect_eq(decision_margin(&(struct limit){RELATION_AT_MOST, 2, 0.5}, 0.25, 0.75), 1.25);
    cr_expect_eq(decision_margin(&(struct limit){RELATION_ABOVE, 2, 0.5}, 1.5, 4), -0.5);
    cr_expect_eq(decision_margin(&(struct limit){RELATION_EQUALS, 2, 0}, 1.5, 4), -2);
    cr_expect_eq(decision_margin(&(struct limit){RELATION_EQUALS, 2, 0}, 2, 2), 0);
}

/* Whether one value is proved to conform, or not to, in words of the definition. */
static bool conforms(const struct limit *limit, double value)
{
    switch (limit->relation) {
    case RELATION_AT_MOST:
        return value <= limit->value - limit->guard_band;
    case RELATION_BELOW:
        return value < limit->value - limit->guard_band;
    case RELATION_AT_LEAST:
        return value >= limit->value + limit->guard_band;
    case RELATION_ABOVE:
        return value > limit->value + limit->guard_band;
    default:
        return value == limit->value;
    }
}
static bool fails(const struct limit *limit, double value)
{
    switch (limit->relation) {
    case RELATION_AT_MOST:
        return value > limit->value + limit->guard_band;
    case RELATION_BELOW:
        return value >= limit->value + limit->guard_band;
    case RELATION_AT_LEAST:
        return value < limit->value - limit->guard_band;
    case RELATION_ABOVE:
        return value <= limit->value - limit->guard_band;
    default:
        return value != limit->value;
    }
}

/* Quarters of small whole numbers: every sum is exact, and ends meet limits often. */
Test(decision, random_intervals_are_decided_where_every_value_in_them_is)
{
    uint64_t state = 11;
    size_t seen[3] = {0};
    for (int i = 0; i < 20000; i++) {
        struct limit limit = {relations[fixture_random_below(&state, 5)],
                              0.25 * (double)fixture_random_below(&state, 9) - 1,
                              0.25 * (double)fixture_random_below(&state, 3)};
        if (limit.relation == RELATION_EQUALS)
            limit.guard_band = 0;
        double lower = 0.25 * (double)fixture_random_below(&state, 17) - 2;
        double upper = lower + 0.25 * (double)fixture_random_below(&state, 4);
        bool all = true, none = true;
        for (double value = lower; value <= upper; value += 0.125) {
            all = all && conforms(&limit, value);
            none = none && fails(&limit, value);
        }
        enum outcome wanted = all ? OUTCOME_CONFORMS : none ? OUTCOME_DOES_NOT_CONFORM : OUTCOME_UNDECIDED;
        cr_assert_eq(decision_make(&limit, lower, upper), wanted, "%s %g, guard %g, [%g, %g]",
                     relation_word(limit.relation), limit.value, limit.guard_band, lower, upper);
        seen[wanted]++;
    }
    cr_expect(seen[0] > 1000 && seen[1] > 1000 && seen[2] > 1000);
}

static double probability(enum relation relation, double limit, double value, double standard_uncertainty)
{
    double least = NAN, greatest = NAN;
    cr_assert(decision_probability(&(struct limit){relation, limit, 0}, value, value, standard_uncertainty,
                                   &least, &greatest));
    cr_expect_eq(least, greatest);
    return least;
}

/* JCGM 106:2012, table 1: z = (T - y) / u and the probability of conformity, both rounded as printed there.
 */
Test(decision, probability_of_each_z_is_that_of_table_1)
{
    static const double rows[][2] = {{0.80, 0.84}, {0.90, 1.28}, {0.95, 1.64}, {0.99, 2.33}, {0.999, 3.09}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double at_most = probability(RELATION_AT_MOST, 10 + 2 * rows[i][1], 10, 2);
        double at_least = probability(RELATION_AT_LEAST, 10 - 2 * rows[i][1], 10, 2);
        /* z was rounded to 0.005: the density at it times that */
        double slack = 0.005 * exp(-rows[i][1] * rows[i][1] / 2) / sqrt(2 * 3.14159265358979);
        cr_expect_float_eq(at_most, rows[i][0], slack + 1e-4, "%g: %g", rows[i][1], at_most);
        cr_expect_float_eq(at_least, at_most, 1e-12);
    }
}

/* Clause 7.3.3, example 1: a breakdown voltage of -5.47 V with u = 0.05 V, at most -5.40 V: 0.92. */
Test(decision, probability_of_the_voltage_of_the_first_example_is_0_92)
{
    cr_expect_float_eq(probability(RELATION_AT_MOST, -5.40, -5.47, 0.05), 0.92, 0.005);
}

/* Clause 7.3.3, example 2: a bursting pressure of 509.7 kPa with u = 8.6 kPa, at least 490 kPa: 0.99. */
Test(decision, probability_of_the_pressure_of_the_second_example_is_0_99)
{
    cr_expect_float_eq(probability(RELATION_AT_LEAST, 490, 509.7, 8.6), 0.99, 0.005);
}

Test(decision, probability_keeps_its_digits_far_from_the_limit)
{
    /* Phi(-10): NIST Digital Library of Mathematical Functions, 7.2.2 and 7.12.1: 7.6198530241605e-24 */
    cr_expect_float_eq(probability(RELATION_AT_LEAST, 10, 0, 1) / 7.6198530241605e-24, 1, 1e-9);
    cr_expect_float_eq(probability(RELATION_AT_MOST, -10, 0, 1) / 7.6198530241605e-24, 1, 1e-9);
}

Test(decision, probability_of_an_interval_lies_between_those_of_its_ends)
{
    double least, greatest;
    cr_expect(decision_probability(&(struct limit){RELATION_AT_MOST, 1, 0}, 0, 1, 1, &least, &greatest));
    cr_expect_float_eq(least, 0.5, 1e-12);
    cr_expect_float_eq(greatest, 0.841344746, 1e-9); /* Phi(1), any table */
    cr_expect(decision_probability(&(struct limit){RELATION_ABOVE, 1, 0}, 0, 1, 1, &least, &greatest));
    cr_expect_float_eq(least, 0.158655254, 1e-9);
    cr_expect_float_eq(greatest, 0.5, 1e-12);
    cr_expect_not(decision_probability(&(struct limit){RELATION_EQUALS, 1, 0}, 0, 1, 1, &least, &greatest));
}

/* Clause 8.3.3.2, the example of a speed of at most 100 km/h, measured with 2 %: who is charged from 107 km/h
 * on exceeded it with a probability of at least 99.9 % (z = 3.09). */
Test(decision, guarded_rejection_of_the_speeding_example_begins_at_107)
{
    for (int speed = 95; speed <= 115; speed++) {
        struct limit limit = {RELATION_AT_MOST, 100, 3.09 * 0.02 * speed};
        cr_expect_eq(decision_make(&limit, speed, speed) == OUTCOME_DOES_NOT_CONFORM, speed >= 107, "%d",
                     speed);
    }
    cr_expect_geq(1 - probability(RELATION_AT_MOST, 100, 107, 0.02 * 107), 0.999);
}

/* Clause 8.3.2.2: a guard band of U = 2 u leaves at most 2.3 % beyond the limit. Eurachem/CITAC 2021, annex
 * A: one of 1.64 u leaves 5 %. */
Test(decision, guarded_acceptance_leaves_the_published_risks)
{
    static const double rows[][2] = {{2, 0.023}, {1.64, 0.05}};
    for (size_t i = 0; i < 2; i++) {
        struct limit limit = {RELATION_AT_MOST, 5, rows[i][0] * 0.25};
        double most = 5 - rows[i][0] * 0.25;
        cr_expect_eq(decision_make(&limit, most, most), OUTCOME_CONFORMS);
        cr_expect_eq(decision_make(&limit, most + 1e-6, most + 1e-6), OUTCOME_UNDECIDED);
        cr_expect_float_eq(1 - probability(RELATION_AT_MOST, 5, most, 0.25), rows[i][1], 1e-3);
    }
}

/* Clause 9.5.3, resistors of nominally 1500 ohm: made with a standard deviation of 0.12 ohm, tolerance 1499.8
 * to 1500.2 ohm, measured with u = 0.04 ohm, accepted from 1499.82 to 1500.18 ohm. Of all of them 90 %
 * conform; 1 % do not and are accepted, 7 % do and are not (consumer's and producer's risk). */
Test(decision, guarded_acceptance_of_the_resistors_has_the_published_risks)
{
    const struct limit low = {RELATION_AT_LEAST, 1499.8, 0.02}, high = {RELATION_AT_MOST, 1500.2, 0.02};
    const double made = 0.12, u = 0.04, step = 0.002;
    double conform = 0, consumer = 0, producer = 0, whole = 0;
    for (int i = -420; i <= 420; i++)
        for (int k = -140; k <= 140; k++) {
            /* the middle of a cell of true values and of errors, so that no value is at a limit */
            double value = (i + 0.5) * step, error = k * step, read = 1500 + value + error;
            double share = exp(-value * value / (2 * made * made) - error * error / (2 * u * u));
            bool good = fabs(value) <= 0.2,
                 accepted = decision_make(&low, read, read) == OUTCOME_CONFORMS
                            && decision_make(&high, read, read) == OUTCOME_CONFORMS;
            whole += share;
            conform += good ? share : 0;
            consumer += accepted && !good ? share : 0;
            producer += good && !accepted ? share : 0;
        }
    cr_expect_float_eq(conform / whole, 0.90, 0.005);
    cr_expect_float_eq(consumer / whole, 0.01, 0.0005);
    cr_expect_float_eq(producer / whole, 0.07, 0.005);
}

/* What is shown is what is judged, with a guard band too: 0.4 - 0.0825 is not 0.3175 in binary. */
Test(decision, guarded_limits_are_the_decimal_numbers_that_they_look_like)
{
    struct limit most = {RELATION_AT_MOST, 0.4, 1.65 * 0.05}, least = {RELATION_AT_LEAST, 0.4, 1.65 * 0.05};
    cr_expect_eq(decision_make(&most, 0.3175, 0.3175), OUTCOME_CONFORMS);
    cr_expect_eq(decision_make(&most, 0.317501, 0.317501), OUTCOME_UNDECIDED);
    cr_expect_eq(decision_make(&most, 0.4825, 0.4825), OUTCOME_UNDECIDED);
    cr_expect_eq(decision_make(&most, 0.482501, 0.482501), OUTCOME_DOES_NOT_CONFORM);
    cr_expect_eq(decision_make(&least, 0.4825, 0.4825), OUTCOME_CONFORMS);
    uint64_t state = 5;
    for (int i = 0; i < 5000; i++) {
        long limit = 1000 + (long)fixture_random_below(&state, 9000);
        long band = (long)fixture_random_below(&state, 900);
        double value = (double)(limit - band) / 1e4;
        struct limit stated = {RELATION_AT_MOST, (double)limit / 1e4, (double)band / 1e4};
        cr_assert_eq(decision_make(&stated, value, value), OUTCOME_CONFORMS, "%ld - %ld", limit, band);
    }
}
