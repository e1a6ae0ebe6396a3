/* surface_corner.h - a vertex as the page gets it: quantised place and octahedral normal. */
#ifndef PICTURE_SURFACE_CORNER_H
#define PICTURE_SURFACE_CORNER_H

#include "geom/vec3.h"

#include <stdint.h>

#define CORNER_STEPS 65535

struct surface_corner {
    uint16_t place[3];
    int8_t normal[2];
};

/* A cube of CORNER_STEPS steps a side about a box. step is 0 where the box is a point. */
struct corner_grid {
    vec3 origin;
    double step;
};
struct corner_grid corner_grid_about(aabb box);

/* Quantises p, rounding to the nearest; what lies outside the cube comes to its side. A normal of no length,
 * or not a number, becomes (0, 0, 1). */
struct surface_corner surface_corner_of(const struct corner_grid *grid, vec3 p, vec3 normal);
vec3 surface_corner_place(const struct corner_grid *grid, const struct surface_corner *corner);
/* Unit length. */
vec3 surface_corner_normal(const struct surface_corner *corner);

#endif
