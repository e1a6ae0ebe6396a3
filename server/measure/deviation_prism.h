/* deviation_prism.h - the prism over a convex polygon, and the triangles of the other surface that are in it:
 * what deviation_cover.h and deviation_heights.h share. The reasons are told in the former. */
#ifndef MEASURE_DEVIATION_PRISM_H
#define MEASURE_DEVIATION_PRISM_H

#include "bvh/bvh.h"

#define PRISM_SIDES_MAX 4
#define PRISM_HEIGHT_MIN 1e-9     /* of the polygon, absolute and */
#define PRISM_HEIGHT_MIN_REL 1e-5 /* of its longest side: flatter ones are left to other bounds */
#define PRISM_INSET 1e-13
#define PRISM_CLIP_BESIDE                                                                                    \
    1e-12 /* parts are cut this far beyond a side, so that rounding loses none of them */
#define PRISM_REGION_SLACK 1e-6
#define PRISM_MEMORY_SIZE 128

/* A convex polygon in the plane of the first two axes, its sides moved inwards by PRISM_INSET at least, so
 * that edges along them do not meet it. */
struct prism {
    vec3 origin, axes[3];
    size_t side_count;
    double x[PRISM_SIDES_MAX], y[PRISM_SIDES_MAX]; /* corners, counter-clockwise */
    double inward_x[PRISM_SIDES_MAX],
        inward_y[PRISM_SIDES_MAX]; /* unit normal of side i, from corner i to the next */
    double middle_x, middle_y;
    double away;  /* how far at most what is to be bounded is from the polygon */
    double limit; /* of heights over it */
};

/* A corner of the other surface as the prism sees it. */
struct seen {
    double x, y, height;
    uint32_t vertex;
    unsigned char outside; /* bit i: beyond side i */
    bool above;            /* the middle */
};

/* Corners seen lately: near triangles share them. */
struct prism_memory {
    uint32_t vertices[PRISM_MEMORY_SIZE];
    struct seen seen[PRISM_MEMORY_SIZE];
};

vec3 prism_unit(vec3 a);

/* Sides and middle of a polygon whose corners are set, counter-clockwise; the middle starts as 0. */
void prism_set_sides(struct prism *prism);

/* Moves the corners towards the middle by a share of their way. */
void prism_shrink(struct prism *prism, double share);

/* The prism over a triangle, its longest side along the first axis; its points are up to `rim` (0 or more)
 * from the polygon, more only where PRISM_INSET asks for it. Point a + u (b - a) + v (c - a) of the triangle
 * is at most prism->away from the same point of the polygon, whose corner 0 is the one that
 * triangle_longest_first tells. False where the piece is too flat, the rim too wide or the limit too low. */
bool prism_set_piece(const vec3 *corners, double limit, double rim, struct prism *prism);

/* The prism, widened by `beside` (0 or more) at its sides, as a region of the index. With 0, rounding may
 * lose triangles at its rim; else none is lost that comes within `beside` of the polygon with a height of at
 * most prism->limit + PRISM_REGION_SLACK there. */
void prism_set_region(const struct prism *prism, double beside, struct bvh_region *region);

void prism_open_memory(struct prism_memory *memory);

/* The corners of the triangle of a slot. */
void prism_see(const struct bvh *to, const struct prism *prism, uint32_t slot, struct prism_memory *memory,
               struct seen *corners);

/* Of a triangle cut by five planes. A cut adds one corner, but up to half as many as there are where rounding
 * has bent the sides: 3, 4, 6, 9, 13, 19. */
#define PRISM_PART_MAX 19

/* The part of a triangle over the polygon, its sides moved outwards by `beside`, and, of a polygon with three
 * sides, with heights of at most `reach` up or down where that is finite: a convex polygon. Returns its
 * number of corners. */
size_t prism_cut(const struct prism *prism, const struct seen *corners, double beside, double reach,
                 struct seen *part);

enum prism_place { PLACE_OUT, PLACE_WITHIN, PLACE_BEYOND };

/* Whether a triangle is to be in T: it meets the prism, and stays within the limit over the piece. One that
 * does not is left out where it starts low, as the flank of a sharp edge does: then what it bounds with
 * others must not be over the piece. One that is high all over means that the limit is too low. *highest is
 * raised to what of T is over the piece. */
enum prism_place prism_place(const struct prism *prism, const struct seen *corners, double *highest);

#define PRISM_EDGES_PER_TRIANGLE 4 /* slots of the table; a triangle has at most three edges of its own */

/* The edges that meet the polygon and that an odd number of triangles have. */
struct prism_edges {
    size_t mask, odd_count;
    uint64_t *slots; /* lesser corner, then greater */
};

/* An empty table for so many triangles. slots: 16 or PRISM_EDGES_PER_TRIANGLE times the power of two that is
 * triangle_count or more, whichever is larger. */
void prism_open_edges(size_t triangle_count, uint64_t *slots, struct prism_edges *table);

/* Adds one edge of a triangle to the table, or takes it out again. */
void prism_toggle_edge(struct prism_edges *table, uint32_t a, uint32_t b);

/* The prism's polygon, for eight triangles at once. */
struct bvh_view prism_view(const struct prism *prism);

/* Puts the three edges of a triangle of T into the table, those that may meet the polygon, and returns
 * whether the ray from the middle crosses an odd number of them. Each edge is looked at from its lesser
 * corner: the same edge gives the same answer in every triangle. T covers the polygon when all together are
 * crossed an odd number of times and odd_count is 0 in the end. */
bool prism_add_edges(const struct prism *prism, const struct seen *corners, struct prism_edges *table);

#endif
