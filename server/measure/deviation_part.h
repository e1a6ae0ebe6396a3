/* deviation_part.h - two bounds of the distance over a triangle, or a part of one, and what follows from
 * them.
 *
 * Both bounds are made of functions that are linear over the part, so that their means, mean squares and the
 * shares of the area below a value have closed forms: over a triangle with values a, b, c at its corners the
 * mean of a linear function is (a + b + c) / 3, of its square (a^2 + b^2 + c^2 + ab + bc + ca) / 6
 * (Zienkiewicz and Taylor 2000, "The finite element method", volume 1), and the share below t follows from
 * similar triangles. Lengths are in the frame. */
#ifndef MEASURE_DEVIATION_PART_H
#define MEASURE_DEVIATION_PART_H

#include <stddef.h>
#include <stdint.h>
#include <string.h>

/* With low(x) and high(x) linear between their values at the corners, for every x of the part
 *     scale 0: max(0, low) <= d <= high, where high >= 0;
 *     else the other surface is over or under x at a height within [low, high], either sign, and
 *     scale max(0, low, -high) <= d <= max(high, -low). */
struct part {
    double area; /* 0: counts for nothing */
    float low[3], high[3];
    float scale;
    uint32_t near; /* a slot of the other surface near it */
};

/* Rounds the values outwards. */
void part_set(struct part *part, const double *low, const double *high, double scale);

/* Mean and mean square of a linear function over a triangle, from its values at the corners. */
struct linear_moments {
    double mean, square;
};
struct linear_moments part_linear_moments(const double *values);

struct part_moments {
    double low, high;       /* of the two bounds: means over the part */
    double low_sq, high_sq; /* and mean squares */
};
struct part_moments part_moments(const struct part *part);

/* Shares of the part where the lower, the upper bound is at most t >= 0; the former is no less than the share
 * where the distance is, the latter no more. */
double part_share_low(const struct part *part, double t);
double part_share_high(const struct part *part, double t);

/* The share where |h| <= t, of a linear height h; heights[corner]. */
double part_height_share(const double *heights, double t);

/* The lower bound at corner i. */
double part_low_at(const struct part *part, int i);

/* Values that a bound stays between. */
struct part_range {
    double min, max;
};

static inline struct part_range part_range_of(const float *values)
{
    float min = values[0] < values[1] ? values[0] : values[1],
          max = values[0] > values[1] ? values[0] : values[1];

    return (struct part_range){(double)(values[2] < min ? values[2] : min),
                               (double)(values[2] > max ? values[2] : max)};
}

static inline double part_larger(double a, double b)
{
    return a > b ? a : b;
}

static inline struct part_range part_range_low(const struct part *part)
{
    struct part_range low = part_range_of(part->low), high;
    double scale = (double)part->scale;

    if (!(scale > 0))
        return (struct part_range){part_larger(low.min, 0), part_larger(low.max, 0)};
    high = part_range_of(part->high);
    /* where low and -high are positive they are so apart: both signs in one part leave a 0 between */
    return (struct part_range){scale * part_larger(0, part_larger(low.min, -high.max)),
                               scale * part_larger(0, part_larger(low.max, -high.min))};
}

static inline struct part_range part_range_high(const struct part *part)
{
    struct part_range low, high = part_range_of(part->high);

    if (!(part->scale > 0))
        return high;
    low = part_range_of(part->low);
    return (struct part_range){part_larger(high.min, -low.max), part_larger(high.max, -low.min)};
}

/* Three times the mean of a linear function. */
static inline double part_sum(const double *values)
{
    return values[0] + values[1] + values[2];
}

/* Of two linear bounds, by their values at the corners, keeps the one that is better on the whole. */
static inline void part_raise_low(double *low, const double *offered)
{
    if (part_sum(offered) > part_sum(low))
        memcpy(low, offered, 3 * sizeof *low);
}

static inline void part_sink_high(double *high, const double *offered)
{
    if (part_sum(offered) < part_sum(high))
        memcpy(high, offered, 3 * sizeof *high);
}

#endif
