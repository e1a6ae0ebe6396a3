/* measure_input.h - a mesh with everything derived that several measures need, built once and then read only.
 */
#ifndef MEASURE_MEASURE_INPUT_H
#define MEASURE_MEASURE_INPUT_H

#include "base/arena.h"
#include "base/progress.h"
#include "topology/duplicates.h"
#include "topology/genus.h"

enum mesh_kind { MESH_SCAN, MESH_CAGE };

struct measure_input {
    const struct mesh *mesh;
    enum mesh_kind kind;
    aabb bounds;     /* of referenced vertices; empty when there is none */
    vec3 centre;     /* of bounds: geometry is computed about it */
    double diagonal; /* of bounds; infinite where it exceeds a double */
    /* A power of two no smaller than a sixteenth of the largest extent. In units of it every extent is at
     * most 16, so sums of areas and volumes cannot overflow while they are made. */
    double unit;
    struct edges edges;
    struct fans fans;
    struct shells shells;
    struct open_loops loops;
    struct genus genus;
    struct duplicates duplicates;
    int8_t *face_side; /* [face_count] +1: the listing faces away from the shell's enclosed volume, -1: the
                        * reverse listing does; after orienting each shell by its own signed volume. 0 when
                        * unknown: the shell is open, not a surface, not orientable or encloses nothing. */
    bool closed_orientable; /* every edge has exactly two faces and each shell can be oriented */
};

/* More than half of the faces have four corners: a cage; any other is a scan. */
enum mesh_kind mesh_kind_guess(const struct mesh *mesh);

/* Tells stage "topology". Every array comes from keep; mesh must outlive the input. ERROR_LIMIT when an arena
 * is too small, ERROR_CANCELLED when progress says stop. */
bool measure_input_build(const struct mesh *mesh, enum mesh_kind kind, const struct progress *progress,
                         struct measure_input *input, struct arena *keep, struct arena scratch,
                         struct error *err);

#endif
