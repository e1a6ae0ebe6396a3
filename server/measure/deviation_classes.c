/* deviation_classes.c - a ladder of preferred numbers, and differences of shares. */
#include "measure/deviation_classes.h"

#include <math.h>

#define STEPS 5 /* to a decade */

/* The limit of a place in the ladder; place 0 is 1. A quotient or product of whole numbers rounds once where
 * the power of ten is exact, up to 10^22: 0.16 is the double that "0.16" reads as. */
static double limit_at(int place)
{
    static const double tenths[STEPS] = {10, 16, 25, 40, 63};
    int decade = place >= 0 ? place / STEPS : -((STEPS - 1 - place) / STEPS), exponent = decade - 1;
    double power = 1;

    for (int i = 0; i < (exponent < 0 ? -exponent : exponent); i++)
        power *= 10;
    return exponent < 0 ? tenths[place - decade * STEPS] / power : tenths[place - decade * STEPS] * power;
}

struct distance_classes deviation_classes_make(double diagonal, double margin)
{
    struct distance_classes classes = {.margin = margin};
    double least = DEVIATION_CLASSES_LEAST * diagonal, limit;

    if (!(diagonal >= 1e-200 && diagonal <= 1e200))
        return classes;
    int place = STEPS * (int)floor(log10(least)) - 1; /* not above the first one, however log10 rounds */
    while (limit_at(place + 1) <= least)
        place++;
    do
        limit = classes.limits[classes.limit_count++] = limit_at(place++);
    while (limit < diagonal && classes.limit_count < DEVIATION_CLASS_LIMITS);
    return classes;
}

void deviation_classes_shares(const struct interval *within, size_t limit_count, struct interval *shares)
{
    struct interval below = {0, 0};

    for (size_t c = 0; c <= limit_count; c++) {
        struct interval up_to = c < limit_count ? within[c] : (struct interval){1, 1};
        double lower = fmax(0, up_to.lower - below.upper);
        shares[c] = (struct interval){lower, fmax(lower, fmin(1, up_to.upper - below.lower))};
        below = up_to;
    }
}
