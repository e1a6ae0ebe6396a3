/* finding_groups.h - which corners of a mesh belong to one place that somebody may want to mend.
 *
 * Every kind of finding is a labelling of corners: a group is the corners (or the sides that start there)
 * with one label. Groups are numbered by their first corners, so the labelling of a mesh is always the same.
 */
#ifndef MEASURE_FINDING_GROUPS_H
#define MEASURE_FINDING_GROUPS_H

#include "measure/finding.h"

/* A shell with less than this share of the area of the largest is stray: common practice, no source. */
#define FINDING_STRAY_SHARE 0.05

struct finding_groups {
    size_t count;
    uint32_t *corner_group; /* [corner count] or UINT32_MAX*/
    bool are_sides;         /* both ends of the side belong to the place, else the corner alone */
    double *size;  /* [count] in finding_size_unit: edges, faces; lengths and areas in units of input */
    double *score; /* [count] 0..1 */
};

/* Faces that repeat an earlier one, edges with three faces, and so on, gathered where they touch: edges and
 * faces that share a vertex are one place, reversed faces that share an edge are. */
bool finding_groups_build(const struct measure_input *input, enum finding_kind kind,
                          struct finding_groups *groups, struct arena *keep, struct arena scratch,
                          struct error *err);

/* "length", "area", "edges" or "faces". */
const char *finding_size_unit(enum finding_kind kind);

#endif
