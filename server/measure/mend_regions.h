/* mend_regions.h - changed faces gathered into regions, and what each region did; see mend.h. */
#ifndef MEASURE_MEND_REGIONS_H
#define MEASURE_MEND_REGIONS_H

#include "measure/mend.h"
#include "measure/mend_edges.h"

struct mend_gap;

struct mend_regions {
    const struct measure_input *input[MEND_SIDES];
    const struct mend_match *match;
    const struct mend_edges *edges;
    uint32_t *change_begin; /* [region count + 1] into changes */
    uint32_t *changes;      /* [change count] ascending within a region */
    uint32_t *edge_begin;   /* [region count + 1] into edge_order */
    uint32_t *edge_order;   /* [edge count] ascending within a region */
    double unit, guard;     /* as in struct measure_input, for both meshes */
    int outward;            /* -1: the reference lists its faces counter-clockwise seen from inside */
    uint32_t *latest;       /* [point count] the gap edge met last at each point */
    uint32_t *set;          /* [edge count] which gap edges hang together */
    struct mend_gap *gaps;  /* [edge count] */
};

bool mend_regions_build(const struct measure_input *subject, const struct measure_input *reference,
                        const struct mend_match *match, const struct mend_edges *edges,
                        struct mend_regions *regions, struct arena *keep, struct arena scratch,
                        struct error *err);

/* One at a time: it writes into the room that regions keep. */
struct mend_region mend_regions_report(const struct mend_regions *regions, size_t r);

/* Enclosed volume of a mesh in units^3 of its input, positive where it is a solid; NaN unless it is closed
 * and oriented. */
double mend_enclosed_volume(const struct measure_input *input);

#endif
