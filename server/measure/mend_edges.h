/* mend_edges.h - the faces that only one of two meshes has, the edges on them, and what hangs together.
 *
 * Edges go by position, so that those of both meshes meet and vertices at one place do not part faces. For
 * each edge it is counted which faces of either mesh lie on it, shared ones included, and in which direction:
 * +1 from the lower point to the higher, -1 the other way. Where every shared face is listed the other way in
 * the subject, its whole file is turned over, and the subject's directions are counted reversed. Linear in
 * the corners. */
#ifndef MEASURE_MEND_EDGES_H
#define MEASURE_MEND_EDGES_H

#include "measure/mend_match.h"

struct mend_edge {
    uint32_t low, high;         /* points, low < high */
    uint32_t change;            /* the first on it */
    uint32_t shared;            /* sides of shared faces */
    uint32_t sides[MEND_SIDES]; /* of all faces of the mesh */
    int32_t turns[MEND_SIDES];  /* sum of their directions */
    int32_t difference;         /* the same of the added faces less the removed ones */
};

struct mend_edges {
    /* Changes: faces without a partner, the subject's first (added), then the reference's (removed). */
    size_t added_count, change_count;
    bool flipped;    /* the subject's file is turned over */
    uint32_t *faces; /* [change_count] */
    uint32_t
        *region; /* [change_count] changes on one edge are in one region; numbered by their first changes */
    size_t region_count;
    uint32_t
        *point_of; /* [match position_end] point at each position, MEND_NONE where no change has a corner */
    vec3 *points;  /* [point_count] as in the files */
    size_t point_count;
    struct mend_edge *edges; /* [count] by the first change on each */
    size_t count;
};

bool mend_edges_build(const struct mend_match *match, struct mend_edges *edges, struct arena *keep,
                      struct arena scratch, struct error *err);

static inline enum mend_side mend_edges_side(const struct mend_edges *edges, size_t change)
{
    return change < edges->added_count ? MEND_SUBJECT : MEND_REFERENCE;
}

#endif
