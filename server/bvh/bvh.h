/* bvh.h - the bounding volume hierarchy over triangles, and closest-point queries on it.
 *
 * Triangles are put in Morton order of their box centres (Morton 1966), and each 512 in a row are halved at
 * the median of their centres, along the axis they are longest on, until a leaf is left (as in Bentley 1975,
 * "Multidimensional binary search trees"): few leaves then reach over a leap of that order. Slot s is the
 * s-th of what comes out. The tree is implicit: node i of level 0 holds the boxes of slots 8i .. 8i +
 * 7, node i of level k + 1 those of the nodes 8i .. 8i + 7 of level k, and the top level has one node. Boxes
 * are float, rounded outwards.
 *
 * Points must lie in [-1, 1] on each axis (queries too): callers move and scale. The tree keeps pointing at
 * the points it was built over; everything else belongs to the arena. Read only once built. */
#ifndef BVH_BVH_H
#define BVH_BVH_H

#include "base/arena.h"
#include "geom/vec3.h"

#define BVH_WIDTH 8
#define BVH_LEVELS_MAX 12
#define BVH_NONE UINT32_MAX
#define BVH_LANES 8 /* points that are measured at once */

/* The boxes of up to eight children; an unused place is empty (min +inf, max -inf). */
struct bvh_node {
    float min[3][BVH_WIDTH], max[3][BVH_WIDTH];
};

struct bvh_kernels;

struct bvh {
    const struct bvh_kernels *kernels; /* the inner loops that suit this machine */
    const vec3 *points;
    size_t triangle_count;
    size_t held_count;      /* slots below it are in the tree; where it was built over a part, the others are
                             * triangles that no question finds */
    uint32_t (*corners)[3]; /* [triangle_count] by slot; rotated so that the first side is the longest */
    uint32_t *triangles;    /* [triangle_count] slot -> number in the list it was built from */
    size_t level_count;
    size_t node_counts[BVH_LEVELS_MAX];
    struct bvh_node *levels[BVH_LEVELS_MAX];
};

/* Bytes of `scratch` that suffice to build one. */
size_t bvh_scratch_bytes(size_t triangle_count);

/* triangle_count must be 1 or more; the number of threads changes nothing. `within` holds the triangles: it
 * is cut into the cells of the Morton order, so that much too large a box makes a worse tree. ERROR_LIMIT
 * when memory ends. */
bool bvh_build(const vec3 *points, size_t triangle_count, uint32_t (*const triangles)[3], aabb within,
               size_t threads, struct bvh *bvh, struct arena *keep, struct arena scratch, struct error *err);

/* The same over the triangles marked, of which there is one at least; the others come after them, as listed.
 */
bool bvh_build_part(const vec3 *points, size_t triangle_count, uint32_t (*const triangles)[3],
                    const bool *marked, aabb within, size_t threads, struct bvh *bvh, struct arena *keep,
                    struct arena scratch, struct error *err);

/* Gives the memory of the tree back: its triangles stay, but nothing may be asked of it any more. */
void bvh_forget_tree(struct bvh *bvh);

/* True when slots are a permutation of the triangles and every box holds its triangle, if it is in the tree,
 * or child node. */
bool bvh_is_valid(const struct bvh *bvh);

struct bvh_points {
    double x[BVH_LANES], y[BVH_LANES], z[BVH_LANES];
};

struct bvh_hit {
    double distance_sq;
    uint32_t slot; /* of the nearest triangle; of equally near ones that with the lowest number */
};

/* The nearest triangle to p. `first` is a slot near it, or BVH_NONE: it saves work and never changes the
 * answer. *work grows by the boxes and triangles looked at; what it grows by depends on `first`. */
struct bvh_hit bvh_nearest(const struct bvh *bvh, vec3 p, uint32_t first, size_t *work);

/* The nearest triangles to the first `count` of some points that are near each other, 1 to BVH_LANES of them:
 * the same answers as bvh_nearest gives, in less time. They are looked for together within `reach` of the
 * points, beginning at `first` as there; a point that has none so near, or all where they turn out to be too
 * far apart, are asked alone. A reach that most points have something in saves work; INFINITY will do. */
void bvh_nearest_lanes(const struct bvh *bvh, const vec3 *points, size_t count, double reach, uint32_t first,
                       struct bvh_hit *hits, size_t *work);

/* The same, where a slot near each point is known, firsts[i]: within the distances of these. */
void bvh_nearest_lanes_from(const struct bvh *bvh, const vec3 *points, size_t count, const uint32_t *firsts,
                            struct bvh_hit *hits, size_t *work);

/* A reach for points next to those of the hits, 1 to BVH_LANES: most have something nearer. */
double bvh_next_reach(const struct bvh_hit *hits, size_t count);

/* The same as bvh_nearest, but a triangle within `enough` of p will do (none is when that is negative): the
 * first found is returned, and which that is depends on `first`. */
struct bvh_hit bvh_near(const struct bvh *bvh, vec3 p, uint32_t first, double enough, size_t *work);

/* A triangle that is within `enough` of p, or else no more than sqrt(2) times as far as the nearest: for less
 * than that takes. Which depends on `first`. */
struct bvh_hit bvh_about(const struct bvh *bvh, vec3 p, uint32_t first, double enough, size_t *work);

/* Looks in the node of slot `first`, then in the ones after and before it, for a triangle within `limit` of
 * all three corners, and so, being convex, of all the triangle that they make. Returns its slot and sets
 * *farthest, the largest of the three distances; BVH_NONE where it finds none. */
uint32_t bvh_within(const struct bvh *bvh, const vec3 *corners, double limit, uint32_t first,
                    double *farthest, size_t *work);

#define BVH_REGION_PLANES 6

/* The points with normal . x >= offset for each plane that are no farther from a box than the root of
 * reach_sq. */
struct bvh_region {
    float min[3], max[3], reach_sq;
    size_t plane_count;
    float normals[BVH_REGION_PLANES][3], offsets[BVH_REGION_PLANES];
};

/* What is no farther than `reach` from a box, which is rounded to the nearest floats; the reach outwards. */
struct bvh_region bvh_region_about(aabb box, double reach);

/* Puts into slots the triangles whose boxes are within reach of the region's box and meet each of its half
 * spaces, as float arithmetic tells it, and returns how many; most + 1, and not all of them, when there are
 * more than `most`. *work grows by the nodes looked at. */
size_t bvh_collect(const struct bvh *bvh, const struct bvh_region *region, uint32_t *slots, size_t most,
                   size_t *work);

/* Squared distances from BVH_LANES points to the triangle of a slot, each as bvh_distance_sq gives it. */
void bvh_distances_sq(const struct bvh *bvh, uint32_t slot, const struct bvh_points *points,
                      double *distances_sq);

/* BVH_LANES triangles that are to be bounded from below: their centroids, and the ways from there to their
 * corners. */
struct bvh_lanes {
    struct bvh_points middles, ways[3];
};
/* What is found: no point of a lane's triangle is nearer to the triangles of the slots given than `low`, a
 * function that is linear between its values at the corners, up to rounding near 2^-48. */
struct bvh_lows {
    double low[3][BVH_LANES];
    double distances_sq[BVH_LANES]; /* from the centroid to the nearest of them */
    uint32_t nearest[BVH_LANES];    /* its slot: the first of those equally near */
};

/* count >= 1. low comes in as high as it is wished at each corner, and is lowered to what holds. For a convex
 * triangle b, a point c and a unit vector g, every x has d(x, b) >= min over corners y of b of g . (x - y),
 * linear in x. For g are tried the way from b's nearest point to c, which is exact at c, and b's normal,
 * which is exact all over b; kept is what lowers the bound least. Of several such linear functions the least,
 * interpolated between the corners, stays a bound, as their minimum is concave. */
void bvh_bound_lanes(const struct bvh *bvh, const struct bvh_lanes *lanes, const uint32_t *slots,
                     size_t count, struct bvh_lows *lows);

/* The same for one triangle and all of the index, from the top. Nodes are bounded by their boxes as triangles
 * are by themselves; beyond an allowance of work the boxes must do. *work grows by nodes and triangles looked
 * at. */
void bvh_bound_below(const struct bvh *bvh, const vec3 *corners, size_t allowance, double *low, size_t *work);

/* For each lane the squared distances from its three corners to the triangle of its own slot. */
void bvh_paired_sq(const struct bvh *bvh, const uint32_t *slots, const struct bvh_points *corners,
                   double (*distances_sq)[BVH_LANES]);

/* For each lane the slot of a triangle near its own, of `count` listed, 1 at least: the one whose box has its
 * centre nearest to the centroid, in float arithmetic. */
void bvh_match(const struct bvh *bvh, const uint32_t *listed, size_t count, const struct bvh_points *corners,
               uint32_t *slots);

/* Lists the slots of the node of level 0 that `slot` is in and of the ones before and after it. */
#define BVH_BESIDE_MAX (3 * BVH_WIDTH)
size_t bvh_beside(const struct bvh *bvh, uint32_t slot, uint32_t *slots);

#define BVH_VIEW_CORNERS 4

/* A convex polygon in the plane through origin of the first two axes; of three corners the first stands again
 * at the end, with its side. */
struct bvh_view {
    vec3 origin, axes[3];
    double x[BVH_VIEW_CORNERS], y[BVH_VIEW_CORNERS];               /* corners, counter-clockwise */
    double inward_x[BVH_VIEW_CORNERS], inward_y[BVH_VIEW_CORNERS]; /* unit normal of the side from corner i */
    double middle_x, middle_y;                                     /* a point inside */
    double beside; /* a point is beyond a side or a line only by more than this, in units of that line */
};

/* A triangle projected onto the polygon's plane. */
enum bvh_sight_flag {
    BVH_SIGHT_OUT = 1,   /* all three corners are beyond one side of the polygon */
    BVH_SIGHT_APART = 2, /* a side of the triangle separates it from the polygon */
    BVH_SIGHT_ODD = 4,   /* the ray from the middle along the first axis crosses an odd number of its edges */
    BVH_SIGHT_MEETS_0 = 8 /* << i: edge i, from corner i to the next, may meet the polygon */
};

/* BVH_LANES triangles, seen through the polygon. An edge is looked at from its lesser vertex: the same edge
 * gives the same answer in every triangle. One between equal vertices neither meets nor is crossed. */
struct bvh_sight {
    double low[BVH_LANES], high[BVH_LANES]; /* the corners' heights over the plane */
    int64_t flags[BVH_LANES];
};

void bvh_look(const struct bvh *bvh, const struct bvh_view *view, const uint32_t *slots,
              struct bvh_sight *sight);

/* Squared distance from p to the triangle of a slot, as triangle_distance_sq gives it. */
double bvh_distance_sq(const struct bvh *bvh, vec3 p, uint32_t slot);

/* Box of child c of a node, in double. */
aabb bvh_child_box(const struct bvh_node *node, unsigned c);

#endif
