/* shells.h - the shells of a mesh, and whether each could be oriented.
 *
 * A shell is a set of faces connected through shared edges, non-manifold edges included. Within a shell, a
 * sheet is a set of faces connected through edges of exactly two sides: orientation passes across those only.
 * A sheet is orientable when its faces can be reversed so that both sides of every such edge run in opposite
 * directions (two-colouring); a shell is orientable when all its sheets are, whatever the file's own listing
 * says. Linear in the corners (but for the inverse of the growth of union-find), no recursion. */
#ifndef TOPOLOGY_SHELLS_H
#define TOPOLOGY_SHELLS_H

#include "topology/edges.h"

struct shells {
    size_t count;
    uint32_t *face_shell; /* [face_count] shells are numbered by size: 0 has most faces, a tie goes to the one
                           * with the lower first face. May be NULL where there is one shell */
    uint32_t *face_total; /* [count] */
    bool *orientable;     /* [count] */
    size_t sheet_count;
    uint32_t *face_sheet; /* [face_count] sheets are numbered by their first faces */
    bool *face_reversed;  /* [face_count] runs against the first face of its sheet; arbitrary where the sheet
                           * is not orientable */
    bool *sheet_orientable; /* [sheet_count] */
};

bool shells_build(const struct mesh *mesh, const struct edges *edges, struct shells *shells,
                  struct arena *keep, struct arena scratch, struct error *err);

static inline uint32_t shells_of_face(const struct shells *shells, size_t f)
{
    return shells->face_shell ? shells->face_shell[f] : 0;
}

/* True when shells and sheets are closed under shared edges and sizes descend. */
bool shells_is_valid(const struct shells *shells, const struct mesh *mesh, const struct edges *edges);

#endif
