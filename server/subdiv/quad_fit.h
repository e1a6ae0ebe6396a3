/* quad_fit.h - how far a piece of surface over the unit square may be from two triangles over its corners.
 *
 * S(u, v) is the piece, F the bilinear surface over the corners F00, F10, F11, F01 (which S meets), T the two
 * triangles, cut along either diagonal. Two bounds hold, each in both directions (S to T and T to S); the
 * smaller counts.
 *
 * By parameters. |S - T| <= E1 + E2 at equal (u, v), which run over all of S and of T.
 *     E1 bounds |S - F|. Where S is bicubic with Bezier points b_ij: max |b_ij - F(i/3, j/3)|, since F has
 * these Bezier points and the difference lies in the hull of the differences. Where S consists of several
 * pieces: each against its part of F. Where S is only known to lie in a ball: F lies in the hull of its
 * corners there, so radius + the distance from the centre to the farthest of them. E2 = |F00 - F10 - F01 +
 * F11| / 4: on a triangle, F - T is that twist times a product of two numbers of sum <= 1.
 *
 * By projection, which does not mind how S runs along itself. Take the plane with unit normal n along the
 * cross product of the diagonals, and p' for the projection of p. The corners lie z = |n . twist| / 4 above
 * or below it; their projections must make a convex quad Q, counter-clockwise about n. So T is a graph over
 * Q; let g be its slope. Let En, Et bound the components of S - F along n and in the plane (as E1), t = Et +
 * |twist in the plane| / 4, so that |S' - T'| <= t at equal (u, v); o bound the distance from S' to Q (the
 * distance to a convex set is convex: the largest over Bezier points); b bound the distance from the
 * projected boundary curve over each side to that side of Q (likewise). S to T: let q be the point of Q
 * nearest to S(u, v)'. Then |S(u, v)' - q| <= o, and along n |S - T(q)| <= |S - F| + |F - T| + |T(u, v) -
 * T(q)| <= En + z + g t =: V, since nearest points of a convex set are no farther from T(u, v)', a point of
 * Q, than S(u, v)' is. So the distance is at most hypot(o, V). T to S: let p be a point of Q. Farther than b
 * from the boundary of Q, the projected boundary of S winds around p as that of Q does (move each curve
 * straight to its side: it stays within b of the side), so p = S(u, v)' for some (u, v): distance at most V.
 * Nearer than b to a side: the curve over that side runs from corner to corner and so passes the foot of p at
 * a distance of at most b; that point is at most 2 b away in the plane, V + 2 g b along n. eps = max(hypot(o,
 * V), hypot(2 b, V + 2 g b)). */
#ifndef SUBDIV_QUAD_FIT_H
#define SUBDIV_QUAD_FIT_H

#include "geom/vec3.h"

#define QUAD_FIT_NO_SIDE (-1)

struct quad_fit {
    vec3 corners[4];
    bool has_plane;         /* the projections make a convex quad */
    vec3 normal, inward[4]; /* unit vectors; inward[k] in the plane, from side k (corner k to k + 1) into Q */
    vec3 along[4];          /* unit vectors along the sides of Q */
    double length[4];       /* of the sides of Q */
    double slope;
    /* squares of the largest values met so far */
    double off_sq, off_normal_sq, off_plane_sq, outside_sq, side_sq;
};

/* Begins for a piece with these corners. */
void quad_fit_begin(struct quad_fit *fit, const vec3 corners[4]);

/* Adds a bicubic part of S. part: the corners of F over the part's own square, in the order of the part's
 * corners; sides[j]: the side of the whole on which side j of the part lies, or QUAD_FIT_NO_SIDE. */
void quad_fit_add_bezier(struct quad_fit *fit, const vec3 points[16], const vec3 part[4], const int sides[4]);

/* Adds a part of S that lies in a ball. */
void quad_fit_add_ball(struct quad_fit *fit, vec3 centre, double radius, const vec3 part[4],
                       const int sides[4]);

/* The bound, without rounding. */
double quad_fit_eps(const struct quad_fit *fit);

/* Whether what was added so far already makes the bound larger than the square root of most_sq. */
bool quad_fit_is_over(const struct quad_fit *fit, double most_sq);

/* E1 + E2 alone. */
double quad_fit_eps_by_parameters(const struct quad_fit *fit);

#endif
