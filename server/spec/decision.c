/* decision.c - the comparison of an interval with a limit and its guard band. */
#include "spec/decision.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const relations[RELATION_COUNT] = {[RELATION_AT_MOST] = "at most",
                                                      [RELATION_AT_LEAST] = "at least",
                                                      [RELATION_BELOW] = "below",
                                                      [RELATION_ABOVE] = "above",
                                                      [RELATION_EQUALS] = "equals"};

const char *relation_word(enum relation relation)
{
    return relations[relation];
}

bool relation_parse(const char *word, enum relation *relation)
{
    for (size_t i = 0; i < RELATION_COUNT; i++)
        if (strcmp(word, relations[i]) == 0) {
            *relation = (enum relation)i;
            return true;
        }
    return false;
}

const char *outcome_word(enum outcome outcome)
{
    return outcome == OUTCOME_CONFORMS           ? "conforms"
           : outcome == OUTCOME_DOES_NOT_CONFORM ? "does not conform"
                                                 : "undecided";
}

static double without_noise(double value)
{
    char text[32];
    snprintf(text, sizeof text, "%.11e", value);
    return strtod(text, NULL);
}

/* An upper limit; a lower one is the same with every sign turned. */
static enum outcome against_upper(double limit, double guard_band, bool strict, double lower, double upper)
{
    double accept = limit, refuse = limit;
    if (guard_band > 0) {
        accept = without_noise(limit - guard_band);
        refuse = without_noise(limit + guard_band);
    }
    if (strict ? upper < accept : upper <= accept)
        return OUTCOME_CONFORMS;
    if (strict ? lower >= refuse : lower > refuse)
        return OUTCOME_DOES_NOT_CONFORM;
    return OUTCOME_UNDECIDED;
}

static enum outcome against_equal(double limit, double lower, double upper)
{
    if (limit < lower || limit > upper)
        return OUTCOME_DOES_NOT_CONFORM;
    return lower == upper ? OUTCOME_CONFORMS : OUTCOME_UNDECIDED;
}

enum outcome decision_make(const struct limit *limit, double lower, double upper)
{
    bool strict = limit->relation == RELATION_BELOW || limit->relation == RELATION_ABOVE;
    if (limit->relation == RELATION_EQUALS)
        return against_equal(limit->value, lower, upper);
    if (limit->relation == RELATION_AT_MOST || limit->relation == RELATION_BELOW)
        return against_upper(limit->value, limit->guard_band, strict, lower, upper);
    return against_upper(-limit->value, limit->guard_band, strict, -upper, -lower);
}

double decision_margin(const struct limit *limit, double lower, double upper)
{
    if (limit->relation == RELATION_EQUALS)
        return -fmax(fabs(upper - limit->value), fabs(lower - limit->value));
    if (limit->relation == RELATION_AT_MOST || limit->relation == RELATION_BELOW)
        return limit->value - upper;
    return lower - limit->value;
}

static double normal_cumulative(double z)
{
    return 0.5 * erfc(-z / sqrt(2));
}

bool decision_probability(const struct limit *limit, double lower, double upper, double standard_uncertainty,
                          double *least, double *greatest)
{
    if (limit->relation == RELATION_EQUALS)
        return false;
    double z_lower = (limit->value - lower) / standard_uncertainty;
    double z_upper = (limit->value - upper) / standard_uncertainty;
    bool is_upper_limit = limit->relation == RELATION_AT_MOST || limit->relation == RELATION_BELOW;
    *least = normal_cumulative(is_upper_limit ? z_upper : -z_lower);
    *greatest = normal_cumulative(is_upper_limit ? z_lower : -z_upper);
    return true;
}
