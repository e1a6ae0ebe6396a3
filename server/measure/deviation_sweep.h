/* deviation_sweep.h - a part of the index in the search for the maximum, depth first down to its triangles.
 *
 * The distance to one face is convex, so over a box it is largest at one of the eight corners, and over any
 * triangles at one of theirs: a handful of evaluations, made eight at once, settles a whole node. Where both
 * surfaces list the same triangles, as after moving vertices, those of the same number are looked at first.
 */
#ifndef MEASURE_DEVIATION_SWEEP_H
#define MEASURE_DEVIATION_SWEEP_H

#include "measure/deviation_piece.h"

/* A node of the index (level >= 0) or the triangle of a slot (level -1) that may hold the maximum. */
struct item {
    double upper;
    uint32_t index;
    uint32_t near; /* a slot of the other surface near it */
    int level;
};

#define SWEEP_STACK_MAX 48   /* pieces of one triangle under work */
#define SWEEP_PIECES_MAX 192 /* left over by one sweep */
#define SWEEP_ITEMS_MAX (BVH_WIDTH * BVH_LEVELS_MAX)

struct sweep {
    struct hunt hunt;
    bool *const *gone; /* [level][node] of hunt.from: all its triangles are shared; no level where none are */
    size_t allowance;  /* of work */
    struct item *items;   /* what was not come to; [SWEEP_ITEMS_MAX] */
    struct piece *pieces; /* what is left of those begun; [SWEEP_PIECES_MAX] */
    size_t item_count, piece_count;
    int64_t shift; /* from the slot of the last triangle that one face bounded to the slot of that face */
};

/* The largest distance from the corners of a box to the triangle of a slot of `to`: a bound for all in it. */
double sweep_box_bound(struct hunt *hunt, aabb box, uint32_t slot);

/* True when the node or triangle has nothing that is not shared. */
bool sweep_is_gone(const struct sweep *sweep, int level, size_t index);

/* Puts the children of a node that may hold the maximum into items. */
void sweep_open(struct sweep *sweep, const struct item *item);

/* Bounds an item by its box, against its face and the one nearest to the middle: what can be said of it when
 * the work has to end. */
void sweep_bound(struct sweep *sweep, struct item *item);

/* Works on an item until all of it is dropped, or the allowance is spent or a piece has had its share: what
 * is then left goes to items and pieces. */
void sweep_item(struct sweep *sweep, const struct item *item);

/* The same for a piece. */
void sweep_piece(struct sweep *sweep, const struct piece *piece);

/* True when no more pieces fit or the allowance is spent. */
bool sweep_is_spent(const struct sweep *sweep);

#endif
