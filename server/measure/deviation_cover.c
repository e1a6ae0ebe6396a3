/* deviation_cover.c - collects the triangles over a piece, cancels their common edges, and counts crossings.
 */
#include "measure/deviation_cover.h"

#include "geom/point_triangle.h"

#include <math.h>
#include <string.h>

#define SIDES_MAX 4
#define TRIANGLES_MAX 1024
#define FEW_TRIANGLES 64     /* most pieces have no more over them: a table of their own stays in the cache */
#define SLOTS_PER_TRIANGLE 4 /* of a table; each has at most three edges of its own */
#define MEMORY_SIZE 128
#define REGION_SLACK 1e-6
#define HEIGHT_MIN 1e-9     /* of the piece, absolute and */
#define HEIGHT_MIN_REL 1e-5 /* of its longest side: flatter pieces are left to other bounds */
#define INSET 1e-13
#define CLIP_BESIDE 1e-12 /* parts are cut this far beyond a side, so that rounding loses none of them */
#define BESIDE 1e-14      /* a corner counts as outside only when it is farther out than this */
#define TURNS 4           /* of the rectangle about a patch, in a quarter turn */

/* A convex polygon in the plane of the first two axes, its sides moved inwards by INSET, so that edges along
 * them do not meet it. */
struct prism {
    vec3 origin, axes[3];
    size_t side_count;
    double x[SIDES_MAX], y[SIDES_MAX];               /* corners, counter-clockwise */
    double inward_x[SIDES_MAX], inward_y[SIDES_MAX]; /* unit normal of side i, from corner i to the next */
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

/* The edges that meet the polygon and that an odd number of triangles have. */
struct edge_table {
    size_t mask, odd_count;
    uint64_t *edges; /* lesser corner, then greater; NO_EDGE where there is none */
};
#define NO_EDGE UINT64_MAX
#define EDGE_IS_ODD ((uint64_t)1 << 63) /* a corner's number has 31 bits */

static vec3 unit(vec3 a)
{
    return vec3_scale(a, 1 / vec3_length(a));
}

/* Sides and middle of a polygon whose corners are set, counter-clockwise. */
static void set_sides(struct prism *prism)
{
    size_t count = prism->side_count;

    for (size_t i = 0; i < count; i++) {
        size_t j = i + 1 < count ? i + 1 : 0;
        double x = prism->x[j] - prism->x[i], y = prism->y[j] - prism->y[i], side = sqrt(x * x + y * y);
        prism->inward_x[i] = -y / side;
        prism->inward_y[i] = x / side;
        prism->middle_x += prism->x[i] / (double)count;
        prism->middle_y += prism->y[i] / (double)count;
    }
}

/* Moves the corners towards the middle by a share of their way. */
static void shrink(struct prism *prism, double share)
{
    for (size_t i = 0; i < prism->side_count; i++) {
        prism->x[i] += share * (prism->middle_x - prism->x[i]);
        prism->y[i] += share * (prism->middle_y - prism->y[i]);
    }
}

/* False where the piece is too flat. */
static bool set_piece(const vec3 *corners, double limit, struct prism *prism)
{
    unsigned turn = triangle_longest_first(corners[0], corners[1], corners[2]);
    vec3 a = corners[turn], b = corners[(turn + 1) % 3], c = corners[(turn + 2) % 3];
    double length = vec3_distance(a, b), lean = 0;

    if (!(length > HEIGHT_MIN))
        return false;
    vec3 along = vec3_scale(vec3_sub(b, a), 1 / length), ac = vec3_sub(c, a);
    vec3 up = vec3_sub(ac, vec3_scale(along, vec3_dot(ac, along)));
    if (!(vec3_length(up) > HEIGHT_MIN + HEIGHT_MIN_REL * length))
        return false;
    up = unit(up);
    up = unit(vec3_sub(up, vec3_scale(along, vec3_dot(up, along)))); /* twice is enough */
    *prism = (struct prism){.origin = a, .axes = {along, up, vec3_cross(along, up)}, .side_count = 3};
    for (int i = 0; i < 3; i++) {
        vec3 from = vec3_sub(i == 0 ? a : i == 1 ? b : c, a);
        prism->x[i] = vec3_dot(from, along);
        prism->y[i] = vec3_dot(from, up);
        lean = fmax(lean, fabs(vec3_dot(from, prism->axes[2]))); /* rounding */
    }
    set_sides(prism);
    double share = 3 * INSET / prism->y[2];
    shrink(prism, share);
    prism->away = lean + share * prism->x[1]; /* the longest side */
    prism->limit = limit - prism->away;
    return prism->limit > 0;
}

/* Height over side i, inwards positive. */
static double side_height(const struct prism *prism, size_t i, double x, double y)
{
    return prism->inward_x[i] * (x - prism->x[i]) + prism->inward_y[i] * (y - prism->y[i]);
}

static struct seen see(const struct prism *prism, const vec3 *points, uint32_t vertex)
{
    vec3 from = vec3_sub(points[vertex], prism->origin);
    struct seen seen = {vec3_dot(from, prism->axes[0]),
                        vec3_dot(from, prism->axes[1]),
                        vec3_dot(from, prism->axes[2]),
                        vertex,
                        0,
                        false};

    for (size_t i = 0; i < prism->side_count; i++)
        seen.outside |= (unsigned char)((side_height(prism, i, seen.x, seen.y) < -BESIDE) << i);
    seen.above = seen.y > prism->middle_y;
    return seen;
}

/* The prism as a region of the index. Rounding is no matter: any choice of triangles is right, and one that
 * lacks some over the piece bounds nothing. */
static void set_region(const struct prism *prism, struct bvh_region *region)
{
    const vec3 *axes = prism->axes;
    const double limit = prism->limit + REGION_SLACK,
                 reach[3] = {limit * fabs(axes[2].x), limit * fabs(axes[2].y), limit * fabs(axes[2].z)};
    aabb box = aabb_empty();

    for (size_t i = 0; i < prism->side_count; i++)
        box = aabb_include(box, vec3_add(prism->origin, vec3_add(vec3_scale(axes[0], prism->x[i]),
                                                                 vec3_scale(axes[1], prism->y[i]))));
    const double low[3] = {box.min.x, box.min.y, box.min.z}, high[3] = {box.max.x, box.max.y, box.max.z};
    for (int axis = 0; axis < 3; axis++) {
        region->min[axis] = (float)(low[axis] - reach[axis] - REGION_SLACK);
        region->max[axis] = (float)(high[axis] + reach[axis] + REGION_SLACK);
    }
    region->plane_count = prism->side_count + 2;
    for (size_t i = 0; i < region->plane_count; i++) {
        bool is_side = i < prism->side_count;
        vec3 normal = is_side ? vec3_add(vec3_scale(axes[0], prism->inward_x[i]),
                                         vec3_scale(axes[1], prism->inward_y[i]))
                              : vec3_scale(axes[2], i == prism->side_count ? 1 : -1);
        double offset =
            is_side ? prism->inward_x[i] * prism->x[i] + prism->inward_y[i] * prism->y[i] : -limit;
        region->normals[i][0] = (float)normal.x;
        region->normals[i][1] = (float)normal.y;
        region->normals[i][2] = (float)normal.z;
        region->offsets[i] = (float)(offset + vec3_dot(normal, prism->origin) - REGION_SLACK);
    }
}

/* Corners seen lately: near triangles share them. */
struct memory {
    uint32_t vertices[MEMORY_SIZE];
    struct seen seen[MEMORY_SIZE];
};

static const struct seen *see_vertex(const struct bvh *to, const struct prism *prism, uint32_t vertex,
                                     struct memory *memory)
{
    size_t at = vertex % MEMORY_SIZE;

    if (memory->vertices[at] != vertex) {
        memory->vertices[at] = vertex;
        memory->seen[at] = see(prism, to->points, vertex);
    }
    return &memory->seen[at];
}

static void toggle_edge(struct edge_table *table, uint64_t edge)
{
    size_t at = (edge * 0x9e3779b97f4a7c15u) >> 40 & table->mask;

    while (table->edges[at] != NO_EDGE && (table->edges[at] & ~EDGE_IS_ODD) != edge)
        at = (at + 1) & table->mask;
    table->edges[at] = table->edges[at] == NO_EDGE ? edge | EDGE_IS_ODD : table->edges[at] ^ EDGE_IS_ODD;
    table->odd_count += table->edges[at] & EDGE_IS_ODD ? 1 : SIZE_MAX;
}

/* 1 or -1 when the whole polygon is strictly to the left or right of the line from a to b, else 0. */
static int side_of_piece(const struct prism *prism, const struct seen *a, const struct seen *b)
{
    double along_x = b->x - a->x, along_y = b->y - a->y, beside = BESIDE * (fabs(along_x) + fabs(along_y));
    size_t left = 0, right = 0;

    for (size_t i = 0; i < prism->side_count; i++) {
        double area = along_x * (prism->y[i] - a->y) - along_y * (prism->x[i] - a->x);
        left += area > beside;
        right += area < -beside;
    }
    return left == prism->side_count ? 1 : right == prism->side_count ? -1 : 0;
}

/* True when the projections have no point in common: then a side of one of them separates them. */
static bool is_apart(const struct prism *prism, const struct seen *corners)
{
    const struct seen *a = &corners[0], *b = &corners[1], *c = &corners[2];
    double turn = (b->x - a->x) * (c->y - a->y) - (b->y - a->y) * (c->x - a->x);
    int outside = turn > 0 ? -1 : 1;

    return side_of_piece(prism, a, b) == outside || side_of_piece(prism, b, c) == outside
           || side_of_piece(prism, c, a) == outside;
}

/* The largest height, up or down, of the part of a triangle over the piece; 0 where there is none. */
static double reach_over_piece(const struct prism *prism, const struct seen *corners)
{
    struct seen part[3 + 2 * SIDES_MAX], rest[3 + 2 * SIDES_MAX];
    size_t count = 3;
    double reach = 0;

    memcpy(part, corners, 3 * sizeof *part);
    for (size_t i = 0; i < prism->side_count && count > 0; i++) {
        size_t kept = 0;
        for (size_t k = 0; k < count; k++) {
            const struct seen *a = &part[k], *b = &part[k + 1 < count ? k + 1 : 0];
            double from = side_height(prism, i, a->x, a->y), to = side_height(prism, i, b->x, b->y);
            if (from >= -CLIP_BESIDE)
                rest[kept++] = *a;
            if ((from < -CLIP_BESIDE && to > -CLIP_BESIDE) || (from > -CLIP_BESIDE && to < -CLIP_BESIDE)) {
                double share = (from + CLIP_BESIDE) / (from - to);
                rest[kept++] = (struct seen){.x = a->x + share * (b->x - a->x),
                                             .y = a->y + share * (b->y - a->y),
                                             .height = a->height + share * (b->height - a->height)};
            }
        }
        memcpy(part, rest, kept * sizeof *part);
        count = kept;
    }
    for (size_t k = 0; k < count; k++)
        reach = fmax(reach, fabs(part[k].height));
    return reach;
}

enum place { PLACE_OUT, PLACE_WITHIN, PLACE_BEYOND };

/* Whether a triangle is to be in T: it meets the prism, and stays within the limit over the piece. One that
 * does not is left out where it starts low, as the flank of a sharp edge does: then what it bounds with
 * others must not be over the piece. One that is high all over means that the limit is too low. */
static enum place place_triangle(const struct prism *prism, const struct seen *corners, double *highest)
{
    double low = INFINITY, high = -INFINITY;

    for (int i = 0; i < 3; i++) {
        low = corners[i].height < low ? corners[i].height : low;
        high = corners[i].height > high ? corners[i].height : high;
    }
    if ((corners[0].outside & corners[1].outside & corners[2].outside) || low > prism->limit
        || high < -prism->limit)
        return PLACE_OUT;
    double reach = high > -low ? high : -low;
    if (reach <= *highest)
        return PLACE_WITHIN;
    if (is_apart(prism, corners))
        return PLACE_OUT;
    reach = reach > prism->limit ? reach_over_piece(prism, corners) : reach;
    if (reach > prism->limit)
        return fmax(low, -high) > 0.5 * prism->limit ? PLACE_BEYOND : PLACE_OUT;
    *highest = fmax(*highest, reach);
    return PLACE_WITHIN;
}

/* Whether a ray from the middle, along the first axis, crosses an edge. */
static bool is_crossed(const struct prism *prism, const struct seen *a, const struct seen *b)
{
    double left = (b->x - a->x) * (prism->middle_y - a->y) - (b->y - a->y) * (prism->middle_x - a->x);

    return a->above != b->above && (left > 0) == b->above;
}

/* Puts the three edges of a triangle of T into the table, those that may meet the polygon, and returns
 * whether the ray crosses an odd number of them. Each edge is looked at from its lesser corner: the same
 * edge gives the same answer in every triangle. */
static bool add_edges(const struct prism *prism, const struct seen *corners, struct edge_table *table)
{
    bool odd = false;

    for (int i = 0; i < 3; i++) {
        const struct seen *a = &corners[i], *b = &corners[i < 2 ? i + 1 : 0];
        if (a->vertex == b->vertex)
            continue;
        if (a->vertex > b->vertex) {
            const struct seen *swap = a;
            a = b;
            b = swap;
        }
        odd ^= is_crossed(prism, a, b);
        if ((a->outside & b->outside) == 0
            && (a->outside == 0 || b->outside == 0 || side_of_piece(prism, a, b) == 0))
            toggle_edge(table, (uint64_t)a->vertex << 32 | b->vertex);
    }
    return odd;
}

/* The largest height of T, of triangles among those of slots, or INFINITY where T does not cover the polygon:
 * where an odd edge meets it or the ray from its middle crosses an even number of edges. */
static double cover_height(const struct bvh *to, const struct prism *prism, const uint32_t *slots,
                           size_t count, struct edge_table *table, uint32_t *face)
{
    struct memory memory;
    double highest = 0;
    bool odd = false;

    memset(memory.vertices, 0xff, sizeof memory.vertices); /* of no mesh: there are fewer */
    memset(table->edges, 0xff, (table->mask + 1) * sizeof *table->edges);
    for (size_t i = 0; i < count; i++) {
        const uint32_t *corner = to->corners[slots[i]];
        struct seen corners[3];
        for (int k = 0; k < 3; k++)
            corners[k] = *see_vertex(to, prism, corner[k], &memory);
        enum place place = place_triangle(prism, corners, &highest);
        if (place == PLACE_BEYOND)
            return INFINITY;
        if (place == PLACE_OUT)
            continue;
        odd ^= add_edges(prism, corners, table);
        *face = slots[i];
    }
    return odd && table->odd_count == 0 ? highest : INFINITY;
}

static __attribute__((noinline)) double cover_by_few(const struct bvh *to, const struct prism *prism,
                                                     const uint32_t *slots, size_t count, uint32_t *face)
{
    uint64_t edges[FEW_TRIANGLES * SLOTS_PER_TRIANGLE];
    struct edge_table table = {.mask = 15, .edges = edges};

    while (table.mask + 1 < SLOTS_PER_TRIANGLE * count)
        table.mask = 2 * table.mask + 1;
    return cover_height(to, prism, slots, count, &table, face);
}

/* Apart from the other, since so large a frame is costly. */
static __attribute__((noinline)) double cover_by_many(const struct bvh *to, const struct prism *prism,
                                                      const uint32_t *slots, size_t count, uint32_t *face)
{
    uint64_t edges[TRIANGLES_MAX * SLOTS_PER_TRIANGLE];
    struct edge_table table = {.mask = FEW_TRIANGLES * SLOTS_PER_TRIANGLE - 1, .edges = edges};

    while (table.mask + 1 < SLOTS_PER_TRIANGLE * count)
        table.mask = 2 * table.mask + 1;
    return cover_height(to, prism, slots, count, &table, face);
}

static double cover_polygon(const struct bvh *to, const struct prism *prism, uint32_t *face, size_t *work)
{
    uint32_t slots[TRIANGLES_MAX], covering = 0;
    struct bvh_region region;
    double highest;

    set_region(prism, &region);
    size_t count = bvh_collect(to, &region, slots, TRIANGLES_MAX, work);
    *work += count;
    if (count == 0 || count > TRIANGLES_MAX)
        return INFINITY;
    if (count <= FEW_TRIANGLES)
        highest = cover_by_few(to, prism, slots, count, &covering);
    else
        highest = cover_by_many(to, prism, slots, count, &covering);
    if (highest < INFINITY)
        *face = covering;
    return highest + prism->away;
}

double cover_bound(const struct bvh *to, const vec3 *corners, double limit, uint32_t *face, size_t *work)
{
    struct prism prism;

    return limit < 1 && set_piece(corners, limit, &prism) ? cover_polygon(to, &prism, face, work) : INFINITY;
}

/* Patches. */

struct rectangle {
    double low_x, high_x, low_y, high_y;
};

static struct rectangle rectangle_about(const vec3 *points, size_t count, vec3 middle, const vec3 *axes)
{
    struct rectangle about = {INFINITY, -INFINITY, INFINITY, -INFINITY};

    for (size_t i = 0; i < count; i++) {
        vec3 from = vec3_sub(points[i], middle);
        double x = vec3_dot(from, axes[0]), y = vec3_dot(from, axes[1]);
        about.low_x = x < about.low_x ? x : about.low_x;
        about.high_x = x > about.high_x ? x : about.high_x;
        about.low_y = y < about.low_y ? y : about.low_y;
        about.high_y = y > about.high_y ? y : about.high_y;
    }
    return about;
}

/* Cosine and sine of 0, 1, 2 and 3 sixteenths of a turn. */
static const double turns[TURNS][2] = {{1, 0},
                                       {0.9238795325112867, 0.3826834323650898},
                                       {0.7071067811865476, 0.7071067811865476},
                                       {0.3826834323650898, 0.9238795325112867}};

/* The smallest of the rectangles of a few directions that hold the points' projections. False where the
 * points are not so near to one plane that the limit leaves room, or the rectangle is too flat. */
static bool set_patch(const vec3 *points, size_t count, vec3 normal, double limit, struct prism *prism)
{
    double low = INFINITY, high = -INFINITY, least = INFINITY;
    vec3 middle = points[0], up = unit(normal), best[3];
    struct rectangle about = {0, 0, 0, 0};

    for (size_t i = 0; i < count; i++) {
        double height = vec3_dot(vec3_sub(points[i], middle), up);
        low = height < low ? height : low;
        high = height > high ? height : high;
    }
    if (!(high - low < limit)) /* half of it for them, half at least for what is over them */
        return false;
    middle = vec3_add(middle, vec3_scale(up, 0.5 * (low + high)));
    vec3 along = fabs(up.x) < 0.6 ? (vec3){1, 0, 0} : (vec3){0, 1, 0};
    along = unit(vec3_sub(along, vec3_scale(up, vec3_dot(along, up))));
    along = unit(vec3_sub(along, vec3_scale(up, vec3_dot(along, up))));
    vec3 across = vec3_cross(up, along);
    for (int turn = 0; turn < TURNS; turn++) {
        const double x = turns[turn][0], y = turns[turn][1];
        const vec3 axes[3] = {vec3_add(vec3_scale(along, x), vec3_scale(across, y)),
                              vec3_sub(vec3_scale(across, x), vec3_scale(along, y)), up};
        struct rectangle here = rectangle_about(points, count, middle, axes);
        double area = (here.high_x - here.low_x) * (here.high_y - here.low_y);
        if (area < least) {
            least = area;
            about = here;
            memcpy(best, axes, sizeof best);
        }
    }
    double width = about.high_x - about.low_x, height = about.high_y - about.low_y,
           thin = width < height ? width : height, thick = width + height - thin;
    if (!(thin > HEIGHT_MIN + HEIGHT_MIN_REL * thick))
        return false;
    *prism = (struct prism){.origin = middle,
                            .axes = {best[0], best[1], best[2]},
                            .side_count = 4,
                            .x = {about.low_x, about.high_x, about.high_x, about.low_x},
                            .y = {about.low_y, about.low_y, about.high_y, about.high_y}};
    set_sides(prism);
    double share = 2 * INSET / thin;
    shrink(prism, share);
    prism->away = 0.5 * (high - low) + share * thick;
    prism->limit = limit - prism->away;
    return prism->limit > 0;
}

double cover_bound_patch(const struct bvh *to, const vec3 *points, size_t count, vec3 normal, double limit,
                         uint32_t *face, size_t *work)
{
    struct prism prism;

    return limit < 1 && set_patch(points, count, normal, limit, &prism)
               ? cover_polygon(to, &prism, face, work)
               : INFINITY;
}
