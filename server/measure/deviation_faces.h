/* deviation_faces.h - how far each face of a mesh is from the other surface.
 *
 * Distances are from points of a face, as triangulated (mesh/triangulation.h), to the other surface. Lengths
 * and points are in the units of the file, arrays in the file's order of faces. */
#ifndef MEASURE_DEVIATION_FACES_H
#define MEASURE_DEVIATION_FACES_H

#include "measure/measure_input.h"

struct face_distances {
    size_t count;          /* of faces */
    double *lower, *upper; /* every point of face f is within [lower[f], upper[f]] of the other surface */
    double *peak;          /* the largest distance found on f: attained at at[f], rounding taken off */
    vec3 *at;              /* [count] */
};

/* Distances at the corners, the middles of the sides and the centroid of every triangle; the bounds between
 * them follow since a distance changes no faster than its point moves. The same for any number of threads.
 * Arrays come from keep; a mesh without a face has none. ERROR_LIMIT when memory ends. */
bool deviation_faces_find(const struct measure_input *subject, const struct measure_input *reference,
                          size_t threads, struct face_distances *of_subject,
                          struct face_distances *of_reference, struct arena *keep, struct arena scratch,
                          struct error *err);

#endif
