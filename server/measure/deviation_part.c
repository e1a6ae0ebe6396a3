/* deviation_part.c - closed forms of linear functions on triangles, and of the larger of two of them. */
#include "measure/deviation_part.h"

#include <math.h>

static float rounded_down(double x)
{
    return (float)(x - (fabs(x) * 0x1p-23 + 0x1p-120));
}

static float rounded_up(double x)
{
    return (float)(x + (fabs(x) * 0x1p-23 + 0x1p-120));
}

void part_set(struct part *part, const double *low, const double *high, double scale)
{
    for (int i = 0; i < 3; i++) {
        part->low[i] = rounded_down(low[i]);
        part->high[i] = rounded_up(high[i]);
    }
    part->scale = scale > 0 ? rounded_down(scale) : 0;
}

struct linear_moments part_linear_moments(const double *v)
{
    return (struct linear_moments){
        (v[0] + v[1] + v[2]) / 3,
        (v[0] * v[0] + v[1] * v[1] + v[2] * v[2] + v[0] * v[1] + v[1] * v[2] + v[2] * v[0]) / 6};
}

/* Of max(u, v): the part is cut where they are equal; `one` is the corner that is alone on its side. */
static struct linear_moments moments_of_cut(const double *u, const double *v, int one)
{
    const int two = one < 2 ? one + 1 : 0, three = two < 2 ? two + 1 : 0;
    const double *f = u[one] > v[one] ? u : v, *g = f == u ? v : u; /* f is larger at that corner */
    double w = f[one] - g[one], second = w / (w - (f[two] - g[two])), third = w / (w - (f[three] - g[three])),
           share = second * third;
    const double near_f[3] = {f[one], f[one] + second * (f[two] - f[one]),
                              f[one] + third * (f[three] - f[one])},
                 near_g[3] = {g[one], near_f[1], near_f[2]};
    struct linear_moments in = part_linear_moments(near_f), out = part_linear_moments(near_g),
                          all = part_linear_moments(g);

    return (struct linear_moments){all.mean + share * (in.mean - out.mean),
                                   all.square + share * (in.square - out.square)};
}

static struct linear_moments moments_of_larger(const double *u, const double *v)
{
    unsigned above = 0;

    for (int i = 0; i < 3; i++)
        above |= (unsigned)(u[i] > v[i]) << i;
    if (above == 7)
        return part_linear_moments(u);
    if (above == 0)
        return part_linear_moments(v);
    return moments_of_cut(u, v, above == 1 || above == 6 ? 0 : above == 2 || above == 5 ? 1 : 2);
}

struct part_moments part_moments(const struct part *part)
{
    const double zero[3] = {0, 0, 0};
    double low[3], high[3], low_turned[3], high_turned[3];

    for (int i = 0; i < 3; i++) {
        low[i] = (double)part->low[i];
        high[i] = (double)part->high[i];
        low_turned[i] = -low[i];
        high_turned[i] = -high[i];
    }
    struct linear_moments lower = moments_of_larger(low, zero), upper;
    if (part->scale > 0) {
        struct linear_moments other = moments_of_larger(high_turned, zero);
        double scale = (double)part->scale;
        lower = (struct linear_moments){scale * (lower.mean + other.mean),
                                        scale * scale * (lower.square + other.square)};
        upper = moments_of_larger(high, low_turned);
    } else {
        upper = part_linear_moments(high);
    }
    return (struct part_moments){lower.mean, upper.mean, lower.square, upper.square};
}

/* Values at the corners, ascending. */
struct sorted {
    double a, b, c;
};

static struct sorted sort_values(double a, double b, double c)
{
    double swap;

    if (a > b)
        swap = a, a = b, b = swap;
    if (b > c)
        swap = b, b = c, c = swap;
    if (a > b)
        swap = a, a = b, b = swap;
    return (struct sorted){a, b, c};
}

/* Share of a triangle where the linear function is at most t. */
static double share_below(struct sorted v, double t)
{
    if (t >= v.c)
        return 1;
    if (t <= v.a)
        return 0;
    return t <= v.b ? (t - v.a) / (v.b - v.a) * ((t - v.a) / (v.c - v.a))
                    : 1 - (v.c - t) / (v.c - v.b) * ((v.c - t) / (v.c - v.a));
}

static double share_within(const float *values, double t)
{
    return share_below(sort_values((double)values[0], (double)values[1], (double)values[2]), t);
}

static double share_of_height(struct sorted v, double t)
{
    const struct sorted turned = {-v.c, -v.b, -v.a};
    double share = v.a < -t ? share_below(v, t) + share_below(turned, t) - 1 : share_below(v, t);

    return share > 0 ? share : 0;
}

double part_height_share(const double *heights, double t)
{
    return share_of_height(sort_values(heights[0], heights[1], heights[2]), t);
}

double part_share_low(const struct part *part, double t)
{
    if (!(part->scale > 0))
        return share_within(part->low, t);
    double height = t / (double)part->scale;
    const float turned[3] = {-part->high[0], -part->high[1], -part->high[2]};
    double share = share_within(part->low, height) + share_within(turned, height) - 1;
    return share > 0 ? share : 0;
}

double part_share_high(const struct part *part, double t)
{
    double share = share_within(part->high, t);

    if (part->scale > 0 && share > 0) {
        const float turned[3] = {-part->low[0], -part->low[1], -part->low[2]};
        share += share_within(turned, t) - 1;
    }
    return share > 0 ? share : 0;
}

double part_low_at(const struct part *part, int i)
{
    double low = (double)part->low[i] > 0 ? (double)part->low[i] : 0, turned = -(double)part->high[i];

    return part->scale > 0 ? (double)part->scale * (turned > low ? turned : low) : low;
}
