/* integrals.h - area and volume of a limit surface, from refined meshes; estimates, not bounds.
 *
 * At each level the mesh is taken twice: as refined, which approaches the surface from outside where it is
 * convex, and with its vertices moved to their limits, which does so from inside. Both errors fall to a
 * quarter with each step where the surface is regular, so each way is extrapolated from two levels, (4 x(k) -
 * x(k - 1)) / 3 (L. F. Richardson, "The deferred approach to the limit", 1927). The value is the mean of both
 * ways; its stated error is their difference plus the change of the value since the level before. A quad is
 * its two triangles: of the area the mean over both diagonals, and of the volume too, which is that under the
 * bilinear surface. */
#ifndef SUBDIV_INTEGRALS_H
#define SUBDIV_INTEGRALS_H

#include "subdiv/cage.h"

struct limit_integrals {
    unsigned level;                  /* of the finest mesh used */
    double area_refined, area_moved; /* of that mesh */
    double volume_refined, volume_moved;
    double area, area_error;
    double volume, volume_error; /* NaN unless every edge has two sides of opposite direction */
};

/* Refines while the next mesh has at most quad_max quads, but at least 3 times and at most 9 times.
 * ERROR_LIMIT when memory ends, ERROR_EMPTY without faces. */
bool limit_integrals_build(const struct cage *cage, size_t quad_max, struct limit_integrals *integrals,
                           struct arena scratch, struct error *err);

/* Area and volume (signed, about the first vertex) of a mesh of quads with other positions. */
void quads_measure(const struct mesh *mesh, const vec3 *positions, double *area, double *volume);

#endif
