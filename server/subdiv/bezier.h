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

/* Both halves by de Casteljau's algorithm, along u or along v. */
void bezier_halve(const vec3 bezier[16], bool along_u, vec3 low[16], vec3 high[16]);

/* How much the piece bends along u, or along v: the squared length of the largest second difference, without
 * its part along its own row of points, which only changes how fast the row is run through. */
double bezier_bend_sq(const vec3 bezier[16], bool along_u);

#endif
