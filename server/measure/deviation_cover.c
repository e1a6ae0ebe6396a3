/* deviation_cover.c - collects the triangles over a piece, cancels their common edges, and counts crossings.
 */
#include "measure/deviation_cover.h"

#include "geom/point_triangle.h"
#include "measure/deviation_prism.h"

#include <math.h>
#include <string.h>

#define TRIANGLES_MAX 4096  /* over a piece: a needle reaches across a whole surface; */
#define OVER_PATCH_MAX 2048 /* a patch with more over it is mostly larger than what is covered */
#define FEW_TRIANGLES 64    /* most pieces have no more over them: a table of their own stays in the cache */
#define LISTED_MAX 32768    /* among needles, whose boxes meet nearly everything */
#define OF_LISTED_MAX 4096
#define NEEDLE_SIDE 16 /* of a needle, times its height */
#define TURNS 4        /* of the rectangle about a patch, in a quarter turn */
#define SHEAR_MAX 8    /* of what needles fill */

/* What is gathered over T. */
struct covering {
    const struct bvh *to;
    const struct prism *prism;
    struct prism_edges table;
    size_t count, most; /* of T */
    double highest;
    uint32_t face; /* one of T */
    bool odd;
};

/* As prism_place, where most triangles are told by what the view has of them. */
static enum prism_place place_seen(struct covering *covering, uint32_t slot, double low, double high,
                                   int64_t flags)
{
    const struct prism *prism = covering->prism;
    double reach = high > -low ? high : -low;

    if (flags & BVH_SIGHT_OUT || low > prism->limit || high < -prism->limit)
        return PLACE_OUT;
    if (reach <= covering->highest)
        return PLACE_WITHIN;
    if (flags & BVH_SIGHT_APART)
        return PLACE_OUT;
    if (reach > prism->limit) {
        struct prism_memory memory;
        struct seen corners[3];
        prism_open_memory(&memory);
        prism_see(covering->to, prism, slot, &memory, corners);
        return prism_place(prism, corners, &covering->highest);
    }
    covering->highest = reach;
    return PLACE_WITHIN;
}

/* Adds up to BVH_LANES triangles; false where one tells that the limit is too low, or T is too large. */
static bool add_triangles(struct covering *covering, const struct bvh_view *view, const uint32_t *slots,
                          size_t count)
{
    uint32_t lanes[BVH_LANES];
    struct bvh_sight sight;

    for (size_t lane = 0; lane < BVH_LANES; lane++)
        lanes[lane] = slots[lane < count ? lane : 0];
    bvh_look(covering->to, view, lanes, &sight);
    for (size_t lane = 0; lane < BVH_LANES && lane < count; lane++) {
        const int64_t flags = sight.flags[lane];
        enum prism_place place = place_seen(covering, slots[lane], sight.low[lane], sight.high[lane], flags);
        if (place == PLACE_BEYOND)
            return false;
        if (place == PLACE_OUT)
            continue;
        if (++covering->count > covering->most)
            return false;
        covering->odd ^= (flags & BVH_SIGHT_ODD) != 0;
        covering->face = slots[lane];
        const uint32_t *corner = covering->to->corners[slots[lane]];
        for (int i = 0; i < 3; i++)
            if (flags & BVH_SIGHT_MEETS_0 << i)
                prism_toggle_edge(&covering->table, corner[i], corner[i < 2 ? i + 1 : 0]);
    }
    return true;
}

/* The largest height of T, of triangles among those of slots, `most` at most, or INFINITY where T does not
 * cover the polygon: where an odd edge meets it or the ray from its middle crosses an even number of edges.
 */
static double cover_height(const struct bvh *to, const struct prism *prism, const uint32_t *slots,
                           size_t count, size_t most, uint64_t *edges, uint32_t *face)
{
    struct covering covering = {.to = to, .prism = prism, .most = most};
    struct bvh_view view = prism_view(prism);

    prism_open_edges(most, edges, &covering.table);
    for (size_t i = 0; i < count; i += BVH_LANES)
        if (!add_triangles(&covering, &view, slots + i, count - i))
            return INFINITY;
    *face = covering.face;
    return covering.odd && covering.table.odd_count == 0 ? covering.highest : INFINITY;
}

static __attribute__((noinline)) double cover_by_few(const struct bvh *to, const struct prism *prism,
                                                     const uint32_t *slots, size_t count, uint32_t *face)
{
    uint64_t edges[FEW_TRIANGLES * PRISM_EDGES_PER_TRIANGLE];

    return cover_height(to, prism, slots, count, count, edges, face);
}

/* These two are apart from the others, since so large a frame is costly. */
static __attribute__((noinline)) double cover_by_many(const struct bvh *to, const struct prism *prism,
                                                      const uint32_t *slots, size_t count, uint32_t *face)
{
    uint64_t edges[TRIANGLES_MAX * PRISM_EDGES_PER_TRIANGLE];

    return cover_height(to, prism, slots, count, count, edges, face);
}

static __attribute__((noinline)) double cover_among_needles(const struct bvh *to, const struct prism *prism,
                                                            const struct bvh_region *region, uint32_t *face,
                                                            size_t *work)
{
    uint32_t slots[LISTED_MAX];
    uint64_t edges[OF_LISTED_MAX * PRISM_EDGES_PER_TRIANGLE];
    size_t count = bvh_collect(to, region, slots, LISTED_MAX, work);

    *work += count;
    return count > LISTED_MAX ? (double)INFINITY
                              : cover_height(to, prism, slots, count, OF_LISTED_MAX, edges, face);
}

/* False for BVH_NONE. */
static bool is_needle(const struct bvh *bvh, uint32_t slot)
{
    if (slot == BVH_NONE)
        return false;
    vec3 a = bvh->points[bvh->corners[slot][0]], b = bvh->points[bvh->corners[slot][1]],
         c = bvh->points[bvh->corners[slot][2]];
    double ab = vec3_length_sq(vec3_sub(b, a)), bc = vec3_length_sq(vec3_sub(c, b)),
           ca = vec3_length_sq(vec3_sub(a, c)), longest = ab > bc ? ab : bc;

    longest = ca > longest ? ca : longest;
    return 2 * NEEDLE_SIDE * triangle_area(a, b, c) < longest;
}

static double cover_listed(const struct bvh *to, const struct prism *prism, const struct bvh_region *region,
                           size_t most, uint32_t *face, size_t *work)
{
    uint32_t slots[TRIANGLES_MAX];
    size_t count = bvh_collect(to, region, slots, most, work);

    *work += count;
    if (count == 0 || count > most)
        return INFINITY;
    return count <= FEW_TRIANGLES ? cover_by_few(to, prism, slots, count, face)
                                  : cover_by_many(to, prism, slots, count, face);
}

/* *face: a slot near the polygon, or BVH_NONE. */
static double cover_polygon(const struct bvh *to, const struct prism *prism, size_t most, uint32_t *face,
                            size_t *work)
{
    uint32_t covering = 0;
    struct bvh_region region;

    prism_set_region(prism, 0, &region);
    double highest = is_needle(to, *face) ? cover_among_needles(to, prism, &region, &covering, work)
                                          : cover_listed(to, prism, &region, most, &covering, work);
    if (highest < INFINITY)
        *face = covering;
    return highest + prism->away;
}

double cover_bound(const struct bvh *to, const vec3 *corners, double limit, uint32_t *face, size_t *work)
{
    struct prism prism;

    return limit < 1 && prism_set_piece(corners, limit, 0, &prism)
               ? cover_polygon(to, &prism, TRIANGLES_MAX, face, work)
               : INFINITY;
}

/* Patches. */

/* A rectangle in a plane, or what it is sheared to: x runs from low_x + shear y to high_x + shear y. */
struct frame {
    vec3 axes[3]; /* unit vectors: of x, of y, and the plane's normal */
    double shear, low_x, high_x, low_y, high_y, area;
};

/* Cosine and sine of 0, 1, 2 and 3 sixteenths of a turn. */
static const double turns[TURNS][2] = {{1, 0},
                                       {0.9238795325112867, 0.3826834323650898},
                                       {0.7071067811865476, 0.7071067811865476},
                                       {0.3826834323650898, 0.9238795325112867}};

static void take_smaller(struct frame *frame, struct frame *best)
{
    frame->area = (frame->high_x - frame->low_x) * (frame->high_y - frame->low_y);
    if (frame->area < best->area)
        *best = *frame;
}

/* The smallest of these axes that holds the projections of the points; kept in best where it is smaller. */
static void try_frame(const vec3 *points, size_t count, vec3 middle, const vec3 *axes, double shear,
                      struct frame *best)
{
    struct frame frame = {{axes[0], axes[1], axes[2]}, shear, INFINITY, -INFINITY, INFINITY, -INFINITY, 0};

    for (size_t i = 0; i < count; i++) {
        vec3 from = vec3_sub(points[i], middle);
        double y = vec3_dot(from, axes[1]), x = vec3_dot(from, axes[0]) - shear * y;
        frame.low_x = x < frame.low_x ? x : frame.low_x;
        frame.high_x = x > frame.high_x ? x : frame.high_x;
        frame.low_y = y < frame.low_y ? y : frame.low_y;
        frame.high_y = y > frame.high_y ? y : frame.high_y;
    }
    take_smaller(&frame, best);
}

/* A unit vector at a right angle to `up`, near to `wished`; false where that is along it. */
static bool set_along(vec3 wished, vec3 up, vec3 *along)
{
    double length = vec3_length(wished);

    *along = vec3_sub(wished, vec3_scale(up, vec3_dot(wished, up)));
    if (!(vec3_length(*along) > 1e-3 * length))
        return false;
    *along = prism_unit(*along);
    *along = prism_unit(vec3_sub(*along, vec3_scale(up, vec3_dot(*along, up))));
    return true;
}

/* As try_frame for all turns, each point looked at once. */
static void try_turns(const vec3 *points, size_t count, vec3 middle, vec3 up, struct frame *best)
{
    double axes[2][3][TURNS]; /* of x and of y, by coordinate */
    double low_x[TURNS], high_x[TURNS], low_y[TURNS], high_y[TURNS];
    struct frame frames[TURNS];
    vec3 along;

    set_along(fabs(up.x) < 0.6 ? (vec3){1, 0, 0} : (vec3){0, 1, 0}, up, &along);
    const vec3 across = vec3_cross(up, along);
    for (int t = 0; t < TURNS; t++) {
        const double x = turns[t][0], y = turns[t][1];
        frames[t] = (struct frame){.axes = {vec3_add(vec3_scale(along, x), vec3_scale(across, y)),
                                            vec3_sub(vec3_scale(across, x), vec3_scale(along, y)), up}};
        for (int axis = 0; axis < 2; axis++) {
            axes[axis][0][t] = frames[t].axes[axis].x;
            axes[axis][1][t] = frames[t].axes[axis].y;
            axes[axis][2][t] = frames[t].axes[axis].z;
        }
        low_x[t] = low_y[t] = INFINITY;
        high_x[t] = high_y[t] = -INFINITY;
    }
    for (size_t i = 0; i < count; i++) {
        vec3 from = vec3_sub(points[i], middle);
        for (int t = 0; t < TURNS; t++) {
            double x = from.x * axes[0][0][t] + from.y * axes[0][1][t] + from.z * axes[0][2][t],
                   y = from.x * axes[1][0][t] + from.y * axes[1][1][t] + from.z * axes[1][2][t];
            low_x[t] = x < low_x[t] ? x : low_x[t];
            high_x[t] = x > high_x[t] ? x : high_x[t];
            low_y[t] = y < low_y[t] ? y : low_y[t];
            high_y[t] = y > high_y[t] ? y : high_y[t];
        }
    }
    for (int t = 0; t < TURNS; t++) {
        frames[t].low_x = low_x[t];
        frames[t].high_x = high_x[t];
        frames[t].low_y = low_y[t];
        frames[t].high_y = high_y[t];
        take_smaller(&frames[t], best);
    }
}

/* Along the longest side of the first triangle and its shortest: needles side by side fill that, up to a
 * border which they end at. */
static void try_sides(const vec3 *points, size_t count, vec3 middle, vec3 up, struct frame *best)
{
    vec3 sides[3], along, longest, shortest;

    for (int i = 0; i < 3; i++)
        sides[i] = vec3_sub(points[i < 2 ? i + 1 : 0], points[i]);
    longest = shortest = sides[0];
    for (int i = 1; i < 3; i++) {
        longest = vec3_length_sq(sides[i]) > vec3_length_sq(longest) ? sides[i] : longest;
        shortest = vec3_length_sq(sides[i]) < vec3_length_sq(shortest) ? sides[i] : shortest;
    }
    if (NEEDLE_SIDE * NEEDLE_SIDE * vec3_length_sq(shortest) > vec3_length_sq(longest)
        || !set_along(longest, up, &along))
        return;
    const vec3 axes[3] = {along, vec3_cross(up, along), up};
    double y = vec3_dot(shortest, axes[1]), shear = vec3_dot(shortest, axes[0]) / y;
    if (fabs(shear) < SHEAR_MAX)
        try_frame(points, count, middle, axes, shear, best);
}

static void set_polygon(const struct frame *frame, vec3 middle, struct prism *prism)
{
    const double low = frame->shear * frame->low_y, high = frame->shear * frame->high_y;

    *prism = (struct prism){
        .origin = middle,
        .axes = {frame->axes[0], frame->axes[1], frame->axes[2]},
        .side_count = 4,
        .x = {frame->low_x + low, frame->high_x + low, frame->high_x + high, frame->low_x + high},
        .y = {frame->low_y, frame->low_y, frame->high_y, frame->high_y}};
    prism_set_sides(prism);
}

/* The smallest of a few rectangles and of what needles fill that holds the points' projections. False where
 * the points are not so near to one plane that the limit leaves room, or it is too flat. */
static bool set_patch(const vec3 *points, size_t count, vec3 normal, double limit, struct prism *prism)
{
    double low = INFINITY, high = -INFINITY;
    vec3 middle = points[0], up = prism_unit(normal);
    struct frame best = {.area = INFINITY};

    for (size_t i = 0; i < count; i++) {
        double height = vec3_dot(vec3_sub(points[i], middle), up);
        low = height < low ? height : low;
        high = height > high ? height : high;
    }
    if (!(high - low < limit)) /* half of it for them, half at least for what is over them */
        return false;
    middle = vec3_add(middle, vec3_scale(up, 0.5 * (low + high)));
    try_turns(points, count, middle, up, &best);
    try_sides(points, count, middle, up, &best);
    const double width = best.high_x - best.low_x, height = best.high_y - best.low_y,
                 leaning = 1 + fabs(best.shear), thin = fmin(width, height) / leaning,
                 thick = fmax(width, height) * leaning;
    if (!(thin > PRISM_HEIGHT_MIN + PRISM_HEIGHT_MIN_REL * thick))
        return false;
    set_polygon(&best, middle, prism);
    double share = 2 * PRISM_INSET / thin;
    prism_shrink(prism, share);
    prism->away = 0.5 * (high - low) + share * thick;
    prism->limit = limit - prism->away;
    return prism->limit > 0;
}

double cover_bound_patch(const struct bvh *to, const vec3 *points, size_t count, vec3 normal, double limit,
                         uint32_t *face, size_t *work)
{
    struct prism prism;

    return limit < 1 && set_patch(points, count, normal, limit, &prism)
               ? cover_polygon(to, &prism, OVER_PATCH_MAX, face, work)
               : INFINITY;
}
