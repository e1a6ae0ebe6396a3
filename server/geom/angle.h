/* angle.h - the angle of a direction in the plane, by the same roundings on every machine.
 *
 * A C library chooses its atan2 by the processor it runs on, with and without fused operations, and the last
 * bits differ; this one is made of single operations only. */
#ifndef GEOM_ANGLE_H
#define GEOM_ANGLE_H

/* The angle in radians, 0 to pi, between the positive x axis and (x, y), for y >= 0 and finite numbers; 0 for
 * (0, 0). Relative error below 2^-50, as tests/geom/test_angle.c finds against the library's atan2l. */
double angle_of(double y, double x);

#endif
