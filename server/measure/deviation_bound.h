/* deviation_bound.h - upper bounds of the distance over a piece of one surface to the other surface.
 *
 * The distance to a convex face is convex, so its maximum over a convex piece is at a corner of the piece;
 * and the distance to the other surface is at most the distance to any one of its faces (Sacht and Jacobson
 * 2024, "Cascading upper bounds for triangle soup Pompeiu-Hausdorff distance"; Zheng et al. 2022, "Economic
 * upper bound estimation in Hausdorff distance computation for triangle meshes"). */
#ifndef MEASURE_DEVIATION_BOUND_H
#define MEASURE_DEVIATION_BOUND_H

#include "geom/vec3.h"

#include <stddef.h>

#define BOUND_FACES_MAX 4

/* distances[k][i]: from corner i of a triangle to face k. The least upper bound over the triangle that the
 * faces give together: for any weights w >= 0 that sum to 1, min over k of d_k <= sum of w_k d_k, which is
 * convex too, so the bound is the minimum over weights of max over corners i of sum over k of w_k d_k(i) -
 * the value of a matrix game. Weights on up to three faces are tried; the result is an upper bound whichever.
 * Where two or three faces are equally near in the middle of a piece it is exact to second order in the size
 * of the piece, while the best single face is so to first order only. */
double bound_by_faces(double distances[][3], size_t face_count);

/* From the distances at the three corners of a triangle, as d grows by at most the way: min over corners i of
 * (d_i + longest way to a corner). */
double bound_by_way(const vec3 *corners, const double *distances);

#endif
