/* deviation_faces.h - how far each face of a mesh is from the other surface.
 *
 * Distances are from points of a face, as triangulated (mesh/triangulation.h), to the other surface. Lengths
 * and points are in the units of the file, arrays in the file's order of faces. */
#ifndef MEASURE_DEVIATION_FACES_H
#define MEASURE_DEVIATION_FACES_H

#include "measure/deviation_surface.h"

struct surface_parts;
struct maximum;

/* Read by the functions below. For a mesh of a million faces every byte counts, so bounds are floats, rounded
 * outwards, and a place is told by its name. */
struct face_distances {
    size_t count; /* of faces */
    const struct mesh *mesh;
    struct deviation_frame frame;
    double slack;         /* rounding, to be taken off what is below and put on what is above */
    float *lower, *upper; /* [count] in the frame */
    float *peak;          /* likewise */
    uint32_t *at;         /* [count] a vertex; FACE_AT_MIDDLE of a triangle; or FACE_AT_POINT + number */
    vec3 *points;         /* in the units of the file */
};
#define FACE_AT_POINT ((uint32_t)1 << 31)
#define FACE_AT_MIDDLE UINT32_MAX

/* Every point of face f is within [lower, upper] of the other surface. */
double face_distance_lower(const struct face_distances *distances, size_t f);
double face_distance_upper(const struct face_distances *distances, size_t f);
/* A point on f that is at least that far from it, rounding taken off: the largest such distance known, so
 * that the maximum of f is in [peak, upper]. */
double face_distance_peak(const struct face_distances *distances, size_t f);
vec3 face_distance_at(const struct face_distances *distances, size_t f);

/* Of both meshes, from the same bounds as the statistics (deviation_statistics.h). */
struct deviation_faces {
    struct face_distances of_subject, of_reference;
};

/* Bytes that those of one mesh take, at most. */
size_t deviation_faces_bytes(const struct mesh *mesh);

/* Those of one mesh, from all parts of its surface and the farthest place found on it. Arrays come from keep;
 * ERROR_LIMIT when memory ends. */
bool deviation_faces_take(const struct surface_parts *parts, const struct maximum *farthest,
                          const struct deviation_frame *frame, struct face_distances *faces,
                          struct arena *keep, struct error *err);

#endif
