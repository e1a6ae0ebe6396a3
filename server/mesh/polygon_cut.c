/* polygon_cut.c - the sweep: intervals between two sides in a treap from bottom to top, each with its chain.
 */
#include "mesh/polygon_cut.h"

#include <math.h>
#include <stdlib.h>

#define NONE UINT32_MAX

/* A corner in the chain of an interval, listed from the lower side to the upper one. */
struct chain_link {
    uint32_t corner, below, above;
};

/* The part of the sweep line between two sides of the polygon, inside it. A node of the treap. */
struct sweep_interval {
    uint32_t lower_side, upper_side; /* side i runs from corner i to the next */
    uint32_t lowest, highest;        /* ends of the chain */
    uint32_t latest;                 /* the link added last: the chain's rightmost */
    uint32_t left, right, parent;    /* treap */
    uint32_t priority;
};

struct polygon_sweep {
    const polygon_point *points;
    uint32_t count;
    uint32_t *order; /* corners from left to right */
    uint32_t *owner; /* the interval beside each side */
    struct chain_link *links;
    struct sweep_interval *intervals;
    uint32_t link_count, interval_count, root;
    uint32_t (*triangles)[3];
    uint32_t triangle_count;
    bool failed;
};

bool polygon_cutter_open(struct polygon_cutter *cutter, size_t capacity, struct arena *keep)
{
    struct polygon_sweep *sweep = ARENA_ZERO(keep, struct polygon_sweep, 1);
    uint32_t *order = ARENA_NEW(keep, uint32_t, capacity), *owner = ARENA_NEW(keep, uint32_t, capacity);
    struct chain_link *links = ARENA_NEW(keep, struct chain_link, 3 * capacity);
    struct sweep_interval *intervals = ARENA_NEW(keep, struct sweep_interval, capacity);

    if (!sweep || !order || !owner || !links || !intervals)
        return false;
    sweep->order = order;
    sweep->owner = owner;
    sweep->links = links;
    sweep->intervals = intervals;
    *cutter = (struct polygon_cutter){capacity, sweep};
    return true;
}

static uint32_t next(const struct polygon_sweep *sweep, uint32_t i)
{
    return i + 1 == sweep->count ? 0 : i + 1;
}

static uint32_t previous(const struct polygon_sweep *sweep, uint32_t i)
{
    return i ? i - 1 : sweep->count - 1;
}

/* Twice the signed area of corners a, b, c. */
static double turn(const struct polygon_sweep *sweep, uint32_t a, uint32_t b, uint32_t c)
{
    polygon_point p = sweep->points[a], q = sweep->points[b], r = sweep->points[c];

    return (q.x - p.x) * (r.y - p.y) - (q.y - p.y) * (r.x - p.x);
}

static int compare_points(polygon_point a, polygon_point b)
{
    if (a.x != b.x)
        return a.x < b.x ? -1 : 1;
    return (a.y > b.y) - (a.y < b.y);
}

static bool is_left(const struct polygon_sweep *sweep, uint32_t a, uint32_t b)
{
    int order = compare_points(sweep->points[a], sweep->points[b]);

    return order ? order < 0 : a < b;
}

static int compare_corners(const void *a, const void *b, void *context)
{
    const struct polygon_sweep *sweep = context;
    uint32_t i = *(const uint32_t *)a, j = *(const uint32_t *)b;

    if (i == j)
        return 0;
    return is_left(sweep, i, j) ? -1 : 1;
}

/* The treap. */

static void replace_child(struct polygon_sweep *sweep, uint32_t parent, uint32_t old, uint32_t new)
{
    if (parent == NONE)
        sweep->root = new;
    else if (sweep->intervals[parent].left == old)
        sweep->intervals[parent].left = new;
    else
        sweep->intervals[parent].right = new;
    if (new != NONE)
        sweep->intervals[new].parent = parent;
}

/* Lifts node above its parent. */
static void rotate_up(struct polygon_sweep *sweep, uint32_t node)
{
    struct sweep_interval *all = sweep->intervals;
    uint32_t parent = all[node].parent, grandparent = all[parent].parent, moved;

    if (all[parent].left == node) {
        moved = all[node].right;
        all[node].right = parent;
        all[parent].left = moved;
    } else {
        moved = all[node].left;
        all[node].left = parent;
        all[parent].right = moved;
    }
    if (moved != NONE)
        all[moved].parent = parent;
    replace_child(sweep, grandparent, parent, node);
    all[parent].parent = node;
}

static uint32_t mix(uint32_t x)
{
    x = (x ^ (x >> 16)) * 0x45d9f3bu;
    x = (x ^ (x >> 16)) * 0x45d9f3bu;
    return x ^ (x >> 16);
}

/* A new interval as the left or right child of parent, where that place is free. */
static uint32_t insert_under(struct polygon_sweep *sweep, uint32_t parent, bool as_left)
{
    struct sweep_interval *all = sweep->intervals;
    uint32_t node = sweep->interval_count++;

    all[node] = (struct sweep_interval){.left = NONE, .right = NONE, .parent = parent, .priority = mix(node)};
    if (parent == NONE)
        sweep->root = node;
    else if (as_left)
        all[parent].left = node;
    else
        all[parent].right = node;
    while (all[node].parent != NONE && all[all[node].parent].priority < all[node].priority)
        rotate_up(sweep, node);
    return node;
}

static uint32_t insert_after(struct polygon_sweep *sweep, uint32_t before)
{
    struct sweep_interval *all = sweep->intervals;
    uint32_t at = all[before].right;

    if (at == NONE)
        return insert_under(sweep, before, false);
    while (all[at].left != NONE)
        at = all[at].left;
    return insert_under(sweep, at, true);
}

static void remove_interval(struct polygon_sweep *sweep, uint32_t node)
{
    struct sweep_interval *all = sweep->intervals;

    while (all[node].left != NONE && all[node].right != NONE)
        rotate_up(sweep, all[all[node].left].priority > all[all[node].right].priority ? all[node].left
                                                                                      : all[node].right);
    replace_child(sweep, all[node].parent, node, all[node].left != NONE ? all[node].left : all[node].right);
}

/* Above (> 0) or below (< 0) the line of a side, seen from left to right. */
static double height_over(const struct polygon_sweep *sweep, uint32_t side, uint32_t corner)
{
    uint32_t a = side, b = next(sweep, side);

    return is_left(sweep, a, b) ? turn(sweep, a, b, corner) : turn(sweep, b, a, corner);
}

/* The interval that holds a corner; NONE when it is outside, and then where it would be inserted. */
static uint32_t find_interval(const struct polygon_sweep *sweep, uint32_t corner, uint32_t *parent,
                              bool *as_left)
{
    uint32_t at = sweep->root;

    *parent = NONE;
    *as_left = false;
    while (at != NONE) {
        const struct sweep_interval *interval = &sweep->intervals[at];
        if (height_over(sweep, interval->lower_side, corner) < 0) {
            *parent = at;
            *as_left = true;
            at = interval->left;
        } else if (height_over(sweep, interval->upper_side, corner) > 0) {
            *parent = at;
            *as_left = false;
            at = interval->right;
        } else {
            return at;
        }
    }
    return NONE;
}

/* Chains and triangles. */

static uint32_t new_link(struct polygon_sweep *sweep, uint32_t corner)
{
    if (sweep->link_count >= 3 * sweep->count) {
        sweep->failed = true;
        return sweep->link_count - 1;
    }
    sweep->links[sweep->link_count] = (struct chain_link){corner, NONE, NONE};
    return sweep->link_count++;
}

static void emit(struct polygon_sweep *sweep, uint32_t low, uint32_t corner, uint32_t high)
{
    if (sweep->triangle_count + 2 >= sweep->count) {
        sweep->failed = true;
        return;
    }
    sweep->triangles[sweep->triangle_count][0] = low;
    sweep->triangles[sweep->triangle_count][1] = corner;
    sweep->triangles[sweep->triangle_count][2] = high;
    sweep->triangle_count++;
}

/* Cuts what corner sees going up the chain from link `at`; returns the last link seen. */
static uint32_t cut_upward(struct polygon_sweep *sweep, uint32_t at, uint32_t corner)
{
    const struct chain_link *links = sweep->links;

    while (links[at].above != NONE
           && turn(sweep, links[at].corner, corner, links[links[at].above].corner) > 0) {
        emit(sweep, links[at].corner, corner, links[links[at].above].corner);
        at = links[at].above;
    }
    return at;
}

static uint32_t cut_downward(struct polygon_sweep *sweep, uint32_t at, uint32_t corner)
{
    const struct chain_link *links = sweep->links;

    while (links[at].below != NONE
           && turn(sweep, links[links[at].below].corner, corner, links[at].corner) > 0) {
        emit(sweep, links[links[at].below].corner, corner, links[at].corner);
        at = links[at].below;
    }
    return at;
}

/* corner becomes the lower end of the interval's chain. */
static void extend_lower(struct polygon_sweep *sweep, struct sweep_interval *interval, uint32_t corner)
{
    uint32_t seen = cut_upward(sweep, interval->lowest, corner), link = new_link(sweep, corner);

    sweep->links[link].above = seen;
    sweep->links[seen].below = link;
    interval->lowest = interval->latest = link;
}

static void extend_upper(struct polygon_sweep *sweep, struct sweep_interval *interval, uint32_t corner)
{
    uint32_t seen = cut_downward(sweep, interval->highest, corner), link = new_link(sweep, corner);

    sweep->links[link].below = seen;
    sweep->links[seen].above = link;
    interval->highest = interval->latest = link;
}

static void begin_interval(struct polygon_sweep *sweep, uint32_t corner)
{
    uint32_t parent;
    bool as_left;

    if (find_interval(sweep, corner, &parent, &as_left) != NONE) {
        sweep->failed = true;
        return;
    }
    uint32_t node = insert_under(sweep, parent, as_left), link = new_link(sweep, corner);
    struct sweep_interval *interval = &sweep->intervals[node];
    interval->lower_side = corner;
    interval->upper_side = previous(sweep, corner);
    interval->lowest = interval->highest = interval->latest = link;
    sweep->owner[interval->lower_side] = sweep->owner[interval->upper_side] = node;
}

/* corner lies inside an interval: a lower part under it, an upper part over it. */
static void split_interval(struct polygon_sweep *sweep, uint32_t corner)
{
    uint32_t parent;
    bool as_left;
    uint32_t low = find_interval(sweep, corner, &parent, &as_left);

    if (low == NONE) {
        sweep->failed = true;
        return;
    }
    uint32_t high = insert_after(sweep, low), middle = sweep->intervals[low].latest;
    struct sweep_interval *lower = &sweep->intervals[low], *upper = &sweep->intervals[high];
    uint32_t seen_below = cut_downward(sweep, middle, corner), seen_above = cut_upward(sweep, middle, corner);
    uint32_t link = new_link(sweep, corner), twin = new_link(sweep, corner);

    if (seen_below == seen_above) { /* both chains end at the middle corner: it needs a link in each */
        uint32_t above = sweep->links[middle].above, copy = new_link(sweep, sweep->links[middle].corner);
        sweep->links[copy].above = above;
        if (above != NONE)
            sweep->links[above].below = copy;
        seen_above = copy;
        if (lower->highest == middle)
            lower->highest = copy;
    }
    upper->lower_side = corner;
    upper->upper_side = lower->upper_side;
    upper->lowest = upper->latest = twin;
    upper->highest = lower->highest;
    sweep->links[twin].above = seen_above;
    sweep->links[seen_above].below = twin;
    lower->upper_side = previous(sweep, corner);
    lower->highest = lower->latest = link;
    sweep->links[link].below = seen_below;
    sweep->links[seen_below].above = link;
    sweep->owner[upper->lower_side] = sweep->owner[upper->upper_side] = high;
    sweep->owner[lower->upper_side] = low;
}

static void end_interval(struct polygon_sweep *sweep, uint32_t corner)
{
    uint32_t node = sweep->owner[previous(sweep, corner)];

    if (node == NONE || node != sweep->owner[corner]) {
        sweep->failed = true;
        return;
    }
    const struct chain_link *links = sweep->links;
    for (uint32_t at = sweep->intervals[node].lowest; links[at].above != NONE; at = links[at].above)
        emit(sweep, links[at].corner, corner, links[links[at].above].corner);
    remove_interval(sweep, node);
}

/* corner is the right end of the sides between two intervals: they become one. */
static void merge_intervals(struct polygon_sweep *sweep, uint32_t corner)
{
    uint32_t low = sweep->owner[corner], high = sweep->owner[previous(sweep, corner)];

    if (low == NONE || high == NONE || low == high) {
        sweep->failed = true;
        return;
    }
    struct sweep_interval *lower = &sweep->intervals[low], *upper = &sweep->intervals[high];
    extend_upper(sweep, lower, corner);
    extend_lower(sweep, upper, corner);
    uint32_t link = lower->highest, above = sweep->links[upper->lowest].above;
    sweep->links[link].above = above;
    sweep->links[above].below = link;
    lower->highest = upper->highest;
    lower->upper_side = upper->upper_side;
    sweep->owner[lower->upper_side] = low;
    remove_interval(sweep, high);
}

static void continue_side(struct polygon_sweep *sweep, uint32_t corner, bool is_lower)
{
    uint32_t ended = is_lower ? previous(sweep, corner) : corner,
             begun = is_lower ? corner : previous(sweep, corner), node = sweep->owner[ended];

    if (node == NONE) {
        sweep->failed = true;
        return;
    }
    struct sweep_interval *interval = &sweep->intervals[node];
    if (is_lower ? interval->lower_side != ended : interval->upper_side != ended) {
        sweep->failed = true;
        return;
    }
    if (is_lower) {
        extend_lower(sweep, interval, corner);
        interval->lower_side = begun;
    } else {
        extend_upper(sweep, interval, corner);
        interval->upper_side = begun;
    }
    sweep->owner[begun] = node;
}

static void meet_corner(struct polygon_sweep *sweep, uint32_t corner)
{
    uint32_t before = previous(sweep, corner), after = next(sweep, corner);
    bool left_before = is_left(sweep, before, corner), left_after = is_left(sweep, after, corner);
    bool convex = turn(sweep, before, corner, after) > 0;

    if (left_before != left_after)
        continue_side(sweep, corner, left_before);
    else if (!left_before && convex)
        begin_interval(sweep, corner);
    else if (!left_before)
        split_interval(sweep, corner);
    else if (convex)
        end_interval(sweep, corner);
    else
        merge_intervals(sweep, corner);
}

/* A polygon that crosses itself slips through the sweep now and then, but not through this: its triangles
 * would overlap, and their areas would not add up to that of the outline. */
static bool areas_agree(const struct polygon_sweep *sweep)
{
    double outline = 0, sum = 0, scale = 0;

    for (uint32_t i = 1; i + 1 < sweep->count; i++) {
        double piece = turn(sweep, 0, i, i + 1);
        outline += piece;
        scale += fabs(piece);
    }
    for (uint32_t t = 0; t < sweep->triangle_count; t++) {
        const uint32_t *corner = sweep->triangles[t];
        double piece = turn(sweep, corner[0], corner[1], corner[2]);
        sum += fabs(piece);
    }
    return outline > 0 && fabs(sum - outline) <= 1e-10 * scale;
}

bool polygon_cut(const struct polygon_cutter *cutter, const polygon_point *points, size_t count,
                 uint32_t (*triangles)[3])
{
    struct polygon_sweep *sweep = cutter->sweep;

    sweep->points = points;
    sweep->count = (uint32_t)count;
    sweep->triangles = triangles;
    sweep->link_count = sweep->interval_count = sweep->triangle_count = 0;
    sweep->root = NONE;
    sweep->failed = false;
    for (uint32_t i = 0; i < sweep->count; i++) {
        sweep->order[i] = i;
        sweep->owner[i] = NONE;
    }
    qsort_r(sweep->order, count, sizeof *sweep->order, compare_corners, sweep);
    for (uint32_t i = 0; i < sweep->count && !sweep->failed; i++)
        meet_corner(sweep, sweep->order[i]);
    return !sweep->failed && sweep->triangle_count + 2 == sweep->count && areas_agree(sweep);
}
