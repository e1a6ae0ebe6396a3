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

struct limit_source {
    const struct measure_input *cage;
    struct limit_base base; /* centred */
    double moving;          /* what moving back may round, part of every eps */
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
    double eps;        /* wanted; */
    size_t quads_max;  /* made wider until no more quads are needed; wider than any cage, it counts no more */
    const bool *faces; /* [face_count of the cage] those wanted, NULL: all */
    size_t threads;    /* does not change any result */
};

/* Where no face is wanted, or none has a limit surface, triangle_count is 0 and there is no mesh. told, which
 * may be NULL, hears the stage "limit" from 0 to 1. ERROR_LIMIT, ERROR_CANCELLED. */
bool limit_surface_build(struct limit_source *source, const struct limit_wish *wish,
                         const struct progress *told, struct limit_surface *surface, struct arena *keep,
                         struct arena scratch, struct error *err);

#endif
