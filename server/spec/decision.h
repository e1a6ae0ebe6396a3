/* decision.h - whether a value conforms to a limit, and how sure that is.
 *
 * A value is an interval: what is certain of it, lower == upper where it is exact. Round a limit T stands a
 * guard band g >= 0, a multiple of the stated standard uncertainty u of the measurement. A value conforms
 * where all of its interval is on the right side of T by at least g, does not conform where all of it is on
 * the wrong side by more than g, and is undecided in between. g = 0 is simple acceptance (JCGM
 * 106:2012, 8.2); else conformity is proved as in guarded acceptance (JCGM 106:2012, 8.3.2), and so is
 * non-conformity (guarded rejection, 8.3.3; ISO 14253-1:2017 takes both). That an interval narrows what may
 * be said, and nothing else does, is ours: its ends are certain, so they need no probability.
 *
 * T - g and T + g are rounded to 12 significant digits, so that 0.4 - 1.65 * 0.05 is 0.3175. */
#ifndef SPEC_DECISION_H
#define SPEC_DECISION_H

#include <stdbool.h>

enum relation {
    RELATION_AT_MOST,
    RELATION_AT_LEAST,
    RELATION_BELOW,
    RELATION_ABOVE,
    RELATION_EQUALS,
    RELATION_COUNT
};

enum outcome { OUTCOME_CONFORMS, OUTCOME_DOES_NOT_CONFORM, OUTCOME_UNDECIDED };

/* "at most", "at least", "below", "above", "equals"; "conforms", "does not conform", "undecided". */
const char *relation_word(enum relation relation);
bool relation_parse(const char *word, enum relation *relation);
const char *outcome_word(enum outcome outcome);

struct limit {
    enum relation relation;
    double value;
    double guard_band; /* >= 0; of RELATION_EQUALS: 0 */
};

/* lower <= upper; infinite ends are fine. */
enum outcome decision_make(const struct limit *limit, double lower, double upper);

/* How far the worst end of the interval is within the limit (without the guard band); negative: beyond it. Of
 * RELATION_EQUALS: 0 or less, the distance of the farther end. */
double decision_margin(const struct limit *limit, double lower, double upper);

/* The least and the greatest probability that the true value conforms, over the interval's values y: that of
 * a normal distribution about y with standard deviation u > 0 (JCGM 106:2012, 7.3: Phi((T - y) / u) for an
 * upper limit). Of RELATION_EQUALS: false, and nothing is set. */
bool decision_probability(const struct limit *limit, double lower, double upper, double standard_uncertainty,
                          double *least, double *greatest);

#endif
