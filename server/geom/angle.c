/* angle.c - the arc tangent by the addition theorem and its Taylor series. */
#include "geom/angle.h"

#include <math.h>

/* atan(i / 8). */
static const double eighths[9] = {0.0,
                                  0.12435499454676144,
                                  0.24497866312686414,
                                  0.35877067027057225,
                                  0.4636476090008061,
                                  0.5585993153435624,
                                  0.6435011087932844,
                                  0.7188299996216245,
                                  0.7853981633974483};

/* atan(n / d) for 0 <= n <= d, d > 0: atan(t) = atan(c) + atan((t - c) / (1 + t c)) with the nearest eighth
 * c, so that the rest is at most 1/16, where the eighth term is below 2^-59 of the first. For c = 0 the rest
 * is n / d exactly. */
static double arc_tangent(double n, double d)
{
    double t = n / d;
    int i = (int)(t * 8 + 0.5);
    double c = i * 0.125;
    double r = (n - c * d) / (d + c * n);
    double s = r * r;
    double series =
        s * (-1.0 / 3 + s * (1.0 / 5 + s * (-1.0 / 7 + s * (1.0 / 9 + s * (-1.0 / 11 + s * (1.0 / 13))))));
    return eighths[i] + (r + r * series);
}

double angle_of(double y, double x)
{
    /* by tables, exactly as with branches, which nothing foretells */
    static const double signs[2] = {1, -1}, from[2] = {0, 1.5707963267948966},
                        end[2] = {0, 3.141592653589793};
    double width = fabs(x);
    int steep = y > width, left = x < 0;
    if (y == 0 && width == 0)
        return 0;
    double angle = from[steep] + signs[steep] * arc_tangent(steep ? width : y, steep ? y : width);
    return end[left] + signs[left] * angle;
}
