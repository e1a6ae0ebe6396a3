/* quad_fit.h - how far a piece of surface over the unit square may be from two triangles over its corners.
 *
 * S(u, v) is the piece, T(u, v) the two triangles over the corners F00, F10, F11, F01 (which S meets), cut
 * along one diagonal, or along either of them where it is not known which. F is the bilinear surface over the
 * corners and w = F00 + F11 - F10 - F01 its twist; then T = F + s w with s in [0, 1/4] along the diagonal
 * from F00, in [-1/4, 0] along the other one, since uv - max(0, u + v - 1) and min(u, v) - uv lie in [0,
 * 1/4]. Two bounds hold, each in both directions (S to T and T to S); the smaller counts.
 *
 * Differences at equal (u, v). Where S is bicubic with Bezier points b_ij, S - T lies in the hull of the
 * points b_ij - F(i/3, j/3) - s w with both ends of the range of s: F has the Bezier points F(i/3, j/3).
 * Where S consists of several pieces: each against its part of T. A part is bilinear over its own corners
 * plus s times its own twist likewise: of the four quarters of a square two are halved copies of it, cut
 * along the same diagonal, with half the twist, and the other two lie in one triangle each, where the twist
 * is 0. Where S is only known to lie in a ball: T lies in the hull of its corners there and of those moved by
 * the ends of s w, so radius + the distance from the centre to the farthest of them.
 *
 * By parameters. E bounds |S - T| at equal (u, v), which run over all of S and of T.
 *
 * By projection, which does not mind how S runs along itself. Take the plane with unit normal n along the
 * cross product of the diagonals, and p' for the projection of p. The projections of the corners must make a
 * convex quad Q, counter-clockwise about n. So T is a graph over Q; let g be its slope. Let En, Et bound the
 * components of S - T along n and in the plane; o bound the distance from S' to Q (the distance to a convex
 * set is convex: the largest over Bezier points); b bound the distance from the projected boundary curve over
 * each side to that side of Q (likewise). S to T: let q be the point of Q nearest to S(u, v)'. Then |S(u, v)'
 * - q|
 * <= o, and along n |S - T(q)| <= |S - T(u, v)| + |T(u, v) - T(q)| <= En + g Et =: V, since nearest points of
 * a convex set are no farther from T(u, v)', a point of Q, than S(u, v)' is. So the distance is at most
 * hypot(o, V). T to S: the points of Q that are at least b from its boundary make a set R; the projected
 * boundary of S winds around each of them as that of Q does (move each curve straight to its side: it stays
 * within b of the side), so they are projections of points of S. No point of Q is farther than r from R, with
 * r the largest b / sin(a / 2) of the angles a of Q, where R has four sides: the distance to a convex set is
 * convex, and largest at a corner. Now let p be any point of Q. If it is no projection of a point of S, then
 * on the straight way of at most r to R the winding number changes, so that it meets the projected boundary
 * of S, in a point S(u, v)' of Q: V + g r along n. Where R has fewer sides, or 2 b is less, r = 2 b: nearer
 * than b to a side, the curve over that side runs from corner to corner and so passes the foot of p at a
 * distance of at most b. eps = max(hypot(o, V), hypot(r, V + g r)). */
#ifndef SUBDIV_QUAD_FIT_H
#define SUBDIV_QUAD_FIT_H

#include "geom/vec3.h"

#define QUAD_FIT_NO_SIDE (-1)

/* The diagonal that a quad is cut along. */
enum quad_cut {
    QUAD_CUT_EITHER, /* a bound is to hold along both */
    QUAD_CUT_FROM_0, /* from corner 0 to corner 2 */
    QUAD_CUT_FROM_1
};

struct quad_fit {
    vec3 corners[4];
    enum quad_cut cut;
    vec3 twist;             /* of all */
    bool has_plane;         /* the projections make a convex quad */
    vec3 normal, inward[4]; /* unit vectors; inward[k] in the plane, from side k (corner k to k + 1) into Q */
    vec3 along[4];          /* unit vectors along the sides of Q */
    double length[4];       /* of the sides of Q */
    double slope;
    /* squares of the largest values met so far */
    double off_sq, off_normal_sq, off_plane_sq, outside_sq, side_sq;
};

/* A part of a quad over a part of the unit square. */
struct quad_part {
    vec3 corners[4]; /* of T there */
    double share;    /* of the twist of all; 0: it lies in one triangle */
    bool aligned;    /* the diagonal goes from corner to corner, or past it */
    bool odd;        /* numbered from corner 1 or 3 of the whole on */
    int sides[4];    /* the side of the whole on which its side lies, or QUAD_FIT_NO_SIDE */
};

/* Begins for a piece with these corners. */
void quad_fit_begin(struct quad_fit *fit, const vec3 corners[4], enum quad_cut cut);

/* All of it, and of a part its four quarters, quarter i at corner i, and its halves, of which the first has
 * the side from corner `side` on. All are numbered alike, around. */
struct quad_part quad_fit_whole(const struct quad_fit *fit);
struct quad_part quad_fit_quarter(const struct quad_fit *fit, const struct quad_part *part, unsigned i);
struct quad_part quad_fit_half(const struct quad_part *part, unsigned side, bool second);
/* Numbered from its corner `turns` on. */
struct quad_part quad_fit_turned(const struct quad_part *part, unsigned turns);

/* Adds a bicubic part of S. */
void quad_fit_add_bezier(struct quad_fit *fit, const vec3 points[16], const struct quad_part *part);
/* The same, looked at more closely: as quarters. */
void quad_fit_add_quarters(struct quad_fit *fit, const vec3 points[16], const struct quad_part *part);

/* Adds a part of S that lies in a ball. */
void quad_fit_add_ball(struct quad_fit *fit, vec3 centre, double radius, const struct quad_part *part);

/* The bound, without rounding. */
double quad_fit_eps(const struct quad_fit *fit);

/* Whether what was added so far already makes the bound larger than the square root of most_sq. */
bool quad_fit_is_over(const struct quad_fit *fit, double most_sq);

/* The diagonal that is nearer to the middle of S. */
enum quad_cut quad_fit_choose(const vec3 corners[4], vec3 middle);

#endif
