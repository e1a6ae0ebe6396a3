/* surface_view.h - pictures of a stored surface (surface.h) in any direction, coloured by a value of each
 * face.
 *
 * Rays are parallel. Nothing is taken on trust: a stored surface is checked before it is drawn. The same
 * bytes give the same pixels. */
#ifndef PICTURE_SURFACE_VIEW_H
#define PICTURE_SURFACE_VIEW_H

#include "base/arena.h"
#include "geom/vec3.h"

#include <stdint.h>

/* A surface as far as pictures need it. */
struct stored_surface {
    size_t vertex_count, triangle_count;
    size_t face_count; /* of the mesh */
    bool is_simplified;
    double error;    /* at most so far is what is drawn from the mesh; 0 where it is the mesh's own */
    vec3 *positions; /* [vertex_count] */
    const uint32_t (*triangles)[3];
    const uint32_t *faces; /* of each triangle; simplified: of each vertex; NULL: triangle t is face t */
    aabb box;
};

/* Reads the first sections of a surface from fd, `bytes` long, into keep. ERROR_STORE where it is not a
 * surface of this program or does not hold together; ERROR_LIMIT when keep is too small. */
bool stored_surface_read(int fd, uint64_t bytes, struct stored_surface *surface, struct arena *keep,
                         struct error *err);

/* The values of a surface's triangles from those of the mesh's faces: its face's; of a simplified one, where
 * a vertex knows one face, the largest of its corners'. Not numbers stay so. */
bool stored_surface_values(const struct stored_surface *surface, const double *face_values, double **values,
                           struct arena *keep, struct error *err);

/* Where it is seen from: right, up and towards the eye are orthonormal. */
struct surface_look {
    vec3 right, up, towards;
    vec3 centre;  /* what is in the middle of the picture */
    double width; /* of what the picture shows, in the units of the file */
    double ahead; /* what is so much nearer to the eye than the centre is left away; INFINITY: nothing */
};
/* z is up, but where it is looked along. */
enum surface_side { SIDE_FRONT, SIDE_RIGHT, SIDE_BACK, SIDE_LEFT, SIDE_ABOVE, SIDE_BELOW, SIDE_COUNT };
struct surface_look surface_look_from(enum surface_side side);
/* Along a direction, z up as far as it can be. */
struct surface_look surface_look_along(vec3 towards);
/* How wide and high a box is as seen so. */
void surface_look_extent(const struct surface_look *look, aabb box, double *width, double *height);

/* Greatest value and the colours of even steps from 0 to it. */
enum { SURFACE_COLOURS = 9 };
extern const uint8_t surface_colours[SURFACE_COLOURS][3];
/* The colour of a share 0..1 of the greatest value, linear in sRGB between the stops; 0xRRGGBB. */
uint32_t surface_colour(double share);

/* Draws into pixels [height][width], 0xffRRGGBB on a plate of light grey. values: of the triangles, coloured
 * as shares of `top`; NULL: a plain surface. Light changes what is coloured by little, so that shade is not
 * taken for a value. depths [height][width] (may be NULL): how near the eye what is seen is, along
 * look->towards from look->centre, -INFINITY where nothing is. ERROR_LIMIT when scratch is too small. */
bool surface_draw(const struct stored_surface *surface, const struct surface_look *look, const double *values,
                  double top, size_t width, size_t height, uint32_t *pixels, float *depths,
                  struct arena scratch, struct error *err);

/* The vertex of the surface that is nearest to a place, and the direction away from the faces at it, the sum
 * of their normals by area; (0, -1, 0) where that has no length. */
vec3 stored_surface_outward(const struct stored_surface *surface, vec3 place);

#endif
