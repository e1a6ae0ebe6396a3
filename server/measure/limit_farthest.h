/* limit_farthest.h - the two maxima of the limit surface, known more narrowly than its triangles allow.
 *
 * With all triangles within e of the surface, a maximum is known no closer than 2 e. But only few places can
 * be the farthest: what is nowhere farther than the lower bound of the maximum does not count.
 *   - The way to the reference: where triangles may hold the maximum, the pieces of the surface near them are
 *     cut finer, and their maximum taken anew.
 *   - The way from the reference: the parts of the reference that may hold it (limit_parts.h) are measured
 *     against finer triangles of all pieces of the surface that may be nearest to one of their points: those
 *     whose hull is no farther from the part than the surface is.
 * Where too much would have to be cut, the interval stays as it is. The idea is ours. */
#ifndef MEASURE_LIMIT_FARTHEST_H
#define MEASURE_LIMIT_FARTHEST_H

#include "measure/deviation.h"
#include "measure/limit_surface.h"

struct limit_narrowing {
    struct limit_source *source;
    const struct limit_surface *surface; /* what was measured */
    const struct measure_input *reference;
    const struct deviation_faces *faces; /* of it and of the reference */
    double eps;                          /* wanted */
    double width;                        /* wanted of the search among the triangles */
    double enough;                       /* of a maximum: as narrow a one is left as it is */
    struct limit_room room;              /* of what is cut finer */
    size_t threads;
    const struct progress *progress; /* told "limit", "index" and "hausdorff", each from 0 to 1, twice */
};

double limit_width(const struct farthest_place *place);

/* Narrows both maxima of the deviation, which are of the surface, eps included, and name faces of
 * the cage; where a narrower one is found, its places and faces are put in their stead. ERROR_LIMIT,
 * ERROR_CANCELLED. */
bool limit_farthest_narrow(const struct limit_narrowing *narrowing, struct deviation *deviation,
                           struct arena scratch, struct error *err);

#endif
