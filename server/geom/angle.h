/* angle.h - the angle of a direction in the plane, by the same roundings on every machine.
 *
 * A C library chooses its atan2 by the processor it runs on, with and without fused operations, and the last
 * bits differ; this one is made of single operations only, by the addition theorem of the arc tangent and its
 * Taylor series. It has no branches, so that compilers make vectors of loops over it. */
#ifndef GEOM_ANGLE_H
#define GEOM_ANGLE_H

#include <math.h>

/* atan(i / 8) for a whole number i of 0 to 8, chosen one after the other: vectors are slow to look up. */
static inline double angle_of_eighths(double i)
{
    double angle = i >= 1 ? 0.12435499454676144 : 0;

    angle = i >= 2 ? 0.24497866312686414 : angle;
    angle = i >= 3 ? 0.35877067027057225 : angle;
    angle = i >= 4 ? 0.4636476090008061 : angle;
    angle = i >= 5 ? 0.5585993153435624 : angle;
    angle = i >= 6 ? 0.6435011087932844 : angle;
    angle = i >= 7 ? 0.7188299996216245 : angle;
    return i >= 8 ? 0.7853981633974483 : angle;
}

/* atan(n / d) for 0 <= n <= d, d > 0: atan(t) = atan(c) + atan((t - c) / (1 + t c)) with the nearest eighth
 * c, so that the rest is at most 1/16, where the eighth term is below 2^-59 of the first. For c = 0 the rest
 * is n / d exactly. */
static inline double angle_arc_tangent(double n, double d)
{
    double t = n / d;
    double i = (double)(int)(t * 8 + 0.5);
    double c = i * 0.125;
    double r = (n - c * d) / (d + c * n);
    double s = r * r;
    double series =
        s * (-1.0 / 3 + s * (1.0 / 5 + s * (-1.0 / 7 + s * (1.0 / 9 + s * (-1.0 / 11 + s * (1.0 / 13))))));
    return angle_of_eighths(i) + (r + r * series);
}

/* The angle in radians, 0 to pi, between the positive x axis and (x, y), for y >= 0 and finite numbers; 0 for
 * (0, 0). Relative error below 2^-50, as tests/geom/test_angle.c finds against the library's atan2l. */
static inline double angle_of(double y, double x)
{
    double width = fabs(x), large = y > width ? y : width, small = y > width ? width : y,
           angle = angle_arc_tangent(small, large > 0 ? large : 1);

    angle = y > width ? 1.5707963267948966 - angle : angle;
    return x < 0 ? 3.141592653589793 - angle : angle;
}

#endif
