/* limit_parts.h - the parts of the reference that may be farthest from a limit surface.
 *
 * The faces that may be are known (deviation_faces.h). Their triangles are cut in four again and again, and
 * what is certainly no farther than `rest` is dropped: with c the centroid of a part, f the face nearest to
 * it, r the way from c to its farthest corner, no point of the part is farther from the triangles than
 * d(c) + r, nor than the farthest corner is from f, since the distance to f is convex; from the surface, by
 * no more than eps more. Lengths are in the units of the file. */
#ifndef MEASURE_LIMIT_PARTS_H
#define MEASURE_LIMIT_PARTS_H

#include "measure/deviation_faces.h"
#include "measure/limit_surface.h"

struct limit_part {
    vec3 corners[3]; /* on a face of the reference, but for `rounding` */
    uint32_t face;   /* the face */
    uint32_t near;   /* a slot of the limit's index */
    double upper;    /* no point of it is farther from the limit */
};

struct limit_parts_search {
    const struct limit_surface *surface;
    const struct measure_input *reference;
    const struct face_distances *distances; /* of the reference to the triangles of the surface */
    double rest;
    size_t threads;
};

struct limit_parts {
    size_t count;
    struct limit_part *parts;
    double rounding; /* how far a corner may be from its face */
};

/* They are cut until there are LIMIT_PARTS_MAX, or as many as there were triangles to begin with; where these
 * are more than LIMIT_PARTS_CUT, not at all. ERROR_LIMIT. */
#define LIMIT_PARTS_MAX ((size_t)1 << 14)
#define LIMIT_PARTS_CUT ((size_t)1 << 16)
bool limit_parts_find(const struct limit_parts_search *search, struct limit_parts *parts, struct arena *keep,
                      struct arena scratch, struct error *err);

/* The parts as a mesh, part by part, and what measures read of it; mesh must outlive input. */
bool limit_parts_mesh(const struct limit_parts *parts, const struct measure_input *reference,
                      struct mesh *mesh, struct measure_input *input, struct arena *keep, struct error *err);

#endif
