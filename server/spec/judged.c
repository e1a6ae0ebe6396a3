/* judged.c - rounding to significant digits, each way, through the decimal text that is shown. */
#include "spec/judged.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>

static bool stays(double value)
{
    return !isfinite(value) || (value == trunc(value) && fabs(value) < 1e15);
}

/* The power of ten of the last digit that is kept. */
static int last_place(double value)
{
    char text[32];
    snprintf(text, sizeof text, "%.*e", JUDGED_DIGITS - 1, value);
    /* of 999999.7 it is that of 1.00000e+06: one digit fewer, which rounds outward all the same */
    int exponent = atoi(text + JUDGED_DIGITS + 2 + (value < 0));
    return exponent - (JUDGED_DIGITS - 1);
}

/* steps * 10^place, read back from its decimal text, so that it is the double nearest to what is shown. */
static double at_steps(double steps, int place)
{
    char text[64];
    snprintf(text, sizeof text, "%.0fe%d", steps, place);
    return strtod(text, NULL);
}

/* How many steps of 10^place; places beyond those of a double's range of exact powers go in two. */
static double steps_of(double value, int place)
{
    return place < -300 ? value * 1e300 * pow(10, -place - 300) : value / pow(10, place);
}

double judged_nearest(double value)
{
    char text[32];
    if (stays(value))
        return value;
    snprintf(text, sizeof text, "%.*e", JUDGED_DIGITS - 1, value);
    return strtod(text, NULL);
}

double judged_up(double value)
{
    if (stays(value))
        return value;
    int place = last_place(value);
    double steps = steps_of(value, place), nearest = nearbyint(steps);
    return at_steps(fabs(steps - nearest) <= JUDGED_ROUNDING * fabs(steps) ? nearest : ceil(steps), place);
}

double judged_down(double value)
{
    return -judged_up(-value);
}
