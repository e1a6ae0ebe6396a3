/* measure_input.h - a mesh with everything derived that several measures need, built once and then read only.
 */
#ifndef MEASURE_MEASURE_INPUT_H
#define MEASURE_MEASURE_INPUT_H

#include "base/arena.h"
#include "base/progress.h"
#include "mesh/mesh.h"

enum mesh_kind { MESH_SCAN, MESH_CAGE };

struct measure_input {
    const struct mesh *mesh;
    enum mesh_kind kind;
    aabb bounds;     /* of referenced vertices */
    vec3 centre;     /* of bounds: geometry is computed about it */
    double diagonal; /* of bounds */
    /* topology: added by the topology room's author (edges, fans, shells) */
    int8_t *face_side; /* [face_count] +1: the listing faces away from the shell's enclosed volume, -1: the
                        * reverse listing does; after orienting each shell by its own signed volume. 0 when
                        * unknown. */
    bool closed_orientable; /* every edge has exactly two faces and each shell can be oriented */
};

/* More than half of the faces have four corners: a cage; any other is a scan. */
enum mesh_kind mesh_kind_guess(const struct mesh *mesh);

bool measure_input_build(const struct mesh *mesh, enum mesh_kind kind, const struct progress *progress,
                         struct measure_input *input, struct arena *keep, struct arena scratch,
                         struct error *err);

#endif
