/* deviation_prism.c - puts triangles of the other surface in or out, and keeps what edges are odd. */
#include "measure/deviation_prism.h"

#include "geom/point_triangle.h"

#include <math.h>
#include <string.h>

#define BESIDE 1e-14 /* a corner counts as outside only when it is farther out than this */
#define NO_EDGE UINT64_MAX
#define EDGE_IS_ODD ((uint64_t)1 << 63) /* a corner's number has 31 bits */

vec3 prism_unit(vec3 a)
{
    return vec3_scale(a, 1 / vec3_length(a));
}

void prism_set_sides(struct prism *prism)
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

void prism_shrink(struct prism *prism, double share)
{
    for (size_t i = 0; i < prism->side_count; i++) {
        prism->x[i] += share * (prism->middle_x - prism->x[i]);
        prism->y[i] += share * (prism->middle_y - prism->y[i]);
    }
}

bool prism_set_piece(const vec3 *corners, double limit, double rim, struct prism *prism)
{
    unsigned turn = triangle_longest_first(corners[0], corners[1], corners[2]);
    vec3 a = corners[turn], b = corners[(turn + 1) % 3], c = corners[(turn + 2) % 3];
    double length = vec3_distance(a, b), lean = 0;

    if (!(length > PRISM_HEIGHT_MIN))
        return false;
    vec3 along = vec3_scale(vec3_sub(b, a), 1 / length), ac = vec3_sub(c, a);
    vec3 up = vec3_sub(ac, vec3_scale(along, vec3_dot(ac, along)));
    if (!(vec3_length(up) > PRISM_HEIGHT_MIN + PRISM_HEIGHT_MIN_REL * length))
        return false;
    up = prism_unit(up);
    up = prism_unit(vec3_sub(up, vec3_scale(along, vec3_dot(up, along)))); /* twice is enough */
    *prism = (struct prism){.origin = a, .axes = {along, up, vec3_cross(along, up)}, .side_count = 3};
    for (int i = 0; i < 3; i++) {
        vec3 from = vec3_sub(i == 0 ? a : i == 1 ? b : c, a);
        prism->x[i] = vec3_dot(from, along);
        prism->y[i] = vec3_dot(from, up);
        lean = fmax(lean, fabs(vec3_dot(from, prism->axes[2]))); /* rounding */
    }
    prism_set_sides(prism);
    double share = fmax(3 * PRISM_INSET / prism->y[2], rim / prism->x[1]);
    prism_shrink(prism, share);
    prism->away = lean + share * prism->x[1]; /* the longest side */
    prism->limit = limit - prism->away;
    return share < 0.5 && prism->limit > 0;
}

void prism_set_region(const struct prism *prism, double beside, struct bvh_region *region)
{
    const vec3 *axes = prism->axes;
    const double limit = prism->limit + PRISM_REGION_SLACK,
                 reach[3] = {beside > 0 ? limit : limit * fabs(axes[2].x),
                             beside > 0 ? limit : limit * fabs(axes[2].y),
                             beside > 0 ? limit : limit * fabs(axes[2].z)};
    aabb box = aabb_empty();

    for (size_t i = 0; i < prism->side_count; i++)
        box = aabb_include(box, vec3_add(prism->origin, vec3_add(vec3_scale(axes[0], prism->x[i]),
                                                                 vec3_scale(axes[1], prism->y[i]))));
    const double low[3] = {box.min.x, box.min.y, box.min.z}, high[3] = {box.max.x, box.max.y, box.max.z};
    for (int axis = 0; axis < 3; axis++) {
        region->min[axis] = (float)(low[axis] - reach[axis] - PRISM_REGION_SLACK);
        region->max[axis] = (float)(high[axis] + reach[axis] + PRISM_REGION_SLACK);
    }
    region->reach_sq = 0;
    region->plane_count = prism->side_count + 2;
    for (size_t i = 0; i < region->plane_count; i++) {
        bool is_side = i < prism->side_count;
        vec3 normal = is_side ? vec3_add(vec3_scale(axes[0], prism->inward_x[i]),
                                         vec3_scale(axes[1], prism->inward_y[i]))
                              : vec3_scale(axes[2], i == prism->side_count ? 1 : -1);
        double offset =
            is_side ? prism->inward_x[i] * prism->x[i] + prism->inward_y[i] * prism->y[i] - beside : -limit;
        region->normals[i][0] = (float)normal.x;
        region->normals[i][1] = (float)normal.y;
        region->normals[i][2] = (float)normal.z;
        region->offsets[i] = (float)(offset + vec3_dot(normal, prism->origin) - PRISM_REGION_SLACK);
    }
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

static const struct seen *see_vertex(const struct bvh *to, const struct prism *prism, uint32_t vertex,
                                     struct prism_memory *memory)
{
    size_t at = vertex % PRISM_MEMORY_SIZE;

    if (memory->vertices[at] != vertex) {
        memory->vertices[at] = vertex;
        memory->seen[at] = see(prism, to->points, vertex);
    }
    return &memory->seen[at];
}

void prism_open_memory(struct prism_memory *memory)
{
    memset(memory->vertices, 0xff, sizeof memory->vertices); /* of no mesh: there are fewer */
}

void prism_see(const struct bvh *to, const struct prism *prism, uint32_t slot, struct prism_memory *memory,
               struct seen *corners)
{
    for (int k = 0; k < 3; k++)
        corners[k] = *see_vertex(to, prism, to->corners[slot][k], memory);
}

void prism_open_edges(size_t triangle_count, uint64_t *slots, struct prism_edges *table)
{
    *table = (struct prism_edges){.mask = 15, .slots = slots};
    while (table->mask + 1 < PRISM_EDGES_PER_TRIANGLE * triangle_count)
        table->mask = 2 * table->mask + 1;
    memset(slots, 0xff, (table->mask + 1) * sizeof *slots);
}

static void toggle_edge(struct prism_edges *table, uint64_t edge)
{
    size_t at = (edge * 0x9e3779b97f4a7c15u) >> 40 & table->mask;

    while (table->slots[at] != NO_EDGE && (table->slots[at] & ~EDGE_IS_ODD) != edge)
        at = (at + 1) & table->mask;
    table->slots[at] = table->slots[at] == NO_EDGE ? edge | EDGE_IS_ODD : table->slots[at] ^ EDGE_IS_ODD;
    table->odd_count += table->slots[at] & EDGE_IS_ODD ? 1 : SIZE_MAX;
}

void prism_toggle_edge(struct prism_edges *table, uint32_t a, uint32_t b)
{
    toggle_edge(table, a < b ? (uint64_t)a << 32 | b : (uint64_t)b << 32 | a);
}

struct bvh_view prism_view(const struct prism *prism)
{
    struct bvh_view view = {.origin = prism->origin,
                            .axes = {prism->axes[0], prism->axes[1], prism->axes[2]},
                            .middle_x = prism->middle_x,
                            .middle_y = prism->middle_y,
                            .beside = BESIDE};

    for (size_t i = 0; i < BVH_VIEW_CORNERS; i++) {
        size_t side = i < prism->side_count ? i : 0;
        view.x[i] = prism->x[side];
        view.y[i] = prism->y[side];
        view.inward_x[i] = prism->inward_x[side];
        view.inward_y[i] = prism->inward_y[side];
    }
    return view;
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

/* How far inside a corner is of the half spaces of prism_cut. */
static double inside_by(const struct prism *prism, size_t i, double beside, double reach,
                        const struct seen *a)
{
    return i < prism->side_count    ? side_height(prism, i, a->x, a->y) + beside
           : i == prism->side_count ? reach - a->height
                                    : reach + a->height;
}

size_t prism_cut(const struct prism *prism, const struct seen *corners, double beside, double reach,
                 struct seen *part)
{
    struct seen rest[PRISM_PART_MAX];
    size_t count = 3, planes = prism->side_count + (reach < INFINITY ? 2 : 0);

    memcpy(part, corners, 3 * sizeof *part);
    for (size_t i = 0; i < planes && count > 0; i++) {
        size_t kept = 0;
        for (size_t k = 0; k < count; k++) {
            const struct seen *a = &part[k], *b = &part[k + 1 < count ? k + 1 : 0];
            double from = inside_by(prism, i, beside, reach, a), to = inside_by(prism, i, beside, reach, b);
            if (from >= 0)
                rest[kept++] = *a;
            if ((from < 0 && to > 0) || (from > 0 && to < 0)) {
                double share = from / (from - to);
                rest[kept++] = (struct seen){.x = a->x + share * (b->x - a->x),
                                             .y = a->y + share * (b->y - a->y),
                                             .height = a->height + share * (b->height - a->height)};
            }
        }
        memcpy(part, rest, kept * sizeof *part);
        count = kept;
    }
    return count;
}

/* The largest height, up or down, of the part of a triangle over the piece; 0 where there is none. */
static double reach_over_piece(const struct prism *prism, const struct seen *corners)
{
    struct seen part[PRISM_PART_MAX];
    size_t count = prism_cut(prism, corners, PRISM_CLIP_BESIDE, INFINITY, part);
    double reach = 0;

    for (size_t k = 0; k < count; k++)
        reach = fmax(reach, fabs(part[k].height));
    return reach;
}

enum prism_place prism_place(const struct prism *prism, const struct seen *corners, double *highest)
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

bool prism_add_edges(const struct prism *prism, const struct seen *corners, struct prism_edges *table)
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
