/* limit_surface.h - the Catmull-Clark limit surface of a cage, or of some of its faces, as a mesh that can be
 * measured like any other.
 *
 * It is made about the centre of the cage's box, in the cage's unit (measure_input.h), so that rounding is
 * small whatever the place and scale, and moved back. Lengths are in the units of the file. */
#ifndef MEASURE_LIMIT_SURFACE_H
#define MEASURE_LIMIT_SURFACE_H

#include "measure/measure_input.h"
#include "mesh/warning.h"
#include "subdiv/patches.h"

#define LIMIT_AT_ONCE 8 /* parts of the faces, which do not know of each other's work */
#define LIMIT_ATTEMPTS 18

struct limit_source {
    const struct measure_input *cage;
    struct limit_base base; /* centred */
    double moving;          /* what moving back may round, part of every eps */
    size_t work;            /* done for all that was built of it: see limit_room in subdiv/patches.h */
};

/* creases may be NULL; warnings receive crease_without_edge and no_limit_surface. ERROR_LIMIT when memory
 * ends. */
bool limit_source_open(const struct measure_input *cage, const struct creases *creases,
                       enum boundary_rule rule, struct limit_source *source, struct warning_list *warnings,
                       struct arena *keep, struct arena scratch, struct error *err);

struct limit_surface {
    struct limit_mesh
        limit;        /* triangles as in subdiv/patches.h; `eps` of each in units of the centred cage */
    double eps;       /* every point of it is within eps of its triangle, and the other way */
    struct mesh mesh; /* the same triangles */
    struct measure_input input; /* what deviation_measure reads of a subject; of the whole cage: its box */
};

struct limit_wish {
    double eps;             /* wanted; */
    struct limit_room room; /* made wider until it has room there; wider than any cage, it counts no more */
    double eps_most;        /* not 0: wider than that, nothing is built */
    const bool *faces;      /* [face_count of the cage] those wanted, NULL: all */
    const struct limit_choice *choice; /* of these, what is wanted, about the centre; NULL: all */
    size_t threads;                    /* does not change any result */
};

/* A box in the units of the file, and what is within `reach` of it, as a place of a limit_choice. */
struct limit_place limit_source_place(const struct limit_source *source, aabb box, double reach);

/* The eps of one triangle in the units of the file. */
static inline double limit_surface_eps(const struct limit_source *source, const struct limit_mesh *limit,
                                       size_t t)
{
    return nextafter(limit->eps[t] * source->cage->unit + source->moving, INFINITY);
}

/* Where eps has to be made wider, that takes at most LIMIT_ATTEMPTS attempts, each with no more work than
 * LIMIT_AT_ONCE times the room and that of as many faces.
 *
 * Where no face is wanted, none has a limit surface, or nothing is built, triangle_count is 0 and there is no
 * mesh. told, which may be NULL, hears the stage "limit" from 0 to 1. ERROR_LIMIT, ERROR_CANCELLED. */
bool limit_surface_build(struct limit_source *source, const struct limit_wish *wish,
                         const struct progress *told, struct limit_surface *surface, struct arena *keep,
                         struct arena scratch, struct error *err);

#endif
