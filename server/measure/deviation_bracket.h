/* deviation_bracket.h - certified bounds of the distance all over up to eight triangles near each other.
 *
 * Above: the distance to the other surface is at most that to one of its faces, which is convex, so that it
 * lies below its linear interpolation between the corners; where many faces are over a triangle, and where
 * their seams cross it, the heights of deviation_heights.h. Below: the least of linear functions, one for
 * each face that can be nearest anywhere on the triangle (bvh_bound_lanes). From one distance, asked in the
 * middle, the way from there bounds both ends. What is best of all is kept. Where what is above says that
 * both surfaces are the same, but for the rounding of a file, no lower bound is looked for. The idea of both
 * ends is ours.
 *
 * Bounds hold up to rounding below DEVIATION_SLACK, which is left to the caller. */
#ifndef MEASURE_DEVIATION_BRACKET_H
#define MEASURE_DEVIATION_BRACKET_H

#include "measure/deviation_part.h"
#include "measure/deviation_surface.h"

/* What the groups of one chunk share. */
struct bracketing {
    const struct bvh *to;
    double reach;  /* certified: no distance is more */
    double wanted; /* bounds whose means are no farther apart are good enough */
    size_t work;
    uint32_t near;         /* slot where to begin */
    vec3 asked;            /* a point of the last group, */
    double asked_distance; /* and its distance; < 0 before the first */
};

struct bracket_group {
    size_t count; /* 1..BVH_LANES */
    vec3 corners[BVH_LANES][3];
    struct part parts[BVH_LANES]; /* area is not touched; a part with known bounds keeps them where they are
                                   * better, one with scale -1 has none */
};

/* Bounds every part of the group. */
void bracket_bound(struct bracketing *bracketing, struct bracket_group *group);

/* The same from the way to the point asked for a group before, for when there is no work left to spend. */
void bracket_bound_by_way(const struct bracketing *bracketing, struct bracket_group *group);

#endif
