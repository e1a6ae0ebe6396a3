/* truth.h - a limit surface by brute force: deep subdivision, sampled face by face.
 *
 * Points: the limits of a mesh refined one level deeper than the triangles; they lie on the surface.
 * Triangles: those of the limits of the coarser mesh; they lie within `slack` of the surface, which is
 * measured at the finer mesh's points and doubled. */
#ifndef SUBDIV_TRUTH_H
#define SUBDIV_TRUTH_H

#include "subdiv/cages.h"
#include "subdiv/patches.h"

struct truth {
    struct cage coarse, fine;
    vec3 *coarse_limits, *fine_limits;
    double slack;
};

struct truth truth_at(struct arena *arena, const struct mesh *mesh, const struct creases *creases,
                      enum boundary_rule rule, unsigned level);

/* How far the surface over a face is from the nearest of the face's triangles, less that triangle's eps, at
 * most; and how far the points of a triangle are from the surface over its face, less eps and slack. Neither
 * may be above 0. */
double truth_excess_to_triangles(const struct truth *truth, const struct limit_mesh *limit, uint32_t face);
double truth_excess_to_surface(const struct truth *truth, const struct limit_mesh *limit, size_t triangle);
/* The distance behind the first, without eps, as a share of the largest eps of the face. */
double truth_share(const struct truth *truth, const struct limit_mesh *limit, uint32_t face);

#endif
