/* deviation_faces.h - how far each face of a mesh is from the other surface.
 *
 * Distances are from points of a face, as triangulated (mesh/triangulation.h), to the other surface. Lengths
 * and points are in the units of the file, arrays in the file's order of faces. */
#ifndef MEASURE_DEVIATION_FACES_H
#define MEASURE_DEVIATION_FACES_H

#include "base/arena.h"
#include "geom/vec3.h"

struct surface_parts;
struct deviation_frame;
struct maximum;

struct face_distances {
    size_t count;          /* of faces */
    double *lower, *upper; /* every point of face f is within [lower[f], upper[f]] of the other surface */
    double *peak;          /* at[f], on f, is at least that far from it, rounding taken off: the largest
                            * such distance known, so that the maximum of f is in [peak[f], upper[f]] */
    vec3 *at;              /* [count] */
};

/* Of both meshes, from the same bounds as the statistics (deviation_statistics.h). */
struct deviation_faces {
    struct face_distances of_subject, of_reference;
};

/* Those of one mesh, from all parts of its surface and the farthest place found on it. Arrays come from keep;
 * ERROR_LIMIT when memory ends. */
bool deviation_faces_take(const struct surface_parts *parts, const struct maximum *farthest,
                          const struct deviation_frame *frame, struct face_distances *faces,
                          struct arena *keep, struct error *err);

#endif
