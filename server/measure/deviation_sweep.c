/* deviation_sweep.c - boxes against one face, then the corners of eight triangles against one, then pieces.
 */
#include "measure/deviation_sweep.h"

#include "geom/point_triangle.h"
#include "measure/deviation_cover.h"

#include <math.h>
#include <string.h>

#define PIECE_WORK_MAX ((size_t)1 << 15) /* then the rest of it waits for another round */
#define PATCH_TRIANGLES_MIN 3            /* to be bounded together */
#define FACES_OVER_FEW 2                 /* over a triangle: one may bound it */
#define FACES_OVER_PATCH 24              /* more are not worth looking at together for several triangles */
#define FACES_OF_LEAF_MAX 3              /* tried on all triangles of a leaf that are still open */
#define COVERED_LEVEL 2                  /* nodes of this level and below may be bounded by a patch */
#define COVERED_TRIANGLES_MAX ((size_t)BVH_WIDTH << 3 * COVERED_LEVEL)
#define COVER_NODE_WORK 8 /* triangles of a node gathered, for one */
#define SEEN 256          /* vertices remembered while a node is gathered */
#define ABOUT_MAX 96      /* faces whose boxes meet that of a leaf: more are much smaller */
#define MOVES_WORK 4      /* triangles compared with those of the same number, for one */

double sweep_box_bound(struct hunt *hunt, aabb box, uint32_t slot)
{
    struct bvh_points points;
    double distances_sq[BVH_LANES], largest = 0;

    for (int corner = 0; corner < BVH_LANES; corner++) {
        points.x[corner] = corner & 1 ? box.max.x : box.min.x;
        points.y[corner] = corner & 2 ? box.max.y : box.min.y;
        points.z[corner] = corner & 4 ? box.max.z : box.min.z;
    }
    bvh_distances_sq(&hunt->to->bvh, slot, &points, distances_sq);
    for (int corner = 0; corner < BVH_LANES; corner++)
        largest = distances_sq[corner] > largest ? distances_sq[corner] : largest;
    hunt->work += BVH_LANES;
    return sqrt(largest);
}

bool sweep_is_gone(const struct sweep *sweep, int level, size_t index)
{
    if (sweep->hunt.from->shared_count == 0)
        return false;
    return level < 0 ? sweep->hunt.from->shared[index] : sweep->gone[level][index];
}

bool sweep_is_spent(const struct sweep *sweep)
{
    return sweep->hunt.work > sweep->allowance || sweep->piece_count + SWEEP_STACK_MAX > SWEEP_PIECES_MAX;
}

/* Depth first. */
void sweep_piece(struct sweep *sweep, const struct piece *piece)
{
    struct piece stack[SWEEP_STACK_MAX];
    size_t top = 1, end = sweep->hunt.work + PIECE_WORK_MAX;

    stack[0] = *piece;
    while (top > 0) {
        if (sweep->hunt.work > end || sweep->hunt.work > sweep->allowance
            || top - 1 + PIECE_CHILDREN_MAX > SWEEP_STACK_MAX) {
            memcpy(sweep->pieces + sweep->piece_count, stack, top * sizeof *stack);
            sweep->piece_count += top;
            return;
        }
        struct piece next = stack[--top];
        if (!hunt_drops(&sweep->hunt, next.upper))
            top += piece_refine(&sweep->hunt, &next, stack + top);
    }
}

/* Up to eight triangles, corner by corner. */
struct leaf {
    struct bvh_points corners[3];
    uint32_t first; /* slot of lane 0 */
    unsigned open;  /* bit c: triangle c may hold the maximum */
    double upper[BVH_WIDTH];
};

static void open_leaf(const struct sweep *sweep, const struct item *item, struct leaf *leaf)
{
    const struct bvh *bvh = &sweep->hunt.from->bvh;

    leaf->first = item->index * BVH_WIDTH;
    leaf->open = 0;
    for (unsigned lane = 0; lane < BVH_WIDTH; lane++) {
        size_t slot = leaf->first + lane, there = slot < bvh->held_count ? slot : leaf->first;
        if (slot == there && !sweep_is_gone(sweep, -1, slot))
            leaf->open |= 1u << lane;
        leaf->upper[lane] = item->upper;
        for (int i = 0; i < 3; i++) {
            vec3 p = bvh->points[bvh->corners[there][i]];
            leaf->corners[i].x[lane] = p.x;
            leaf->corners[i].y[lane] = p.y;
            leaf->corners[i].z[lane] = p.z;
        }
    }
}

static void drop_of_leaf(struct sweep *sweep, struct leaf *leaf)
{
    for (unsigned bits = leaf->open; bits; bits &= bits - 1) {
        unsigned lane = (unsigned)__builtin_ctz(bits);
        if (hunt_drops(&sweep->hunt, leaf->upper[lane]))
            leaf->open &= ~(1u << lane);
    }
}

/* Bounds the triangles of a leaf by their corners' distances to one face. */
static void bound_leaf(struct sweep *sweep, struct leaf *leaf, uint32_t face)
{
    double distances_sq[3][BVH_LANES];

    for (int i = 0; i < 3; i++)
        bvh_distances_sq(&sweep->hunt.to->bvh, face, &leaf->corners[i], distances_sq[i]);
    sweep->hunt.work += 3 * BVH_LANES;
    for (int lane = 0; lane < BVH_LANES; lane++) {
        double largest = distances_sq[0][lane];
        largest = distances_sq[1][lane] > largest ? distances_sq[1][lane] : largest;
        largest = distances_sq[2][lane] > largest ? distances_sq[2][lane] : largest;
        largest = sqrt(largest);
        leaf->upper[lane] = largest < leaf->upper[lane] ? largest : leaf->upper[lane];
    }
    drop_of_leaf(sweep, leaf);
}

/* Drops open triangles of a leaf, those of `lanes`, where a patch of the other surface lies over them all. */
static void cover_lanes(struct sweep *sweep, struct leaf *leaf, unsigned lanes, uint32_t *near)
{
    struct hunt *hunt = &sweep->hunt;
    vec3 points[3 * BVH_WIDTH], normal = {0, 0, 0};
    size_t count = 0;

    for (unsigned bits = leaf->open & lanes; bits; bits &= bits - 1) {
        unsigned lane = (unsigned)__builtin_ctz(bits);
        for (int i = 0; i < 3; i++)
            points[count + (size_t)i] =
                (vec3){leaf->corners[i].x[lane], leaf->corners[i].y[lane], leaf->corners[i].z[lane]};
        normal = vec3_add(normal, triangle_normal(points[count], points[count + 1], points[count + 2]));
        count += 3;
    }
    if (count < 3 * PATCH_TRIANGLES_MIN)
        return;
    double bound = cover_bound_patch(&hunt->to->bvh, points, count, normal,
                                     hunt->best.distance + hunt->tolerance, near, &hunt->work);
    for (unsigned bits = leaf->open & lanes; bits; bits &= bits - 1) {
        unsigned lane = (unsigned)__builtin_ctz(bits);
        leaf->upper[lane] = bound < leaf->upper[lane] ? bound : leaf->upper[lane];
    }
    drop_of_leaf(sweep, leaf);
}

/* All open triangles of a leaf together, or else each half of them. */
static void cover_leaf(struct sweep *sweep, struct leaf *leaf, uint32_t *near)
{
    const unsigned low_half = (1u << BVH_WIDTH / 2) - 1;

    if (luck_tries(&sweep->hunt.lucks[WAY_LEAF])) {
        cover_lanes(sweep, leaf, ~0u, near);
        luck_learn(&sweep->hunt.lucks[WAY_LEAF], leaf->open == 0);
    }
    if (leaf->open && luck_tries(&sweep->hunt.lucks[WAY_HALF_LEAF])) {
        unsigned open = leaf->open;
        cover_lanes(sweep, leaf, low_half, near);
        cover_lanes(sweep, leaf, ~low_half, near);
        luck_learn(&sweep->hunt.lucks[WAY_HALF_LEAF], leaf->open != open);
    }
}

/* Bounds each triangle by a face of its own; true when any is dropped. *near becomes the face of the last. */
static bool bound_paired(struct sweep *sweep, struct leaf *leaf, const uint32_t *slots, uint32_t *near)
{
    double distances_sq[3][BVH_LANES];
    unsigned open = leaf->open;

    bvh_paired_sq(&sweep->hunt.to->bvh, slots, leaf->corners, distances_sq);
    sweep->hunt.work += 3 * BVH_LANES;
    for (int lane = 0; lane < BVH_LANES; lane++) {
        double largest_sq = fmax(distances_sq[0][lane], fmax(distances_sq[1][lane], distances_sq[2][lane])),
               largest = sqrt(largest_sq);
        leaf->upper[lane] = largest < leaf->upper[lane] ? largest : leaf->upper[lane];
    }
    drop_of_leaf(sweep, leaf);
    if (open != leaf->open)
        *near = slots[31 - __builtin_clz(open & ~leaf->open)];
    return open != leaf->open;
}

/* Bounds each open triangle by the face as many slots ahead as that of an earlier triangle was: where both
 * surfaces have nearly the same triangles, so have their indices, in nearly the same order. */
static void bound_by_shift(struct sweep *sweep, struct leaf *leaf, uint32_t *near)
{
    const int64_t last = (int64_t)sweep->hunt.to->bvh.held_count - 1;
    uint32_t slots[BVH_LANES];

    for (int lane = 0; lane < BVH_LANES; lane++) {
        int64_t slot = (int64_t)leaf->first + lane + sweep->shift;
        slots[lane] = (uint32_t)(slot < 0 ? 0 : slot > last ? last : slot);
    }
    luck_learn(&sweep->hunt.lucks[WAY_SHIFT], bound_paired(sweep, leaf, slots, near));
}

/* Bounds each open triangle by a face beside it, of those near a slot. */
static void bound_by_match(struct sweep *sweep, struct leaf *leaf, uint32_t *near)
{
    const struct bvh *to = &sweep->hunt.to->bvh;
    uint32_t beside[BVH_BESIDE_MAX], slots[BVH_LANES];
    size_t count = bvh_beside(to, *near, beside);

    bvh_match(to, beside, count, leaf->corners, slots);
    sweep->hunt.work += BVH_LANES;
    luck_learn(&sweep->hunt.lucks[WAY_MATCH], bound_paired(sweep, leaf, slots, near));
}

static aabb box_of_leaf(const struct leaf *leaf)
{
    aabb box = aabb_empty();

    for (int i = 0; i < 3; i++)
        for (int lane = 0; lane < BVH_LANES; lane++)
            box = aabb_include(
                box, (vec3){leaf->corners[i].x[lane], leaf->corners[i].y[lane], leaf->corners[i].z[lane]});
    return box;
}

/* The same, of all whose boxes meet that of the leaf, where those are not too many. */
static void bound_among(struct sweep *sweep, struct leaf *leaf, uint32_t *near)
{
    const struct bvh *to = &sweep->hunt.to->bvh;
    const struct bvh_region region = bvh_region_about(box_of_leaf(leaf), 0);
    uint32_t about[ABOUT_MAX], slots[BVH_LANES];
    size_t count = bvh_collect(to, &region, about, ABOUT_MAX, &sweep->hunt.work);
    bool found = false;

    if (count > 0 && count <= ABOUT_MAX) {
        bvh_match(to, about, count, leaf->corners, slots);
        sweep->hunt.work += count;
        found = bound_paired(sweep, leaf, slots, near);
    }
    luck_learn(&sweep->hunt.lucks[WAY_AMONG], found);
}

/* The largest way between corners of the same number of both surfaces, squared, of the triangle of a slot,
 * where both list it with the same corners: as when vertices were moved and nothing else was done. The way
 * between the points of both with the same barycentric coordinates is convex, so that it is a bound of the
 * distance. Infinite where they do not. */
static inline double move_of(const struct hunt *hunt, size_t slot)
{
    const struct triangulation *of = &hunt->to->triangulation;
    uint32_t number = hunt->from->bvh.triangles[slot];
    const uint32_t *corner = hunt->from->triangulation.corners[number];
    double largest = 0;

    if (number >= of->triangle_count || memcmp(corner, of->corners[number], sizeof *of->corners) != 0)
        return INFINITY;
    for (int i = 0; i < 3; i++) {
        double move = vec3_length_sq(vec3_sub(hunt->from->points[corner[i]], hunt->to->points[corner[i]]));
        largest = move > largest ? move : largest;
    }
    return largest;
}

/* The first slot of a node, and the one after its last. */
static size_t slots_of(const struct deviation_surface *from, const struct item *item, size_t *end)
{
    size_t span = (size_t)BVH_WIDTH << 3 * item->level, begin = item->index * span;

    *end = begin + span < from->bvh.held_count ? begin + span : from->bvh.held_count;
    return begin;
}

/* Whether all triangles of a node are near enough to those of the same numbers. */
static bool moved_little(struct sweep *sweep, const struct item *item)
{
    struct hunt *hunt = &sweep->hunt;
    size_t end, begin = slots_of(hunt->from, item, &end), slot;
    double limit = hunt->best.distance + hunt->tolerance, largest = 0;

    for (slot = begin; slot < end && largest <= limit * limit; slot++) {
        double move = sweep_is_gone(sweep, -1, slot) ? 0 : move_of(hunt, slot);
        largest = move > largest ? move : largest;
    }
    hunt->work += (slot - begin) / MOVES_WORK;
    return hunt_drops(hunt, sqrt(largest));
}

/* Bounds each open triangle by the one of the same number. */
static void bound_by_moves(struct sweep *sweep, struct leaf *leaf)
{
    const struct hunt *hunt = &sweep->hunt;
    unsigned open = leaf->open;

    for (unsigned bits = open; bits; bits &= bits - 1) {
        unsigned lane = (unsigned)__builtin_ctz(bits);
        double move = sqrt(move_of(hunt, leaf->first + lane));
        leaf->upper[lane] = move < leaf->upper[lane] ? move : leaf->upper[lane];
    }
    sweep->hunt.work += BVH_WIDTH / MOVES_WORK;
    drop_of_leaf(sweep, leaf);
    luck_learn(&sweep->hunt.lucks[WAY_MOVES], open != leaf->open);
}

/* Returns a slot near the leaf's last triangle. */
static uint32_t sweep_leaf(struct sweep *sweep, const struct item *item, uint32_t near)
{
    struct leaf leaf;

    open_leaf(sweep, item, &leaf);
    if (luck_tries(&sweep->hunt.lucks[WAY_MOVES]))
        bound_by_moves(sweep, &leaf);
    if (leaf.open && luck_tries(&sweep->hunt.lucks[WAY_SHIFT]))
        bound_by_shift(sweep, &leaf, &near);
    if (leaf.open && luck_tries(&sweep->hunt.lucks[WAY_MATCH]))
        bound_by_match(sweep, &leaf, &near);
    if (leaf.open && luck_tries(&sweep->hunt.lucks[WAY_AMONG]))
        bound_among(sweep, &leaf, &near);
    double faces_over = piece_faces_over(&sweep->hunt, leaf.first, near);
    if (leaf.open && faces_over < FACES_OVER_FEW)
        bound_leaf(sweep, &leaf, near);
    if (leaf.open && faces_over < FACES_OVER_PATCH)
        cover_leaf(sweep, &leaf, &near);
    for (int tried = 1; leaf.open && !sweep_is_spent(sweep); tried++) {
        unsigned lane = (unsigned)__builtin_ctz(leaf.open);
        struct piece piece = piece_of_triangle(&sweep->hunt, leaf.first + lane, near, leaf.upper[lane]);
        int64_t shift = (int64_t)piece.middle - (int64_t)piece.slot;
        bool other = piece.middle != near, moved = shift != sweep->shift;
        near = piece.middle;
        sweep->shift = shift;
        leaf.open &= ~(1u << lane);
        if (!hunt_drops(&sweep->hunt, piece.upper))
            sweep_piece(sweep, &piece);
        if (leaf.open && other && tried < FACES_OF_LEAF_MAX)
            bound_leaf(sweep, &leaf, near);
        if (leaf.open && moved && luck_tries(&sweep->hunt.lucks[WAY_SHIFT]))
            bound_by_shift(sweep, &leaf, &near);
    }
    for (unsigned bits = leaf.open; bits; bits &= bits - 1) {
        unsigned lane = (unsigned)__builtin_ctz(bits);
        sweep->items[sweep->item_count++] = (struct item){leaf.upper[lane], leaf.first + lane, near, -1};
    }
    return near;
}

/* True where the box is so thick that no face is near enough to all its corners. */
static bool is_too_thick(const struct hunt *hunt, aabb box)
{
    double thickness = fmin(box.max.x - box.min.x, fmin(box.max.y - box.min.y, box.max.z - box.min.z));

    return thickness > 2 * (hunt->best.distance + hunt->tolerance);
}

/* Bounds a child by its box, against the face near, then against one about as near to the middle as any. */
static bool drop_by_box(struct hunt *hunt, aabb box, uint32_t *near, struct item *child)
{
    vec3 middle = aabb_centre(box);
    double enough = hunt->best.distance + hunt->tolerance - vec3_distance(middle, box.max);

    child->upper = fmin(child->upper, sweep_box_bound(hunt, box, *near));
    if (hunt_drops(hunt, child->upper))
        return true;
    struct bvh_hit hit = bvh_about(&hunt->to->bvh, middle, *near, enough, &hunt->work);
    if (hit.slot != *near) {
        child->near = *near = hit.slot;
        child->upper = fmin(child->upper, sweep_box_bound(hunt, box, *near));
    }
    return hunt_drops(hunt, child->upper);
}

/* Bounds a node by its boxes and returns the children to look at, the first of them last, each with a face
 * near it or BVH_NONE where none was looked for. */
static size_t open_node(struct sweep *sweep, const struct item *item, uint32_t *near, struct item *children)
{
    const struct bvh *bvh = &sweep->hunt.from->bvh;
    const struct bvh_node *node = &bvh->levels[item->level][item->index];
    size_t count = 0;

    for (unsigned c = BVH_WIDTH; c-- > 0;) {
        aabb box = bvh_child_box(node, c);
        struct item child = {item->upper, item->index * BVH_WIDTH + c, *near, item->level - 1};
        if (aabb_is_empty(box) || sweep_is_gone(sweep, child.level, child.index))
            continue;
        if (is_too_thick(&sweep->hunt, box)) {
            child.near = BVH_NONE;
            children[count++] = child;
            continue;
        }
        if (!drop_by_box(&sweep->hunt, box, near, &child))
            children[count++] = child;
    }
    return count;
}

/* The corners of a node's triangles that are not shared, most of them once, the first three of one triangle,
 * and the sum of the normals, as long as twice the areas. */
struct node_points {
    vec3 normal, points[3 * COVERED_TRIANGLES_MAX];
    size_t count;
    uint32_t seen[SEEN]; /* by the last digits of their numbers, the vertices put in last */
};

/* Whether the vertex is not among those seen, as it then is. */
static inline bool is_unseen(struct node_points *node, uint32_t vertex)
{
    uint32_t *seen = &node->seen[vertex % SEEN];
    bool unseen = *seen != vertex;

    *seen = vertex;
    return unseen;
}

/* False where they are so far from one plane that no patch can bound them: told by the first, if it can be.
 */
static bool gather_node(const struct sweep *sweep, const struct item *item, struct node_points *node)
{
    const struct deviation_surface *from = sweep->hunt.from;
    size_t end, begin = slots_of(from, item, &end);
    double limit = sweep->hunt.best.distance + sweep->hunt.tolerance, most = 0;
    vec3 first = {0, 0, 0};

    node->count = 0;
    node->normal = first;
    memset(node->seen, 0xff, sizeof node->seen);
    for (size_t slot = begin; slot < end; slot++) {
        const uint32_t *corner = from->bvh.corners[slot];
        const vec3 p[3] = {from->points[corner[0]], from->points[corner[1]], from->points[corner[2]]};
        if (sweep_is_gone(sweep, -1, slot))
            continue;
        vec3 normal = triangle_normal(p[0], p[1], p[2]);
        if (!(most > 0)) {
            first = normal;
            most = 2 * limit * vec3_length(first);
        }
        node->normal = vec3_add(node->normal, normal);
        for (int i = 0; i < 3; i++) {
            if (!is_unseen(node, corner[i]) && node->count >= 3)
                continue;
            if (fabs(vec3_dot(vec3_sub(p[i], node->count ? node->points[0] : p[i]), first)) > most)
                return false;
            node->points[node->count++] = p[i];
        }
    }
    return node->count > 0;
}

/* Whether a patch of the other surface lies over a whole node. Apart from the rest, since so large a frame is
 * costly. */
static __attribute__((noinline)) bool cover_node(struct sweep *sweep, const struct item *item, uint32_t *near)
{
    struct hunt *hunt = &sweep->hunt;
    struct node_points node;
    bool flat = gather_node(sweep, item, &node);

    hunt->work += node.count / COVER_NODE_WORK;
    if (!flat)
        return false;
    return hunt_drops(hunt, cover_bound_patch(&hunt->to->bvh, node.points, node.count, node.normal,
                                              hunt->best.distance + hunt->tolerance, near, &hunt->work));
}

void sweep_bound(struct sweep *sweep, struct item *item)
{
    struct hunt *hunt = &sweep->hunt;
    const struct bvh *bvh = &hunt->from->bvh;

    if (item->level + 1 >= (int)bvh->level_count)
        return;
    aabb box = bvh_child_box(&bvh->levels[item->level + 1][item->index / BVH_WIDTH], item->index % BVH_WIDTH);
    vec3 middle = aabb_centre(box);
    item->upper = fmin(item->upper, sweep_box_bound(hunt, box, item->near));
    if (hunt_drops(hunt, item->upper) || sweep_is_spent(sweep))
        return;
    struct bvh_hit hit = bvh_nearest(&hunt->to->bvh, middle, item->near, &hunt->work);
    item->near = hit.slot;
    item->upper = fmin(item->upper, sqrt(hit.distance_sq) + vec3_distance(middle, box.max));
    item->upper = fmin(item->upper, sweep_box_bound(hunt, box, item->near));
}

/* Gives a slot to items that have none of their own: that of the place where the sweep is. */
static void settle_near(struct item *items, size_t count, uint32_t near)
{
    for (size_t i = 0; i < count; i++)
        items[i].near = items[i].near == BVH_NONE ? near : items[i].near;
}

void sweep_open(struct sweep *sweep, const struct item *item)
{
    uint32_t near = item->near;

    sweep->item_count = open_node(sweep, item, &near, sweep->items);
    settle_near(sweep->items, sweep->item_count, near);
}

void sweep_item(struct sweep *sweep, const struct item *item)
{
    struct item stack[SWEEP_ITEMS_MAX];
    uint32_t near = item->near;
    size_t top = 1;

    stack[0] = *item;
    while (top > 0) {
        if (sweep_is_spent(sweep)) {
            settle_near(stack, top, near);
            memcpy(sweep->items + sweep->item_count, stack, top * sizeof *stack);
            sweep->item_count += top;
            return;
        }
        struct item next = stack[--top];
        near = next.near == BVH_NONE ? near : next.near;
        if (hunt_drops(&sweep->hunt, next.upper))
            continue;
        if (next.level > 0) {
            if (next.level <= COVERED_LEVEL && moved_little(sweep, &next))
                continue;
            bool tries = next.level <= COVERED_LEVEL && luck_tries(&sweep->hunt.lucks[WAY_NODE]),
                 covered = tries && cover_node(sweep, &next, &near);
            if (tries)
                luck_learn(&sweep->hunt.lucks[WAY_NODE], covered);
            if (!covered)
                top += open_node(sweep, &next, &near, stack + top);
        } else if (next.level == 0) {
            near = sweep_leaf(sweep, &next, near);
        } else {
            struct piece piece = piece_of_triangle(&sweep->hunt, next.index, near, next.upper);
            if (!hunt_drops(&sweep->hunt, piece.upper))
                sweep_piece(sweep, &piece);
        }
    }
}
