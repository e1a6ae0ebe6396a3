/* exact_sum.h - a sum of doubles that loses nothing but its last rounding, in the order given.
 *
 * A. Neumaier, "Rundungsfehleranalyse einiger Verfahren zur Summation endlicher Summen", ZAMM 54, 1974. */
#ifndef MEASURE_EXACT_SUM_H
#define MEASURE_EXACT_SUM_H

#include <math.h>

struct exact_sum {
    double sum, carry;
};

static inline void exact_sum_add(struct exact_sum *s, double value)
{
    double total = s->sum + value;
    s->carry += fabs(s->sum) >= fabs(value) ? (s->sum - total) + value : (value - total) + s->sum;
    s->sum = total;
}
static inline double exact_sum_value(struct exact_sum s)
{
    return s.sum + s.carry;
}

#endif
