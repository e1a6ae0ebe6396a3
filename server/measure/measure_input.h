/* measure_input.h - a mesh with everything derived that several measures need, built once and then read only.
 */
#ifndef MEASURE_MEASURE_INPUT_H
#define MEASURE_MEASURE_INPUT_H

#include "base/arena.h"
#include "base/progress.h"
#include "topology/duplicates.h"
#include "topology/genus.h"

enum mesh_kind { MESH_SCAN, MESH_CAGE };

enum face_class {
    FACE_REPEATED = 1,  /* an index is repeated */
    FACE_ZERO_AREA = 2, /* no index is repeated and the area is exactly 0 */
    FACE_ZERO_SIDE = 4, /* a side with two indices has no length */
    FACE_NEAR_ZERO = 8, /* not degenerate, area below 1e-12 of the squared diagonal */
    FACE_DEGENERATE = FACE_REPEATED | FACE_ZERO_AREA
};

struct measure_input {
    const struct mesh *mesh;
    enum mesh_kind kind;
    size_t threads;  /* that measures may use; no result depends on it */
    aabb bounds;     /* of referenced vertices; empty when there is none */
    vec3 centre;     /* of bounds: geometry is computed about it */
    double diagonal; /* of bounds; infinite where it exceeds a double */
    /* A power of two no smaller than a sixteenth of the largest extent. In units of it every extent is at
     * most 16, so sums of areas and volumes cannot overflow while they are made. */
    double unit;
    /* 1, or 1/16 where a coordinate is so large that the difference of two could overflow. */
    double guard;
    /* After measure_input_let_go only their counts, and of arrays shells.face_shell, shells.face_total and
     * the ends of loops; of a cage, fans.vertex_class_count. Fans of corners are NULL from the beginning. */
    struct edges edges;
    struct fans fans;
    struct shells shells;
    struct open_loops loops;
    struct genus genus;
    struct duplicates duplicates;
    uint8_t *face_class; /* [face_count] bits of enum face_class */
    double *shell_area;  /* [shell count] in unit^2 */
    double
        *shell_volume;   /* [shell count] signed, as listed, about centre, in unit^3; meaningless when open */
    double area, volume; /* sums over the shells, in unit^2 and unit^3 */
    int8_t *face_side;   /* [face_count] +1: the listing faces away from the shell's enclosed volume, -1: the
                          * reverse listing does; after orienting each shell by its own signed volume. 0 when
                          * unknown: the shell is open, not a surface, not orientable or encloses nothing. */
    bool closed_orientable; /* every edge has exactly two faces and each shell can be oriented */
};

/* More than half of the faces have four corners: a cage; any other is a scan. */
enum mesh_kind mesh_kind_guess(const struct mesh *mesh);

/* Tells stage "topology". Edges, fans, shells, loops, genus and duplicates come from topology, all other
 * arrays from keep, which may be the same; mesh must outlive the input. ERROR_LIMIT when an arena is too
 * small, ERROR_CANCELLED when progress says stop. */
bool measure_input_build_threaded(const struct mesh *mesh, enum mesh_kind kind, size_t threads,
                                  const struct progress *progress, struct measure_input *input,
                                  struct arena *keep, struct arena *topology, struct arena scratch,
                                  struct error *err);
/* The same with one thread, and all from keep. */
bool measure_input_build(const struct mesh *mesh, enum mesh_kind kind, const struct progress *progress,
                         struct measure_input *input, struct arena *keep, struct arena scratch,
                         struct error *err);

/* Copies to keep what distances and places need of the arrays that came from topology, and forgets the
 * others: that arena may then serve for something else. ERROR_LIMIT when keep is too small. */
bool measure_input_let_go(struct measure_input *input, struct arena *keep, struct error *err);

#endif
