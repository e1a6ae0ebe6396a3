/* mend_match.h - the faces that two meshes have in common.
 *
 * Two vertices are at one position when their coordinates are equal bit by bit (+0 is -0). Two faces are the
 * same when their corners are at the same positions in the same cyclic order, from whichever corner and in
 * whichever direction they are listed; numbers of vertices and faces play no part. Copies count one by one:
 * of a face that one mesh has twice and the other once, one is shared. A face listed in the same direction is
 * matched before one listed in the other. Linear in the corners, by hashing. */
#ifndef MEASURE_MEND_MATCH_H
#define MEASURE_MEND_MATCH_H

#include "measure/measure_input.h"

#define MEND_NONE UINT32_MAX

enum mend_side { MEND_REFERENCE, MEND_SUBJECT, MEND_SIDES };

struct mend_match {
    const struct mesh *mesh[MEND_SIDES];
    /* [vertex_count] of each mesh: one number for all vertices at one position, the lowest that any of them
     * has when the reference's vertices are numbered first and the subject's after them. Where no face is
     * shared, MEND_NONE may stand for those of the subject. */
    uint32_t *positions[MEND_SIDES];
    size_t position_end;           /* every number is below it */
    uint32_t *partner[MEND_SIDES]; /* [face_count] the same face of the other mesh, or MEND_NONE */
    bool *turned;                  /* [subject face_count] its partner is listed in the other direction */
    size_t shared_count, turned_count;
};

/* Bytes of `keep` that mend_match_build takes at most. */
size_t mend_match_bytes(const struct mesh *subject, const struct mesh *reference);

/* The same for any number of threads. ERROR_LIMIT when an arena is too small. */
bool mend_match_build(const struct mesh *subject, const struct mesh *reference, size_t threads,
                      struct mend_match *match, struct arena *keep, struct arena scratch, struct error *err);

static inline uint32_t mend_match_position(const struct mend_match *match, enum mend_side side,
                                           uint32_t corner)
{
    return match->positions[side][match->mesh[side]->face_vertices[corner]];
}

#endif
