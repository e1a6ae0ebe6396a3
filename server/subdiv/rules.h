/* rules.h - the arithmetic of one Catmull-Clark step at one edge and at one vertex; pure functions.
 *
 * E. Catmull, J. Clark, "Recursively generated B-spline surfaces on arbitrary topological meshes",
 * Computer-Aided Design, 1978; sharp and semi-sharp edges after T. DeRose, M. Kass, T. Truong, "Subdivision
 * surfaces in character animation", SIGGRAPH 1998. An edge has a sharpness s: 0 smooth, INFINITY sharp for
 * ever (open edges, non-manifold edges, creases of 10 and more), else semi-sharp; its two halves have s - 1
 * after a step, or 0.
 *
 *   face point     mean of the face's vertices
 *   edge point     smooth: mean of the two ends and the two face points; s >= 1: the midpoint; between: a
 * blend vertex point   by the number of sharp edges there: 0 or 1: ((n - 2) v + mean e + mean f) / n; 2: (6 v
 * + e1 + e2) / 8; 3 and more, or fixed: v where the number changes with this step, a blend of both rules, by
 * the mean s of the edges that become smooth
 *
 * Every rule is a mean with weights that are not negative: a surface stays in the hull of its points. */
#ifndef SUBDIV_RULES_H
#define SUBDIV_RULES_H

#include <stddef.h>

#include "geom/vec3.h"

#define SHARPNESS_INFINITE 10.0 /* a crease this sharp is sharp for ever: common practice, no source */

/* What happens where the surface ends. */
enum boundary_rule {
    BOUNDARY_EDGE_ONLY,      /* open edges are smooth curves, a corner of one face is rounded off */
    BOUNDARY_EDGE_AND_CORNER /* besides, a vertex with one face stays where it is */
};

static inline double sharpness_after_step(double s)
{
    return s > 1 ? s - 1 : 0;
}

static inline vec3 edge_point(vec3 a, vec3 b, vec3 face_points_sum, double s)
{
    vec3 ends = vec3_add(a, b), middle = vec3_scale(ends, 0.5);
    if (s >= 1)
        return middle;
    return vec3_lerp(vec3_scale(vec3_add(ends, face_points_sum), 0.25), middle, s);
}

/* The sums over the edges and faces at one vertex that its vertex point needs. Starts as all zero. */
struct vertex_sums {
    size_t edge_count, sharp_count, next_count, turning_count;
    vec3 neighbours;  /* the far ends of all edges */
    vec3 face_points; /* of all faces */
    vec3 sharp;       /* far ends of the edges that are sharp in this step */
    vec3 next;        /* of those that are sharp after it too */
    double turning;   /* sharpness of the edges that become smooth */
};

static inline void vertex_sums_add_edge(struct vertex_sums *sums, vec3 neighbour, double s)
{
    sums->edge_count++;
    sums->neighbours = vec3_add(sums->neighbours, neighbour);
    if (s <= 0)
        return;
    sums->sharp_count++;
    sums->sharp = vec3_add(sums->sharp, neighbour);
    if (s > 1) {
        sums->next_count++;
        sums->next = vec3_add(sums->next, neighbour);
    } else {
        sums->turning_count++;
        sums->turning += s;
    }
}

static inline void vertex_sums_add_face(struct vertex_sums *sums, vec3 face_point)
{
    sums->face_points = vec3_add(sums->face_points, face_point);
}

static inline vec3 vertex_point_by(vec3 v, const struct vertex_sums *sums, size_t sharp_count, vec3 sharp)
{
    double n = (double)sums->edge_count;
    if (sharp_count > 2)
        return v;
    if (sharp_count == 2)
        return vec3_scale(vec3_add(vec3_scale(v, 6), sharp), 0.125);
    return vec3_scale(
        vec3_add(vec3_scale(v, n - 2), vec3_scale(vec3_add(sums->neighbours, sums->face_points), 1 / n)),
        1 / n);
}

/* The vertex point of v, which has at least one edge and is not fixed. */
static inline vec3 vertex_point(vec3 v, const struct vertex_sums *sums)
{
    vec3 now = vertex_point_by(v, sums, sums->sharp_count, sums->sharp);
    if (sums->turning_count == 0)
        return now;
    vec3 then = vertex_point_by(v, sums, sums->next_count, sums->next);
    return vec3_lerp(then, now, sums->turning / (double)sums->turning_count);
}

#endif
