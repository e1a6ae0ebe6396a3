/* deviation_piece.h - a part of a triangle in the search for the maximum: how it is bounded and refined. */
#ifndef MEASURE_DEVIATION_PIECE_H
#define MEASURE_DEVIATION_PIECE_H

#include "measure/deviation_surface.h"

#define PIECE_CHILDREN_MAX 12

/* A cut makes corners that rounding moves off the side they are on, by 2.5 x 2^-53 an axis at most. So many
 * of them one after another lose less than 2^-44 of a piece: half of DEVIATION_SLACK. */
#define PIECE_DEPTH_MAX 100

struct piece {
    vec3 corners[3];
    double upper;        /* bound of the distance over the piece */
    double distances[3]; /* to the other surface, at the corners, where asked */
    uint32_t faces[3];   /* slots of the triangles nearest to the corners, or BVH_NONE: not asked */
    uint32_t middle;     /* of the triangle nearest to the centroid */
    uint32_t slot;       /* the triangle that the piece is part of */
    uint32_t depth;      /* how often it was cut off a larger one */
};

/* The largest distance found, with its place. */
struct farthest {
    double distance;
    vec3 at;
    uint32_t from_slot, to_slot;
};

/* Ways to bound what is searched that are left out for a while where they seldom are of use. */
enum way {
    WAY_MOVES,     /* the triangle of the same number */
    WAY_SHIFT,     /* the face as many slots ahead as that of the last triangle */
    WAY_MATCH,     /* a face beside, of those near another */
    WAY_AMONG,     /* of all about a leaf */
    WAY_NODE,      /* a patch over a whole node, */
    WAY_LEAF,      /* over a leaf, */
    WAY_HALF_LEAF, /* or over half of one */
    WAYS_LEARNED,  /* the ways before have the same luck all over a surface, those after do not */
    WAY_ONE_FACE = WAYS_LEARNED, /* a face near a piece, by itself */
    WAY_MIDDLE_FACE,             /* the face nearest to a piece's middle, to spare it a cover */
    WAY_COUNT
};

/* Whether a way has been worth its cost of late, in a chunk and, of those learned, in the rounds before: only
 * the order of the work depends on it, and that is the same whatever the threads. */
struct luck {
    int failures; /* less the successes */
    int waits;
};
/* Says that a chunk begins: where a way has failed, chunks try it in turns. */
void luck_begin(struct luck *luck, size_t chunk);
bool luck_tries(struct luck *luck);
void luck_learn(struct luck *luck, bool success);

/* What the chunks of a round share, and what each finds. */
struct hunt {
    const struct deviation_surface *from, *to;
    double tolerance;     /* a bound of at most best.distance + tolerance is good enough */
    struct farthest best; /* so far */
    double dropped;       /* the largest bound of what was dropped */
    size_t work;
    struct luck lucks[WAY_COUNT];
};

/* The nearest triangle to p, a point of triangle from_slot; best is raised. Where some triangle is within
 * `enough`, and no farther than best, any such triangle will do: *distance is that to it. */
struct bvh_hit hunt_query(struct hunt *hunt, vec3 p, uint32_t from_slot, uint32_t first, double enough,
                          double *distance);
/* True where a piece with this bound can be dropped; it is then accounted for. */
bool hunt_drops(struct hunt *hunt, double upper);

/* How many faces as large as `face` of the other surface the triangle of a slot is as large as: infinite or
 * not a number for faces without area. */
double piece_faces_over(const struct hunt *hunt, uint32_t slot, uint32_t face);

/* The whole triangle of a slot as a piece; `first` is a slot near it, `upper` a bound already known. */
struct piece piece_of_triangle(struct hunt *hunt, uint32_t slot, uint32_t first, double upper);

/* Puts what is left of the piece after refining it (its own bound may sink meanwhile) into children; returns
 * how many, <= PIECE_CHILDREN_MAX. A piece of depth PIECE_DEPTH_MAX is given up: its bound stays. */
size_t piece_refine(struct hunt *hunt, struct piece *piece, struct piece *children);

#endif
