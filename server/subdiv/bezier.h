/* bezier.h - one bicubic piece of a limit surface: from B-spline to Bezier points, and halves.
 *
 * A piece has 4 x 4 points, point [4 j + i] the i-th along u and the j-th along v. Its corners are numbered
 * around: 0 is (u, v) = (0, 0), 1 is (1, 0), 2 is (1, 1), 3 is (0, 1). Pure functions. */
#ifndef SUBDIV_BEZIER_H
#define SUBDIV_BEZIER_H

#include "geom/vec3.h"

/* The uniform bicubic B-spline piece between the four inner points of net, as Bezier points. */
void bezier_from_net(const vec3 net[16], vec3 bezier[16]);

void bezier_corners(const vec3 bezier[16], vec3 corners[4]);

/* Both parts at t of the way, along u or along v; high may be the piece itself. */
void bezier_cut(const vec3 bezier[16], bool along_u, double t, vec3 low[16], vec3 high[16]);

/* The point at (u, v); the corners exactly. */
vec3 bezier_at(const vec3 bezier[16], double u, double v);

#endif
