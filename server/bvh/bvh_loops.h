/* bvh_loops.h - the inner loops themselves; included once by each bvh_kernels_*.c, and by nothing else.
 *
 * The nearest triangle: depth first, nearest child first, cut by float box distances with an outward slack.
 * The answer is the least of the computed triangle distances, ties by number, whatever the order of the walk:
 * a box is left out only where its distance exceeds the best one by more than all rounding. Float arithmetic
 * on coordinates in [-1, 1] errs by less than BOX_SLACK plus BOX_SLACK_REL of the distance. */
#include "bvh/bvh_halves_loops.h"
#include "bvh/bvh_kernels.h"
#include "geom/point_triangle.h"
#include "geom/vec3_lanes.h"

#include <float.h>
#include <string.h>

_Static_assert(BVH_LANES == VEC3_LANES, "points are put together by as many");

#define BOX_SLACK 2e-7
#define BOX_SLACK_REL 1e-6
/* Of a node with BVH_WIDTH^2 nodes of level 0: what is nearest is mostly in that of `first`. Measured. */
#define NEAR_LEVEL 2
#define MANY 3 /* triangles that are looked at at once, as that costs no more than so many one by one */
#define TOGETHER_MAX 256 /* boxes and triangles: points that need more are too far apart */
#define STACK_SIZE (BVH_WIDTH * BVH_LEVELS_MAX)

/* A node still to be looked at. */
struct visit {
    float distance_sq;
    int level;
    uint32_t index;
};

static float cut_distance_sq(double best_sq)
{
    double cut = (sqrt(best_sq) + BOX_SLACK) * (1 + BOX_SLACK_REL);

    return (float)(cut * cut * (1 + BOX_SLACK_REL));
}

static inline double distance_sq_to(const struct bvh *bvh, vec3 p, uint32_t slot)
{
    const uint32_t *corner = bvh->corners[slot];

    return triangle_distance_sq(p, bvh->points[corner[0]], bvh->points[corner[1]], bvh->points[corner[2]]);
}

/* As many boxes at once as the machine's vectors hold. */
#if defined(__AVX2__)
#define LANES 8
#else
#define LANES 4
#endif
typedef float lanes __attribute__((vector_size(LANES * sizeof(float))));
typedef int32_t lane_masks __attribute__((vector_size(LANES * sizeof(float))));

/* Bit i is set where lane i is all ones. */
static inline unsigned mask_bits(lane_masks masks)
{
#if defined(__AVX2__)
    return (unsigned)__builtin_ia32_movmskps256((lanes)masks);
#elif defined(__SSE2__)
    return (unsigned)__builtin_ia32_movmskps((lanes)masks);
#else
    return ((unsigned)masks[0] & 1) | ((unsigned)masks[1] & 2) | ((unsigned)masks[2] & 4)
           | ((unsigned)masks[3] & 8);
#endif
}

/* 0 also where it is not a number. */
static inline lanes at_least_zero(lanes x)
{
    const lanes zero = {0};

#if defined(__AVX2__)
    return (lanes)__builtin_ia32_maxps256(x, zero);
#elif defined(__SSE2__)
    return (lanes)__builtin_ia32_maxps(x, zero);
#else
    return (lanes)((lane_masks)x & (x > zero));
#endif
}

/* Squared distance of each box to the one from `from` to `to`, infinite for an empty one; along an axis they
 * are apart at one end at most. Returns a bit for each that is within cut. */
static inline unsigned boxes_apart(const struct bvh_node *node, const float *from, const float *to, float cut,
                                   float *distance_sq)
{
    unsigned bits = 0;

    for (int c = 0; c < BVH_WIDTH; c += LANES) {
        lanes sum = {0};
        for (int axis = 0; axis < 3; axis++) {
            lanes low, high;
            memcpy(&low, node->min[axis] + c, sizeof low);
            memcpy(&high, node->max[axis] + c, sizeof high);
            lanes below = low - to[axis], above = from[axis] - high;
            lanes outside = at_least_zero(below) + at_least_zero(above);
            sum += outside * outside;
        }
        memcpy(distance_sq + c, &sum, sizeof sum);
        bits |= mask_bits(sum <= cut) << c;
    }
    return bits;
}

/* As boxes_apart, of a point. */
static inline unsigned box_distances(const struct bvh_node *node, const float *p, float cut,
                                     float *distance_sq)
{
    return boxes_apart(node, p, p, cut, distance_sq);
}

/* The children whose bits are set, the nearest last. */
static inline size_t sort_children(unsigned bits, const float *distance_sq, unsigned char *children)
{
    size_t count = 0;

    for (; bits; bits &= bits - 1) {
        unsigned c = (unsigned)__builtin_ctz(bits);
        size_t at = count++;
        for (; at > 0 && distance_sq[children[at - 1]] < distance_sq[c]; at--)
            children[at] = children[at - 1];
        children[at] = (unsigned char)c;
    }
    return count;
}

/* Puts the children whose bits are set, the nearest last. */
static inline size_t put_children(struct visit visit, unsigned bits, const float *distance_sq,
                                  struct visit *visits)
{
    unsigned char children[BVH_WIDTH] = {0};
    const size_t count = sort_children(bits, distance_sq, children);

    for (size_t i = 0; i < count; i++)
        visits[i] =
            (struct visit){distance_sq[children[i]], visit.level - 1, visit.index * BVH_WIDTH + children[i]};
    return count;
}

/* The children within cut, the nearest last. */
static inline size_t list_children(const struct bvh_node *node, const float *p, float cut, float *distance_sq,
                                   unsigned char *children)
{
    return sort_children(box_distances(node, p, cut, distance_sq), distance_sq, children);
}

/* Where along a side the foot of a point is, as segment_nearest tells it. */
static inline double side_share(double along, double length_sq)
{
    double share = along / length_sq;

    share = along >= length_sq ? 1 : share;
    return along <= 0 ? 0 : share;
}

/* As triangle_distance_sq, operation for operation, for one lane: the loop over all of them becomes vectors.
 */
static inline double lane_distance_sq(const struct bvh_points *triangles, int i, vec3 p)
{
    const struct bvh_points *as = &triangles[0], *bs = &triangles[1], *cs = &triangles[2];
    vec3 a = {as->x[i], as->y[i], as->z[i]}, b = {bs->x[i], bs->y[i], bs->z[i]},
         c = {cs->x[i], cs->y[i], cs->z[i]};
    vec3 ab = vec3_sub(b, a), ac = vec3_sub(c, a), bc = vec3_sub(c, b);
    vec3 ap = vec3_sub(p, a), bp = vec3_sub(p, b);
    double ab_sq = vec3_length_sq(ab), along = vec3_dot(ap, ab), shift = vec3_dot(ac, ab) / ab_sq;
    vec3 height = vec3_sub(ac, vec3_scale(ab, shift));
    double best = vec3_length_sq(vec3_sub(ap, vec3_scale(ab, side_share(along, ab_sq))));
    double ca =
        vec3_length_sq(vec3_sub(ap, vec3_scale(ac, side_share(vec3_dot(ap, ac), vec3_length_sq(ac)))));
    double cb =
        vec3_length_sq(vec3_sub(bp, vec3_scale(bc, side_share(vec3_dot(bp, bc), vec3_length_sq(bc)))));
    best = ca < best ? ca : best;
    best = cb < best ? cb : best;
    double x = along / ab_sq;
    vec3 q = vec3_sub(ap, vec3_scale(ab, x));
    double y = vec3_dot(q, height) / vec3_length_sq(height), u = x - y * shift;
    double plane = vec3_length_sq(vec3_sub(q, vec3_scale(height, y)));
    plane = y > 0 ? plane : INFINITY; /* also where there is no height, and y is not a number */
    plane = u > 0 ? plane : INFINITY;
    plane = u + y < 1 ? plane : INFINITY;
    return plane < best ? plane : best;
}

struct query {
    const struct bvh *bvh;
    vec3 p;
    float at[3], cut; /* FLT_MAX, not infinite, at first: leaves out empty places */
    double share;     /* of the squared distance found: what is no nearer is not looked for */
    struct bvh_hit hit;
    size_t looked;
};

static inline void try_triangle(struct query *query, uint32_t slot, double exact_sq)
{
    if (exact_sq < query->hit.distance_sq
        || (exact_sq == query->hit.distance_sq
            && query->bvh->triangles[slot] < query->bvh->triangles[query->hit.slot])) {
        query->hit = (struct bvh_hit){exact_sq, slot};
        query->cut = cut_distance_sq(query->share * exact_sq);
    }
}

static inline void put_triangles(const struct bvh *bvh, const uint32_t *slots, struct bvh_points *triangles)
{
    for (int i = 0; i < 3; i++) {
        const vec3 *p[BVH_LANES];
        for (int lane = 0; lane < BVH_LANES; lane++)
            p[lane] = &bvh->points[bvh->corners[slots[lane]][i]];
        vec3_put_lanes(p, triangles[i].x, triangles[i].y, triangles[i].z);
    }
}

/* Squared distances of p to the triangles of a node of level 0 whose bits are set; the other lanes: any. */
static inline void leaf_distances(const struct bvh *bvh, uint32_t index, unsigned bits, vec3 p,
                                  double *restrict distances_sq)
{
    struct bvh_points triangles[3];
    const uint32_t first = index * BVH_WIDTH + (unsigned)__builtin_ctz(bits);
    uint32_t slots[BVH_LANES];

    for (int lane = 0; lane < BVH_LANES; lane++)
        slots[lane] = bits >> lane & 1 ? index * BVH_WIDTH + (unsigned)lane : first;
    put_triangles(bvh, slots, triangles);
    for (int i = 0; i < BVH_LANES; i++)
        distances_sq[i] = lane_distance_sq(triangles, i, p);
}

/* Looks at the triangles of a node of level 0: at few one by one, the nearest box first, at many at once. */
static inline void look_at_leaf(struct query *query, uint32_t index)
{
    const struct bvh_node *node = &query->bvh->levels[0][index];
    float boxes_sq[BVH_WIDTH];
    double distances_sq[BVH_LANES];
    unsigned bits = box_distances(node, query->at, query->cut, boxes_sq);

    query->looked++;
    if (__builtin_popcount(bits) < MANY) {
        unsigned char children[BVH_WIDTH] = {0};
        size_t count = sort_children(bits, boxes_sq, children);
        while (count-- > 0 && boxes_sq[children[count]] <= query->cut) {
            uint32_t slot = index * BVH_WIDTH + children[count];
            try_triangle(query, slot, distance_sq_to(query->bvh, query->p, slot));
            query->looked++;
        }
        return;
    }
    leaf_distances(query->bvh, index, bits, query->p, distances_sq);
    query->looked += MANY;
    for (; bits; bits &= bits - 1) {
        unsigned c = (unsigned)__builtin_ctz(bits);
        try_triangle(query, index * BVH_WIDTH + c, distances_sq[c]);
    }
}

/* At the leaf of `first`, then at what is around that leaf, then at all, within what that leaves. */
static struct bvh_hit nearest(const struct bvh *bvh, vec3 p, uint32_t first, double enough_sq, double share,
                              size_t *work)
{
    struct query query = {bvh, p, {(float)p.x, (float)p.y, (float)p.z}, FLT_MAX, share, {INFINITY, BVH_NONE},
                          0};
    struct visit stack[STACK_SIZE];
    size_t top = 1;
    uint32_t first_leaf = BVH_NONE, near = BVH_NONE; /* a node of NEAR_LEVEL */
    bool near_seen = false;

    if (first != BVH_NONE) {
        first_leaf = first / BVH_WIDTH;
        query.hit = (struct bvh_hit){distance_sq_to(bvh, p, first), first};
        query.cut = cut_distance_sq(share * query.hit.distance_sq);
        query.looked++;
        look_at_leaf(&query, first_leaf);
    }
    stack[0] = (struct visit){0, (int)bvh->level_count - 1, 0};
    if (first != BVH_NONE && bvh->level_count > NEAR_LEVEL + 1) {
        near = first_leaf / (BVH_WIDTH * BVH_WIDTH);
        stack[top++] = (struct visit){0, NEAR_LEVEL, near};
    }
    while (top > 0 && query.hit.distance_sq > enough_sq) {
        struct visit visit = stack[--top];
        float distance_sq[BVH_WIDTH];
        bool is_near = visit.level == NEAR_LEVEL && visit.index == near;
        if (visit.distance_sq > query.cut || (is_near && near_seen))
            continue;
        near_seen = near_seen || is_near;
        if (visit.level == 0) {
            if (visit.index != first_leaf)
                look_at_leaf(&query, visit.index);
            continue;
        }
        query.looked++;
        unsigned bits =
            box_distances(&bvh->levels[visit.level][visit.index], query.at, query.cut, distance_sq);
        top += put_children(visit, bits, distance_sq, stack + top);
    }
    *work += query.looked;
    return query.hit;
}

/* What bvh_within tells of the triangles of one node of level 0. */
static inline uint32_t within_leaf(const struct bvh *bvh, uint32_t index, const vec3 *corners,
                                   const float *at, double limit, double *farthest, size_t *work)
{
    float distance_sq[BVH_WIDTH];
    unsigned char children[BVH_WIDTH];
    size_t count =
        list_children(&bvh->levels[0][index], at, cut_distance_sq(limit * limit), distance_sq, children);

    ++*work;
    while (count-- > 0) {
        uint32_t slot = index * BVH_WIDTH + children[count];
        double largest = 0;
        for (int i = 0; i < 3 && largest <= limit * limit; i++) {
            double corner_sq = distance_sq_to(bvh, corners[i], slot);
            largest = corner_sq > largest ? corner_sq : largest;
            ++*work;
        }
        if (largest <= limit * limit) { /* not by the root, which rounds: all three must have been asked */
            *farthest = sqrt(largest);
            return slot;
        }
    }
    return BVH_NONE;
}

static uint32_t within(const struct bvh *bvh, const vec3 *corners, double limit, uint32_t first,
                       double *farthest, size_t *work)
{
    vec3 middle = vec3_scale(vec3_add(vec3_add(corners[0], corners[1]), corners[2]), 1.0 / 3);
    float at[3] = {(float)middle.x, (float)middle.y, (float)middle.z};
    uint32_t index = first / BVH_WIDTH;
    uint32_t found = within_leaf(bvh, index, corners, at, limit, farthest, work);

    if (found == BVH_NONE && index + 1 < bvh->node_counts[0])
        found = within_leaf(bvh, index + 1, corners, at, limit, farthest, work);
    if (found == BVH_NONE && index > 0)
        found = within_leaf(bvh, index - 1, corners, at, limit, farthest, work);
    return found;
}

/* Bit c is set where child c's box is within reach of the region's box; an empty place is not. */
static inline unsigned children_meeting(const struct bvh_node *node, const struct bvh_region *region)
{
    float distance_sq[BVH_WIDTH];

    return boxes_apart(node, region->min, region->max, region->reach_sq, distance_sq);
}

/* Bit c is set where child c's box is not wholly outside of one of the region's half spaces. */
static inline unsigned children_inside(const struct bvh_node *node, const struct bvh_region *region)
{
    unsigned bits = 0;

    for (int c = 0; c < BVH_WIDTH; c += LANES) {
        lane_masks inside = ~(lane_masks){0};
        for (size_t i = 0; i < region->plane_count; i++) {
            lanes height = (lanes){0} - region->offsets[i];
            for (int axis = 0; axis < 3; axis++) { /* the corner of the box that is highest over the plane */
                lanes part;
                float normal = region->normals[i][axis];
                memcpy(&part, (normal > 0 ? node->max[axis] : node->min[axis]) + c, sizeof part);
                height += part * normal;
            }
            inside &= height >= 0;
        }
        bits |= mask_bits(inside) << c;
    }
    return bits;
}

/* A node still to be looked at: level, then index. */
#define NODE_LEVEL_SHIFT 32

/* Puts those of BVH_WIDTH numbers from `first` on whose bits are set next to each other, without branches,
 * which nothing foretells; all BVH_WIDTH places may be written. Returns how many. */
static inline size_t put_nodes(uint64_t first, unsigned bits, uint64_t *nodes)
{
#if defined(__AVX512VL__)
    const __m512i all =
        _mm512_add_epi64(_mm512_set1_epi64((long long)first), _mm512_setr_epi64(0, 1, 2, 3, 4, 5, 6, 7));

    _mm512_storeu_si512(nodes, _mm512_maskz_compress_epi64((__mmask8)bits, all));
    return (size_t)__builtin_popcount(bits);
#else
    size_t count = 0;

    for (unsigned c = 0; c < BVH_WIDTH; c++) {
        nodes[count] = first + c;
        count += bits >> c & 1;
    }
    return count;
#endif
}

/* The same of slots. */
static inline size_t put_slots_at(uint32_t first, unsigned bits, uint32_t *slots)
{
#if defined(__AVX512VL__)
    const __m256i all =
        _mm256_add_epi32(_mm256_set1_epi32((int)first), _mm256_setr_epi32(0, 1, 2, 3, 4, 5, 6, 7));

    _mm256_storeu_si256((__m256i *)slots, _mm256_maskz_compress_epi32((__mmask8)bits, all));
    return (size_t)__builtin_popcount(bits);
#else
    size_t count = 0;

    for (unsigned c = 0; c < BVH_WIDTH; c++) {
        slots[count] = first + c;
        count += bits >> c & 1;
    }
    return count;
#endif
}

static inline size_t put_slots(uint32_t first, unsigned bits, size_t room, uint32_t *slots)
{
    size_t count = 0;

    if (room >= BVH_WIDTH)
        return put_slots_at(first, bits, slots);
    for (; bits; bits &= bits - 1)
        slots[count++] = first + (unsigned)__builtin_ctz(bits);
    return count;
}

/* Nodes from this level down to 1 are looked at level by level, and those of level 0 under so many of them
 * one after the other: which come next is known early then, and few branches are not foretold. */
#define LISTED_LEVEL 3
#define LISTED_MAX ((size_t)BVH_WIDTH * BVH_WIDTH) /* of level 1 below one; also triangles below one of 1 */
#define LISTED_TOGETHER ((size_t)8)

/* The children that may meet a region of so many nodes of a level, ascending as these are; room for BVH_WIDTH
 * more. */
static inline size_t list_meeting(const struct bvh *bvh, const struct bvh_region *region, size_t level,
                                  const uint32_t *nodes, size_t count, uint32_t *children)
{
    size_t found = 0;

    for (size_t i = 0; i < count; i++) {
        const struct bvh_node *node = &bvh->levels[level][nodes[i]];
        unsigned bits = children_meeting(node, region);
        if (level == 1 && region->plane_count > 0 && __builtin_popcount(bits) > 2)
            bits &= children_inside(node, region); /* few others are wholly outside of a side */
        found += put_slots_at(nodes[i] * BVH_WIDTH, bits, &children[found]);
    }
    return found;
}

/* What bvh_collect has found so far, and is to find. */
struct collection {
    const struct bvh *bvh;
    const struct bvh_region *region;
    uint32_t *slots;
    size_t most, count, visits;
};

/* Nodes of level 0, the last first. False where there are too many triangles. */
static inline bool collect_leaves(struct collection *all, const uint32_t *leaves, size_t leaf_count)
{
    while (leaf_count-- > 0) {
        const struct bvh_node *leaf = &all->bvh->levels[0][leaves[leaf_count]];
        const unsigned bits = children_meeting(leaf, all->region) & children_inside(leaf, all->region);
        all->visits++;
        if (all->count + (size_t)__builtin_popcount(bits) > all->most)
            return false;
        all->count +=
            put_slots(leaves[leaf_count] * BVH_WIDTH, bits, all->most - all->count, &all->slots[all->count]);
    }
    return true;
}

/* What is below a node of LISTED_LEVEL or less. Likewise. */
static inline bool collect_below(struct collection *all, size_t level, uint32_t index)
{
    uint32_t lists[2][LISTED_MAX + BVH_WIDTH], leaves[LISTED_TOGETHER * BVH_WIDTH + BVH_WIDTH],
        *nodes = lists[0], *below = lists[1];
    size_t count = 1;

    if (level == 0)
        return collect_leaves(all, &index, 1);
    for (nodes[0] = index; level > 1; level--) {
        uint32_t *swap = nodes;
        all->visits += count;
        count = list_meeting(all->bvh, all->region, level, nodes, count, below);
        nodes = below;
        below = swap;
    }
    while (count > 0) {
        /* no more than it may take to have too many triangles */
        const size_t room = 1 + (all->most - all->count) / LISTED_MAX,
                     most = room < LISTED_TOGETHER ? room : LISTED_TOGETHER,
                     together = count < most ? count : most;
        count -= together;
        all->visits += together;
        if (!collect_leaves(all, leaves,
                            list_meeting(all->bvh, all->region, 1, &nodes[count], together, leaves)))
            return false;
    }
    return true;
}

static size_t collect(const struct bvh *bvh, const struct bvh_region *region, uint32_t *slots, size_t most,
                      size_t *work)
{
    struct collection all = {bvh, region, slots, most, 0, 0};
    uint64_t stack[STACK_SIZE + BVH_WIDTH];
    size_t top = 1;

    stack[0] = (uint64_t)(bvh->level_count - 1) << NODE_LEVEL_SHIFT;
    while (top > 0) {
        const uint64_t visit = stack[--top], level = visit >> NODE_LEVEL_SHIFT;
        const uint32_t index = (uint32_t)visit;
        if (level <= LISTED_LEVEL) {
            if (collect_below(&all, level, index))
                continue;
            all.count = most + 1;
            break;
        }
        unsigned bits = children_meeting(&bvh->levels[level][index], region);
        top += put_nodes(((level - 1) << NODE_LEVEL_SHIFT) + (uint64_t)index * BVH_WIDTH, bits, &stack[top]);
        all.visits++;
    }
    *work += all.visits;
    return all.count;
}

/* As triangle_distance_sq, operation for operation, for BVH_LANES points at once. */
static void distances(const struct bvh *bvh, uint32_t slot, const struct bvh_points *points,
                      double *restrict distances_sq)
{
    const uint32_t *corner = bvh->corners[slot];
    const vec3 a = bvh->points[corner[0]], b = bvh->points[corner[1]], c = bvh->points[corner[2]];
    const vec3 ab = vec3_sub(b, a), ac = vec3_sub(c, a), bc = vec3_sub(c, b);
    const double ab_sq = vec3_length_sq(ab), ac_sq = vec3_length_sq(ac), bc_sq = vec3_length_sq(bc);
    const double shift = vec3_dot(ac, ab) / ab_sq;
    const vec3 height = vec3_sub(ac, vec3_scale(ab, shift));
    const double height_sq = vec3_length_sq(height);

    for (int i = 0; i < BVH_LANES; i++) {
        vec3 p = {points->x[i], points->y[i], points->z[i]}, ap = vec3_sub(p, a), bp = vec3_sub(p, b);
        double along = vec3_dot(ap, ab);
        double best = vec3_length_sq(vec3_sub(ap, vec3_scale(ab, side_share(along, ab_sq))));
        double ca = vec3_length_sq(vec3_sub(ap, vec3_scale(ac, side_share(vec3_dot(ap, ac), ac_sq))));
        double cb = vec3_length_sq(vec3_sub(bp, vec3_scale(bc, side_share(vec3_dot(bp, bc), bc_sq))));
        best = ca < best ? ca : best;
        best = cb < best ? cb : best;
        double x = along / ab_sq;
        vec3 q = vec3_sub(ap, vec3_scale(ab, x));
        double y = vec3_dot(q, height) / height_sq, u = x - y * shift;
        double plane = vec3_length_sq(vec3_sub(q, vec3_scale(height, y)));
        plane = y > 0 ? plane : INFINITY; /* also where there is no height, and y is not a number */
        plane = u > 0 ? plane : INFINITY;
        plane = u + y < 1 ? plane : INFINITY;
        distances_sq[i] = plane < best ? plane : best;
    }
}

static inline double least(double a, double b)
{
    return a < b ? a : b;
}

/* The least distances found so far, and the slots that have them. */
struct lane_hits {
    double distances_sq[BVH_LANES];
    int64_t slots[BVH_LANES];
};

/* Returns whether it is nearer to some. */
static inline bool take_nearer(const struct bvh *bvh, uint32_t slot, const double *restrict distances_sq,
                               struct lane_hits *restrict hits)
{
    unsigned nearer = 0, same = 0;

#if defined(__AVX512F__) /* left to itself, the compiler takes truth values apart */
    const __m512d found = _mm512_loadu_pd(distances_sq), before = _mm512_loadu_pd(hits->distances_sq);
    const __mmask8 less = _mm512_cmp_pd_mask(found, before, _CMP_LT_OQ);

    nearer = less;
    same = _mm512_cmp_pd_mask(found, before, _CMP_EQ_OQ);
    _mm512_mask_storeu_pd(hits->distances_sq, less, found);
    _mm512_mask_storeu_epi64(hits->slots, less, _mm512_set1_epi64(slot));
#else
    int64_t any = 0, equal = 0;

    for (int i = 0; i < BVH_LANES; i++) {
        bool less = distances_sq[i] < hits->distances_sq[i];
        any |= less ? -1 : 0;
        equal |= distances_sq[i] == hits->distances_sq[i] ? -1 : 0;
        hits->distances_sq[i] = less ? distances_sq[i] : hits->distances_sq[i];
        hits->slots[i] = less ? (int64_t)slot : hits->slots[i];
    }
    nearer = any != 0;
    for (int i = 0; equal && i < BVH_LANES; i++)
        same |= (unsigned)(distances_sq[i] == hits->distances_sq[i]) << i;
#endif
    for (; same; same &= same - 1) {
        int64_t *found_before = &hits->slots[__builtin_ctz(same)];
        if (bvh->triangles[slot] < bvh->triangles[*found_before])
            *found_before = slot;
    }
    return nearer != 0;
}

/* Points that are asked for together, and what is found so far; lanes that are not used are like the first.
 */
struct lane_query {
    const struct bvh *bvh;
    struct bvh_points points;
    float at[3][BVH_LANES], low[3], high[3]; /* and the box around them */
    float reach_sq;                          /* within it the nearest is looked for: of each point */
    float cuts[BVH_LANES], cut;              /* what that leaves, as of a query, and the largest of all */
    struct lane_hits hits;
    size_t looked;
};

/* In float arithmetic, with more slack than cut_distance_sq for that. */
static inline void cut_lanes(struct lane_query *query)
{
    float cut = 0;

    for (int i = 0; i < BVH_LANES; i++) {
        float best = sqrtf((float)query->hits.distances_sq[i]),
              within = (best + 2 * (float)BOX_SLACK) * (1 + 4 * (float)BOX_SLACK_REL);
        query->cuts[i] = within * within < query->reach_sq ? within * within : query->reach_sq;
    }
    for (int i = 0; i < BVH_LANES; i++)
        cut = query->cuts[i] > cut ? query->cuts[i] : cut;
    query->cut = cut;
}

static void open_lanes(const struct bvh *bvh, const vec3 *points, size_t count, double reach,
                       struct lane_query *query)
{
    const float reach_sq = cut_distance_sq(reach * reach);
    const vec3 *all[BVH_LANES];

    query->bvh = bvh;
    query->looked = 0;
    query->reach_sq = reach_sq < FLT_MAX ? reach_sq : FLT_MAX;
    for (size_t lane = 0; lane < BVH_LANES; lane++)
        all[lane] = &points[lane < count ? lane : 0];
    vec3_put_lanes(all, query->points.x, query->points.y, query->points.z);
    const double *axes[3] = {query->points.x, query->points.y, query->points.z};
    for (int axis = 0; axis < 3; axis++) {
        float low = FLT_MAX, high = -FLT_MAX;
        for (int i = 0; i < BVH_LANES; i++) {
            const float at = query->at[axis][i] = (float)axes[axis][i];
            low = at < low ? at : low;
            high = at > high ? at : high;
        }
        query->low[axis] = low;
        query->high[axis] = high;
    }
    for (int i = 0; i < BVH_LANES; i++) {
        query->hits.distances_sq[i] = INFINITY;
        query->hits.slots[i] = BVH_NONE;
    }
    cut_lanes(query);
}

/* Of the box around the points; as boxes_apart. */
static inline unsigned children_near(const struct lane_query *query, const struct bvh_node *node,
                                     float *distance_sq)
{
    return boxes_apart(node, query->low, query->high, query->cut, distance_sq);
}

/* Whether the box of child c is within the cut of some point. */
static inline bool is_near_lanes(const struct lane_query *query, const struct bvh_node *node, unsigned c)
{
    unsigned bits = 0;

    for (int i = 0; i < BVH_LANES; i += LANES) {
        lanes sum = {0}, cuts;
        for (int axis = 0; axis < 3; axis++) {
            lanes at;
            memcpy(&at, query->at[axis] + i, sizeof at);
            lanes below = node->min[axis][c] - at, above = at - node->max[axis][c];
            lanes outside = at_least_zero(below) + at_least_zero(above);
            sum += outside * outside;
        }
        memcpy(&cuts, query->cuts + i, sizeof cuts);
        bits |= mask_bits(sum <= cuts);
    }
    return bits != 0;
}

/* Looks at the triangles of a node of level 0 whose boxes are near some point. */
static inline void look_at_lanes_leaf(struct lane_query *query, uint32_t index)
{
    const struct bvh_node *node = &query->bvh->levels[0][index];
    float boxes_sq[BVH_WIDTH];
    unsigned bits = children_near(query, node, boxes_sq);

    query->looked++;
    for (; bits; bits &= bits - 1) {
        const unsigned c = (unsigned)__builtin_ctz(bits);
        double distances_sq[BVH_LANES];
        if (!is_near_lanes(query, node, c))
            continue;
        distances(query->bvh, index * BVH_WIDTH + c, &query->points, distances_sq);
        if (take_nearer(query->bvh, index * BVH_WIDTH + c, distances_sq, &query->hits))
            cut_lanes(query);
        query->looked++;
    }
}

/* At one triangle for each point. */
static inline void begin_at(struct lane_query *query, size_t count, const uint32_t *firsts)
{
    struct bvh_points triangles[3];
    uint32_t slots[BVH_LANES];

    for (size_t lane = 0; lane < BVH_LANES; lane++)
        query->hits.slots[lane] = slots[lane] = firsts[lane < count ? lane : 0];
    put_triangles(query->bvh, slots, triangles);
    for (int i = 0; i < BVH_LANES; i++) {
        vec3 p = {query->points.x[i], query->points.y[i], query->points.z[i]};
        query->hits.distances_sq[i] = lane_distance_sq(triangles, i, p);
    }
    cut_lanes(query);
}

/* At the leaf of `first`, or at firsts, then at all, within what that leaves; then, for a point that has
 * nothing within reach, beyond it. */
static void nearest_lanes(const struct bvh *bvh, const vec3 *points, size_t count, double reach,
                          uint32_t first, const uint32_t *firsts, struct bvh_hit *hits, size_t *work)
{
    struct lane_query query;
    struct visit stack[STACK_SIZE];
    size_t top = 1;
    const uint32_t first_leaf = first == BVH_NONE ? BVH_NONE : first / BVH_WIDTH;

    open_lanes(bvh, points, count, reach, &query);
    if (firsts)
        begin_at(&query, count, firsts);
    if (first_leaf != BVH_NONE)
        look_at_lanes_leaf(&query, first_leaf);
    stack[0] = (struct visit){0, (int)bvh->level_count - 1, 0};
    while (top > 0 && query.looked <= TOGETHER_MAX) {
        struct visit visit = stack[--top];
        float distance_sq[BVH_WIDTH];
        if (visit.distance_sq > query.cut)
            continue;
        if (visit.level == 0) {
            if (visit.index != first_leaf
                && (bvh->level_count == 1
                    || is_near_lanes(&query, &bvh->levels[1][visit.index / BVH_WIDTH],
                                     visit.index % BVH_WIDTH)))
                look_at_lanes_leaf(&query, visit.index);
            continue;
        }
        query.looked++;
        unsigned bits = children_near(&query, &bvh->levels[visit.level][visit.index], distance_sq);
        top += put_children(visit, bits, distance_sq, stack + top);
    }
    *work += query.looked;
    for (size_t i = 0; i < count; i++) {
        hits[i] = (struct bvh_hit){query.hits.distances_sq[i], (uint32_t)query.hits.slots[i]};
        if (query.looked > TOGETHER_MAX || !(hits[i].distance_sq <= reach * reach))
            hits[i] = nearest(bvh, points[i], hits[i].slot == BVH_NONE ? first : hits[i].slot, -1, 1, work);
        first = hits[i].slot;
    }
}

/* What bound_lanes needs of a triangle. */
struct face {
    vec3 a, ab, ac, bc, height, normal; /* normal: of length 1, or 0 where it cannot be told */
    double ab_sq, ac_sq, bc_sq, shift, height_sq;
};

static inline struct face face_between(vec3 a, vec3 b, vec3 c)
{
    struct face face = {.a = a, .ab = vec3_sub(b, a), .ac = vec3_sub(c, a), .bc = vec3_sub(c, b)};

    face.ab_sq = vec3_length_sq(face.ab);
    face.ac_sq = vec3_length_sq(face.ac);
    face.bc_sq = vec3_length_sq(face.bc);
    face.shift = vec3_dot(face.ac, face.ab) / face.ab_sq;
    face.height = vec3_sub(face.ac, vec3_scale(face.ab, face.shift));
    face.height_sq = vec3_length_sq(face.height);
    vec3 normal = vec3_cross(face.ab, face.height);
    double length = vec3_length(normal);
    face.normal = length > 0 ? vec3_scale(normal, 1 / length) : (vec3){0, 0, 0};
    return face;
}

static inline struct face face_of(const struct bvh *bvh, uint32_t slot)
{
    const uint32_t *corner = bvh->corners[slot];

    return face_between(bvh->points[corner[0]], bvh->points[corner[1]], bvh->points[corner[2]]);
}

/* The way to p from its nearest point on the triangle; ap and bp: from its corners. *best: its square. */
static inline vec3 way_from(const struct face *face, vec3 ap, vec3 bp, double *best)
{
    double along = vec3_dot(ap, face->ab);
    vec3 way = vec3_sub(ap, vec3_scale(face->ab, side_share(along, face->ab_sq)));
    vec3 ca = vec3_sub(ap, vec3_scale(face->ac, side_share(vec3_dot(ap, face->ac), face->ac_sq)));
    vec3 cb = vec3_sub(bp, vec3_scale(face->bc, side_share(vec3_dot(bp, face->bc), face->bc_sq)));
    double way_sq = vec3_length_sq(way), ca_sq = vec3_length_sq(ca), cb_sq = vec3_length_sq(cb);
    double x = along / face->ab_sq;
    vec3 q = vec3_sub(ap, vec3_scale(face->ab, x));
    double y = vec3_dot(q, face->height) / face->height_sq, u = x - y * face->shift;
    vec3 up = vec3_sub(q, vec3_scale(face->height, y));
    double up_sq = vec3_length_sq(up);

    up_sq = y > 0 ? up_sq : INFINITY; /* also where there is no height, and y is not a number */
    up_sq = u > 0 ? up_sq : INFINITY;
    up_sq = u + y < 1 ? up_sq : INFINITY;
    way.x = ca_sq < way_sq ? ca.x : way.x;
    way.y = ca_sq < way_sq ? ca.y : way.y;
    way.z = ca_sq < way_sq ? ca.z : way.z;
    way_sq = ca_sq < way_sq ? ca_sq : way_sq;
    way.x = cb_sq < way_sq ? cb.x : way.x;
    way.y = cb_sq < way_sq ? cb.y : way.y;
    way.z = cb_sq < way_sq ? cb.z : way.z;
    way_sq = cb_sq < way_sq ? cb_sq : way_sq;
    way.x = up_sq < way_sq ? up.x : way.x;
    way.y = up_sq < way_sq ? up.y : way.y;
    way.z = up_sq < way_sq ? up.z : way.z;
    *best = up_sq < way_sq ? up_sq : way_sq;
    return way;
}

/* The least of g . (p - y) over the corners y of the triangle. */
static inline double least_along(const struct face *face, vec3 g, vec3 ap)
{
    double at_a = vec3_dot(g, ap);

    return at_a + least(least(0, -vec3_dot(g, face->ab)), -vec3_dot(g, face->ac));
}

static inline void bound_lanes_by(const struct face *face, const struct bvh_lanes *eight, int64_t slot,
                                  struct bvh_lows *restrict lows, int64_t *restrict nearest)
{
    for (int i = 0; i < BVH_LANES; i++) {
        vec3 p = {eight->middles.x[i], eight->middles.y[i], eight->middles.z[i]};
        vec3 ap = vec3_sub(p, face->a), bp = vec3_sub(ap, face->ab);
        double best, low[3][2], drop[2] = {INFINITY, INFINITY};
        vec3 way = way_from(face, ap, bp, &best);
        double length = sqrt(best), share = length > 0 ? 1 / length : 0;
        vec3 g[2] = {vec3_scale(way, share), face->normal};
        double turn = vec3_dot(ap, face->normal) < 0 ? -1 : 1;
        g[1] = vec3_scale(g[1], turn);
        for (int k = 0; k < 2; k++) {
            double base = least_along(face, g[k], ap);
            for (int corner = 0; corner < 3; corner++) {
                vec3 to = {eight->ways[corner].x[i], eight->ways[corner].y[i], eight->ways[corner].z[i]};
                low[corner][k] = base + vec3_dot(g[k], to);
                drop[k] = least(drop[k], low[corner][k] - lows->low[corner][i]);
            }
        }
        nearest[i] = best < lows->distances_sq[i] ? slot : nearest[i];
        lows->distances_sq[i] = best < lows->distances_sq[i] ? best : lows->distances_sq[i];
        for (int corner = 0; corner < 3; corner++)
            lows->low[corner][i] =
                least(lows->low[corner][i], drop[1] > drop[0] ? low[corner][1] : low[corner][0]);
    }
}

static void bound_lanes(const struct bvh *bvh, const struct bvh_lanes *eight, const uint32_t *slots,
                        size_t count, struct bvh_lows *lows)
{
    int64_t nearest[BVH_LANES];

    for (int i = 0; i < BVH_LANES; i++) {
        lows->distances_sq[i] = INFINITY;
        nearest[i] = slots[0];
    }
    for (size_t s = 0; s < count; s++) {
        struct face face = face_of(bvh, slots[s]);
        bound_lanes_by(&face, eight, slots[s], lows, nearest);
    }
    for (int i = 0; i < BVH_LANES; i++)
        lows->nearest[i] = (uint32_t)nearest[i];
}

/* A node still to be looked into, and the linear bound that its box gives. */
struct below_visit {
    double low[3];
    int level;
    uint32_t index;
};

/* The piece that is bounded. */
struct below {
    vec3 middle, ways[3]; /* to its corners */
    double *low;
};

static inline bool is_no_lower(const double *low, const double *bound)
{
    return low[0] >= bound[0] && low[1] >= bound[1] && low[2] >= bound[2];
}

static inline double beyond(double x, double min, double max)
{
    const double below = x < min ? x - min : 0;

    return x > max ? x - max : below;
}

/* The linear bounds that the boxes of a node's children give, [corner][child], and their sums; not of an
 * empty place. */
struct child_lows {
    double low[3][BVH_WIDTH], sum[BVH_WIDTH];
};

/* For a box as for a triangle: the way from its nearest point tells the direction. Returns a bit for each
 * child that may lower the bound. */
static inline unsigned bound_by_boxes(const struct below *below, const struct bvh_node *node,
                                      struct child_lows *restrict lows)
{
    int64_t lower[BVH_WIDTH];
    unsigned bits = 0;

    for (int c = 0; c < BVH_WIDTH; c++) {
        const double min[3] = {node->min[0][c], node->min[1][c], node->min[2][c]},
                     max[3] = {node->max[0][c], node->max[1][c], node->max[2][c]};
        vec3 way = {beyond(below->middle.x, min[0], max[0]), beyond(below->middle.y, min[1], max[1]),
                    beyond(below->middle.z, min[2], max[2])};
        double length = vec3_length(way), share = length > 0 ? 1 / length : 0, low[3];
        for (int i = 0; i < 3; i++)
            low[i] = lows->low[i][c] = length + share * vec3_dot(way, below->ways[i]);
        lows->sum[c] = low[0] + low[1] + low[2];
        lower[c] = (low[0] >= below->low[0] ? 0 : -1) | (low[1] >= below->low[1] ? 0 : -1)
                   | (low[2] >= below->low[2] ? 0 : -1);
        lower[c] &= min[0] <= max[0] ? -1 : 0;
    }
    for (int c = 0; c < BVH_WIDTH; c++)
        bits |= (unsigned)(lower[c] & 1) << c;
    return bits;
}

/* The children whose bits are set, the lowest last. */
static inline size_t sort_lower(unsigned bits, const struct child_lows *lows, unsigned char *children)
{
    size_t count = 0;

    for (; bits; bits &= bits - 1) {
        unsigned c = (unsigned)__builtin_ctz(bits);
        size_t at = count++;
        for (; at > 0 && lows->sum[children[at - 1]] < lows->sum[c]; at--)
            children[at] = children[at - 1];
        children[at] = (unsigned char)c;
    }
    return count;
}

/* What a triangle may lower the bound to: by the way from its nearest point, and by its normal. */
struct face_lows {
    double low[2][3];
};

static inline struct face_lows lows_by_face(const struct below *below, vec3 a, vec3 b, vec3 c)
{
    struct face face = face_between(a, b, c);
    vec3 ap = vec3_sub(below->middle, face.a), bp = vec3_sub(ap, face.ab);
    double best;
    vec3 way = way_from(&face, ap, bp, &best);
    double length = sqrt(best), share = length > 0 ? 1 / length : 0;
    const vec3 g[2] = {vec3_scale(way, share),
                       vec3_scale(face.normal, vec3_dot(ap, face.normal) < 0 ? -1 : 1)};
    struct face_lows lows;

    for (int k = 0; k < 2; k++) {
        double base = least_along(&face, g[k], ap);
        for (int i = 0; i < 3; i++)
            lows.low[k][i] = base + vec3_dot(g[k], below->ways[i]);
    }
    return lows;
}

/* The triangles of a node of level 0, all of them at once. */
static inline void lows_by_leaf(const struct below *below, const struct bvh *bvh, const uint32_t *slots,
                                double (*restrict lows)[3][BVH_LANES])
{
    struct bvh_points at[3];

    put_triangles(bvh, slots, at);
    for (int c = 0; c < BVH_LANES; c++) {
        struct face_lows of_one = lows_by_face(below, (vec3){at[0].x[c], at[0].y[c], at[0].z[c]},
                                               (vec3){at[1].x[c], at[1].y[c], at[1].z[c]},
                                               (vec3){at[2].x[c], at[2].y[c], at[2].z[c]});
        for (int k = 0; k < 2; k++)
            for (int i = 0; i < 3; i++)
                lows[k][i][c] = of_one.low[k][i];
    }
}

/* Lowers the bound to that of the two which lowers it least. */
static inline void lower_to(const struct below *below, const struct face_lows *lows)
{
    double drop[2] = {INFINITY, INFINITY};

    for (int k = 0; k < 2; k++)
        for (int i = 0; i < 3; i++)
            drop[k] = least(drop[k], lows->low[k][i] - below->low[i]);
    for (int i = 0; i < 3; i++)
        below->low[i] = least(below->low[i], lows->low[drop[1] > drop[0]][i]);
}

/* By the triangles of a node of level 0 that may lower the bound, the lowest box first; at few one by one, as
 * in look_at_leaf. Returns how many it took. */
static inline size_t bound_by_leaf(const struct below *below, const struct bvh *bvh, uint32_t index,
                                   const struct child_lows *boxes, const unsigned char *children,
                                   size_t count)
{
    double lows[2][3][BVH_LANES];
    uint32_t slots[BVH_LANES];
    const bool at_once = count >= MANY;
    size_t taken = 0;

    for (size_t lane = 0; lane < BVH_LANES && at_once; lane++)
        slots[lane] = index * BVH_WIDTH + children[lane < count ? lane : 0];
    if (at_once)
        lows_by_leaf(below, bvh, slots, lows);
    while (count-- > 0) {
        const unsigned c = children[count];
        const double low[3] = {boxes->low[0][c], boxes->low[1][c], boxes->low[2][c]};
        struct face_lows of_one;
        if (is_no_lower(low, below->low))
            continue;
        if (at_once) {
            for (int k = 0; k < 2; k++)
                for (int i = 0; i < 3; i++)
                    of_one.low[k][i] = lows[k][i][count];
        } else {
            const uint32_t *corner = bvh->corners[index * BVH_WIDTH + c];
            of_one =
                lows_by_face(below, bvh->points[corner[0]], bvh->points[corner[1]], bvh->points[corner[2]]);
        }
        lower_to(below, &of_one);
        taken++;
    }
    return taken;
}

/* Puts the children listed onto the stack. */
static inline size_t put_lower(const struct below_visit *visit, const struct child_lows *lows,
                               const unsigned char *children, size_t count, struct below_visit *stack)
{
    for (size_t i = 0; i < count; i++) {
        const unsigned c = children[i];
        stack[i] = (struct below_visit){{lows->low[0][c], lows->low[1][c], lows->low[2][c]},
                                        visit->level - 1,
                                        visit->index * BVH_WIDTH + c};
    }
    return count;
}

static void bound_below(const struct bvh *bvh, const vec3 *corners, size_t allowance, double *low,
                        size_t *work)
{
    struct below below = {
        .middle = vec3_scale(vec3_add(vec3_add(corners[0], corners[1]), corners[2]), 1.0 / 3), .low = low};
    struct below_visit stack[STACK_SIZE];
    size_t top = 1, looked = 0;

    for (int i = 0; i < 3; i++)
        below.ways[i] = vec3_sub(corners[i], below.middle);
    stack[0] = (struct below_visit){{-8, -8, -8}, (int)bvh->level_count - 1, 0};
    while (top > 0) {
        struct below_visit visit = stack[--top];
        struct child_lows lows;
        unsigned char children[BVH_WIDTH] = {0};
        if (is_no_lower(visit.low, low))
            continue;
        if (looked++ > allowance) {
            for (int i = 0; i < 3; i++)
                low[i] = least(low[i], visit.low[i]);
            continue;
        }
        const unsigned bits = bound_by_boxes(&below, &bvh->levels[visit.level][visit.index], &lows);
        const size_t count = sort_lower(bits, &lows, children);
        looked += 4;
        if (visit.level == 0)
            looked += bound_by_leaf(&below, bvh, visit.index, &lows, children, count);
        else
            top += put_lower(&visit, &lows, children, count, &stack[top]);
    }
    *work += looked;
}

static void paired(const struct bvh *bvh, const uint32_t *slots, const struct bvh_points *corners,
                   double (*restrict distances_sq)[BVH_LANES])
{
    struct bvh_points triangles[3];

    put_triangles(bvh, slots, triangles);
    for (int k = 0; k < 3; k++)
        for (int i = 0; i < BVH_LANES; i++)
            distances_sq[k][i] =
                lane_distance_sq(triangles, i, (vec3){corners[k].x[i], corners[k].y[i], corners[k].z[i]});
}

static void match(const struct bvh *bvh, const uint32_t *listed, size_t count,
                  const struct bvh_points *corners, uint32_t *restrict slots)
{
    float x[BVH_LANES], y[BVH_LANES], z[BVH_LANES], least_sq[BVH_LANES];

    for (int i = 0; i < BVH_LANES; i++) {
        x[i] = (float)(corners[0].x[i] + corners[1].x[i] + corners[2].x[i]) * (2.0f / 3);
        y[i] = (float)(corners[0].y[i] + corners[1].y[i] + corners[2].y[i]) * (2.0f / 3);
        z[i] = (float)(corners[0].z[i] + corners[1].z[i] + corners[2].z[i]) * (2.0f / 3);
        least_sq[i] = FLT_MAX;
        slots[i] = listed[0];
    }
    for (size_t k = 0; k < count; k++) {
        const uint32_t slot = listed[k];
        const struct bvh_node *node = &bvh->levels[0][slot / BVH_WIDTH];
        const uint32_t c = slot % BVH_WIDTH;
        const float cx = node->min[0][c] + node->max[0][c], cy = node->min[1][c] + node->max[1][c],
                    cz = node->min[2][c] + node->max[2][c];
        for (int i = 0; i < BVH_LANES; i++) {
            float dx = cx - x[i], dy = cy - y[i], dz = cz - z[i];
            float distance_sq = dx * dx + dy * dy + dz * dz;
            slots[i] = distance_sq < least_sq[i] ? slot : slots[i];
            least_sq[i] = distance_sq < least_sq[i] ? distance_sq : least_sq[i];
        }
    }
}

/* As many numbers at once as the machine's vectors hold. */
#if defined(__AVX512F__)
#define WIDE 8
#elif defined(__AVX2__)
#define WIDE 4
#else
#define WIDE 2
#endif
typedef double wide __attribute__((vector_size(WIDE * sizeof(double))));
typedef int64_t wide_masks __attribute__((vector_size(WIDE * sizeof(int64_t))));

static inline wide wide_at(const double *from)
{
    wide to;

    memcpy(&to, from, sizeof to);
    return to;
}

static inline wide wide_pick(wide_masks mask, wide yes, wide no)
{
    return (wide)(((wide_masks)yes & mask) | ((wide_masks)no & ~mask));
}

/* A corner of each of WIDE triangles as the polygon sees it. */
struct wide_seen {
    wide x, y, height;
    wide_masks vertex, beyond[BVH_VIEW_CORNERS], above;
};

static inline struct wide_seen see_corners(const struct bvh_view *view, const struct bvh_points *corners,
                                           const int64_t *vertices, int lane)
{
    wide x = wide_at(corners->x + lane) - view->origin.x, y = wide_at(corners->y + lane) - view->origin.y,
         z = wide_at(corners->z + lane) - view->origin.z;
    const vec3 *axes = view->axes;
    struct wide_seen seen = {.x = x * axes[0].x + y * axes[0].y + z * axes[0].z,
                             .y = x * axes[1].x + y * axes[1].y + z * axes[1].z,
                             .height = x * axes[2].x + y * axes[2].y + z * axes[2].z};

    memcpy(&seen.vertex, vertices + lane, sizeof seen.vertex);
    for (int i = 0; i < BVH_VIEW_CORNERS; i++)
        seen.beyond[i] =
            (view->inward_x[i] * (seen.x - view->x[i]) + view->inward_y[i] * (seen.y - view->y[i]))
            < -view->beside;
    seen.above = seen.y > view->middle_y;
    return seen;
}

static inline wide wide_size(wide x)
{
    return wide_pick(x < 0, -x, x);
}

/* Flags of the edge from a to b. *left, *right: where all the polygon is on that side of it. */
static inline wide_masks look_at_edge(const struct bvh_view *view, const struct wide_seen *a,
                                      const struct wide_seen *b, int64_t meets_flag, wide_masks *left,
                                      wide_masks *right)
{
    wide_masks turned = a->vertex > b->vertex, is_edge = a->vertex != b->vertex, both = {0}, any_a = {0},
               any_b = {0}, to_left = ~(wide_masks){0}, to_right = ~(wide_masks){0};
    wide x = wide_pick(turned, b->x, a->x), y = wide_pick(turned, b->y, a->y),
         along_x = wide_pick(turned, a->x, b->x) - x, along_y = wide_pick(turned, a->y, b->y) - y,
         beside = view->beside * (wide_size(along_x) + wide_size(along_y));

    for (int i = 0; i < BVH_VIEW_CORNERS; i++) {
        wide area = along_x * (view->y[i] - y) - along_y * (view->x[i] - x);
        to_left &= area > beside;
        to_right &= area < -beside;
        both |= a->beyond[i] & b->beyond[i];
        any_a |= a->beyond[i];
        any_b |= b->beyond[i];
    }
    *left = (turned & to_right) | (~turned & to_left);
    *right = (turned & to_left) | (~turned & to_right);
    wide_masks ends_above = (turned & a->above) | (~turned & b->above);
    wide_masks middle_left = (along_x * (view->middle_y - y) - along_y * (view->middle_x - x)) > 0;
    wide_masks crossed = (a->above ^ b->above) & ~(middle_left ^ ends_above);
    wide_masks meets = ~both & ~(any_a & any_b & (to_left | to_right));
    return is_edge & ((crossed & BVH_SIGHT_ODD) | (meets & meets_flag));
}

static inline void look_at_lanes(const struct bvh_view *view, const struct bvh_points *corners,
                                 int64_t (*vertices)[BVH_LANES], int lane, struct bvh_sight *sight)
{
    struct wide_seen seen[3];
    wide_masks apart_left = {0}, apart_right = {0}, out = {0}, flags = {0};

    for (int k = 0; k < 3; k++)
        seen[k] = see_corners(view, &corners[k], vertices[k], lane);
    wide low = seen[0].height, high = low;
    for (int k = 1; k < 3; k++) {
        low = wide_pick(seen[k].height < low, seen[k].height, low);
        high = wide_pick(seen[k].height > high, seen[k].height, high);
    }
    for (int i = 0; i < BVH_VIEW_CORNERS; i++)
        out |= seen[0].beyond[i] & seen[1].beyond[i] & seen[2].beyond[i];
    for (int k = 0; k < 3; k++) {
        wide_masks left, right;
        flags ^=
            look_at_edge(view, &seen[k], &seen[k < 2 ? k + 1 : 0], BVH_SIGHT_MEETS_0 << k, &left, &right);
        apart_left |= left;
        apart_right |= right;
    }
    wide_masks turns_left = ((seen[1].x - seen[0].x) * (seen[2].y - seen[0].y)
                             - (seen[1].y - seen[0].y) * (seen[2].x - seen[0].x))
                            > 0;
    wide_masks apart = (turns_left & apart_right) | (~turns_left & apart_left);
    flags |= (out & BVH_SIGHT_OUT) | (apart & BVH_SIGHT_APART);
    memcpy(sight->low + lane, &low, sizeof low);
    memcpy(sight->high + lane, &high, sizeof high);
    memcpy(sight->flags + lane, &flags, sizeof flags);
}

static void look(const struct bvh *bvh, const struct bvh_view *view, const uint32_t *slots,
                 struct bvh_sight *sight)
{
    struct bvh_points corners[3];
    int64_t vertices[3][BVH_LANES];

    put_triangles(bvh, slots, corners);
    for (int lane = 0; lane < BVH_LANES; lane++)
        for (int i = 0; i < 3; i++)
            vertices[i][lane] = bvh->corners[slots[lane]][i];
    for (int lane = 0; lane < BVH_LANES; lane += WIDE)
        look_at_lanes(view, corners, vertices, lane, sight);
}

const struct bvh_kernels BVH_KERNELS = {
    BVH_KERNELS_NAME, nearest, nearest_lanes, within, collect,    distances,    bound_lanes,
    bound_below,      paired,  match,         look,   find_cells, halve_centres};
