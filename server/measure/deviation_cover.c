/* deviation_cover.c - collects the triangles over a piece, cancels their common edges, and counts crossings.
 */
#include "measure/deviation_cover.h"

#include "geom/point_triangle.h"

#include <math.h>
#include <string.h>

#define TRIANGLES_MAX 1024
#define TABLE_MAX 8192 /* of edges; a power of two, twice what so many triangles can have */
#define MEMORY_SIZE 128
#define REGION_SLACK 1e-6
#define HEIGHT_MIN 1e-9     /* of the piece, absolute and */
#define HEIGHT_MIN_REL 1e-5 /* of its longest side: flatter pieces are left to other bounds */
#define INSET 1e-13
#define CLIP_BESIDE 1e-12 /* parts are cut this far beyond a side, so that rounding loses none of them */
#define FIT_WORK 24       /* in units of a box looked at */
#define FIT_FACE_WORK 4
#define BESIDE 1e-14 /* a corner counts as outside only when it is farther out than this */

/* The piece lies in the plane of the first two axes, its longest side along the first. */
struct prism {
    vec3 origin, axes[3];
    double x[3], y[3];               /* corners, counter-clockwise */
    double inward_x[3], inward_y[3]; /* unit normal of side i, from corner i to the next */
    double lean;                     /* largest height of a corner: rounding */
    double limit;
};

/* A corner of the other surface as the prism sees it. */
struct seen {
    double x, y, height;
    unsigned outside; /* bit i: beyond side i */
};

struct edge_table {
    size_t mask;
    uint64_t edges[TABLE_MAX]; /* lesser corner, then greater; NO_EDGE where there is none */
    bool odd[TABLE_MAX];
};
#define NO_EDGE UINT64_MAX

static vec3 unit(vec3 a)
{
    return vec3_scale(a, 1 / vec3_length(a));
}

/* False where the piece is too flat. */
static bool set_prism(const vec3 *corners, double limit, struct prism *prism)
{
    unsigned turn = triangle_longest_first(corners[0], corners[1], corners[2]);
    vec3 a = corners[turn], b = corners[(turn + 1) % 3], c = corners[(turn + 2) % 3];
    double length = vec3_distance(a, b);

    if (!(length > HEIGHT_MIN))
        return false;
    vec3 along = vec3_scale(vec3_sub(b, a), 1 / length), ac = vec3_sub(c, a);
    vec3 up = vec3_sub(ac, vec3_scale(along, vec3_dot(ac, along)));
    if (!(vec3_length(up) > HEIGHT_MIN + HEIGHT_MIN_REL * length))
        return false;
    up = unit(up);
    up = unit(vec3_sub(up, vec3_scale(along, vec3_dot(up, along)))); /* twice is enough */
    *prism = (struct prism){.origin = a, .axes = {along, up, vec3_cross(along, up)}, .limit = limit};
    for (int i = 0; i < 3; i++) {
        vec3 from = vec3_sub(i == 0 ? a : i == 1 ? b : c, a);
        prism->x[i] = vec3_dot(from, along);
        prism->y[i] = vec3_dot(from, up);
        prism->lean = fmax(prism->lean, fabs(vec3_dot(from, prism->axes[2])));
    }
    for (int i = 0; i < 3; i++) {
        int j = i < 2 ? i + 1 : 0;
        double x = prism->x[j] - prism->x[i], y = prism->y[j] - prism->y[i], side = sqrt(x * x + y * y);
        prism->inward_x[i] = -y / side;
        prism->inward_y[i] = x / side;
    }
    return true;
}

/* Height over side i, inwards positive. */
static double side_height(const struct prism *prism, int i, double x, double y)
{
    return prism->inward_x[i] * (x - prism->x[i]) + prism->inward_y[i] * (y - prism->y[i]);
}

static struct seen see(const struct prism *prism, vec3 p)
{
    vec3 from = vec3_sub(p, prism->origin);
    struct seen seen = {vec3_dot(from, prism->axes[0]), vec3_dot(from, prism->axes[1]),
                        vec3_dot(from, prism->axes[2]), 0};

    for (int i = 0; i < 3; i++) {
        seen.outside |= (unsigned)(side_height(prism, i, seen.x, seen.y) < -BESIDE) << i;
    }
    return seen;
}

/* The prism, widened by `beside` at its sides, as a region of the index. Rounding is no matter: any choice of
 * triangles is right, and one that lacks some over the piece bounds nothing. */
static void set_region(const struct prism *prism, const vec3 *corners, double beside,
                       struct bvh_region *region)
{
    const vec3 *axes = prism->axes;
    const double limit = prism->limit + REGION_SLACK,
                 reach[3] = {beside > 0 ? limit : limit * fabs(axes[2].x),
                             beside > 0 ? limit : limit * fabs(axes[2].y),
                             beside > 0 ? limit : limit * fabs(axes[2].z)};

    for (int axis = 0; axis < 3; axis++) {
        double low = INFINITY, high = -INFINITY;
        for (int i = 0; i < 3; i++) {
            double at = axis == 0 ? corners[i].x : axis == 1 ? corners[i].y : corners[i].z;
            low = at < low ? at : low;
            high = at > high ? at : high;
        }
        region->min[axis] = (float)(low - reach[axis] - REGION_SLACK);
        region->max[axis] = (float)(high + reach[axis] + REGION_SLACK);
    }
    for (int i = 0; i < BVH_REGION_PLANES; i++) {
        vec3 normal =
            i < 3 ? vec3_add(vec3_scale(axes[0], prism->inward_x[i]), vec3_scale(axes[1], prism->inward_y[i]))
                  : vec3_scale(axes[2], i == 3 ? 1 : -1);
        double offset =
            i < 3 ? prism->inward_x[i] * prism->x[i] + prism->inward_y[i] * prism->y[i] - beside : -limit;
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

static struct seen see_vertex(const struct bvh *to, const struct prism *prism, uint32_t vertex,
                              struct memory *memory)
{
    size_t at = vertex % MEMORY_SIZE;

    if (memory->vertices[at] != vertex) {
        memory->vertices[at] = vertex;
        memory->seen[at] = see(prism, to->points[vertex]);
    }
    return memory->seen[at];
}

static void see_triangle(const struct bvh *to, const struct prism *prism, uint32_t slot,
                         struct memory *memory, struct seen *corners)
{
    for (int i = 0; i < 3; i++)
        corners[i] = see_vertex(to, prism, to->corners[slot][i], memory);
}

static void open_memory(struct memory *memory)
{
    memset(memory->vertices, 0xff, sizeof memory->vertices); /* of no mesh: there are fewer */
}

/* The prism of the piece with its sides moved inwards by `inset`, so that edges along its sides do not meet
 * it; *moved: how far at most the piece's points are from it. */
static struct prism inset_prism(const struct prism *prism, double inset, double *moved)
{
    struct prism inner = *prism;
    double share = 3 * inset / prism->y[2], x = (prism->x[0] + prism->x[1] + prism->x[2]) / 3,
           y = (prism->y[0] + prism->y[1] + prism->y[2]) / 3;

    for (int i = 0; i < 3; i++) {
        inner.x[i] += share * (x - prism->x[i]);
        inner.y[i] += share * (y - prism->y[i]);
    }
    *moved = share * prism->x[1]; /* the longest side */
    return inner;
}

static void clear_table(struct edge_table *table, size_t triangle_count)
{
    size_t size = 16;

    while (size < 4 * triangle_count)
        size *= 2;
    table->mask = size - 1;
    memset(table->edges, 0xff, size * sizeof *table->edges);
}

static void toggle_edge(struct edge_table *table, uint32_t a, uint32_t b)
{
    uint64_t edge = a < b ? (uint64_t)a << 32 | b : (uint64_t)b << 32 | a;
    size_t at = (edge * 0x9e3779b97f4a7c15u) >> 40 & table->mask;

    if (a == b)
        return;
    while (table->edges[at] != NO_EDGE && table->edges[at] != edge)
        at = (at + 1) & table->mask;
    table->odd[at] = table->edges[at] == NO_EDGE || !table->odd[at];
    table->edges[at] = edge;
}

/* 1 or -1 when the whole piece is strictly to the left or right of the line from a to b, else 0. */
static int side_of_piece(const struct prism *prism, const struct seen *a, const struct seen *b)
{
    double along_x = b->x - a->x, along_y = b->y - a->y, beside = BESIDE * (fabs(along_x) + fabs(along_y));
    int left = 0, right = 0;

    for (int i = 0; i < 3; i++) {
        double area = along_x * (prism->y[i] - a->y) - along_y * (prism->x[i] - a->x);
        left += area > beside;
        right += area < -beside;
    }
    return left == 3 ? 1 : right == 3 ? -1 : 0;
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

#define PART_CORNERS_MAX 10

/* How far inside of one of five half spaces a corner is: the sides moved outwards by `beside`, then below and
 * above the height `reach`. */
static double inside_by(const struct prism *prism, int i, double beside, double reach, const struct seen *a)
{
    return i < 3    ? side_height(prism, i, a->x, a->y) + beside
           : i == 3 ? reach - a->height
                    : reach + a->height;
}

/* The part of a triangle in the first `count` of these half spaces, as a convex polygon; returns its number
 * of corners. */
static size_t cut_part(const struct prism *prism, const struct seen *corners, double beside, double reach,
                       int planes, struct seen *part)
{
    struct seen rest[PART_CORNERS_MAX];
    size_t count = 3;

    memcpy(part, corners, 3 * sizeof *part);
    for (int i = 0; i < planes && count > 0; i++) {
        size_t kept = 0;
        for (size_t k = 0; k < count; k++) {
            const struct seen *a = &part[k], *b = &part[k + 1 < count ? k + 1 : 0];
            double from = inside_by(prism, i, beside, reach, a), to = inside_by(prism, i, beside, reach, b);
            if (from >= 0)
                rest[kept++] = *a;
            if ((from < 0 && to > 0) || (from > 0 && to < 0)) {
                double share = from / (from - to);
                rest[kept++] = (struct seen){a->x + share * (b->x - a->x), a->y + share * (b->y - a->y),
                                             a->height + share * (b->height - a->height), 0};
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
    struct seen part[PART_CORNERS_MAX];
    size_t count = cut_part(prism, corners, CLIP_BESIDE, 0, 3, part);
    double reach = 0;

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

/* Keeps the triangles that are to be in T, and returns how many they are; 0 where the limit is too low. */
static size_t sift_triangles(const struct bvh *to, const struct prism *prism, uint32_t *slots, size_t count,
                             double *highest)
{
    struct memory memory;
    size_t kept = 0;

    open_memory(&memory);
    for (size_t i = 0; i < count; i++) {
        struct seen corners[3];
        see_triangle(to, prism, slots[i], &memory, corners);
        enum place place = place_triangle(prism, corners, highest);
        if (place == PLACE_BEYOND)
            return 0;
        if (place == PLACE_WITHIN)
            slots[kept++] = slots[i];
    }
    return kept;
}

/* True when no boundary edge meets the piece and a ray from its middle crosses an odd number of them. */
static bool is_covered(const struct bvh *to, const struct prism *prism, const struct edge_table *table)
{
    double x = (prism->x[0] + prism->x[1] + prism->x[2]) / 3,
           y = (prism->y[0] + prism->y[1] + prism->y[2]) / 3;
    bool odd = false;

    for (size_t at = 0; at <= table->mask; at++) {
        if (table->edges[at] == NO_EDGE || !table->odd[at])
            continue;
        struct seen a = see(prism, to->points[table->edges[at] >> 32]),
                    b = see(prism, to->points[(uint32_t)table->edges[at]]);
        if (!(a.outside & b.outside) && side_of_piece(prism, &a, &b) == 0)
            return false;
        if ((a.y > y) == (b.y > y))
            continue;
        double left = (b.x - a.x) * (y - a.y) - (b.y - a.y) * (x - a.x);
        odd ^= (left > 0) == (b.y > a.y);
    }
    return odd;
}

double cover_bound(const struct bvh *to, const vec3 *corners, double limit, uint32_t *face, size_t *work)
{
    uint32_t slots[TRIANGLES_MAX];
    struct edge_table table;
    struct prism prism;
    struct bvh_region region;
    double highest = 0, moved;

    if (!(limit < 1) || !set_prism(corners, limit, &prism))
        return INFINITY;
    const struct prism inner = inset_prism(&prism, INSET, &moved);
    prism.limit -= prism.lean + moved;
    set_region(&prism, corners, 0, &region);
    size_t count = bvh_collect(to, &region, slots, TRIANGLES_MAX, work);
    *work += count;
    if (count == 0 || count > TRIANGLES_MAX)
        return INFINITY;
    count = sift_triangles(to, &prism, slots, count, &highest);
    if (count == 0)
        return INFINITY;
    clear_table(&table, count);
    for (size_t i = 0; i < count; i++)
        for (int k = 0; k < 3; k++)
            toggle_edge(&table, to->corners[slots[i]][k], to->corners[slots[i]][k < 2 ? k + 1 : 0]);
    if (!is_covered(to, &inner, &table))
        return INFINITY;
    *face = slots[count / 2];
    return highest + prism.lean + moved;
}

/* --- heights --- */

/* Heights are those of a plane over the piece, plus between -below and above. */
struct fit {
    double at_middle, slope_x, slope_y, middle_x, middle_y;
    double below, above;
};

static double height_of_fit(const struct fit *fit, double x, double y)
{
    return fit->at_middle + fit->slope_x * (x - fit->middle_x) + fit->slope_y * (y - fit->middle_y);
}

/* Moments of the corners that a plane is fitted to, about the middle of the piece. */
struct fit_sums {
    double n, x, y, xx, xy, yy, h, xh, yh;
};

static void add_to_sums(struct fit_sums *sums, double x, double y, double h)
{
    sums->n++;
    sums->x += x;
    sums->y += y;
    sums->h += h;
    sums->xx += x * x;
    sums->xy += x * y;
    sums->yy += y * y;
    sums->xh += x * h;
    sums->yh += y * h;
}

/* Least squares; level where the corners tell no slope. Any plane serves: this one fits well. */
static void solve_fit(const struct fit_sums *s, struct fit *fit)
{
    double xx = s->xx - s->x * s->x / s->n, xy = s->xy - s->x * s->y / s->n, yy = s->yy - s->y * s->y / s->n,
           xh = s->xh - s->x * s->h / s->n, yh = s->yh - s->y * s->h / s->n, det = xx * yy - xy * xy;

    if (det > 1e-9 * xx * yy) {
        fit->slope_x = (xh * yy - yh * xy) / det;
        fit->slope_y = (yh * xx - xh * xy) / det;
    }
    fit->at_middle = (s->h - fit->slope_x * s->x - fit->slope_y * s->y) / s->n;
}

static void widen_fit(struct fit *fit, const struct seen *corners, size_t count)
{
    for (size_t k = 0; k < count; k++) {
        double off = corners[k].height - height_of_fit(fit, corners[k].x, corners[k].y);
        fit->below = -off > fit->below ? -off : fit->below;
        fit->above = off > fit->above ? off : fit->above;
    }
}

static bool is_within_fit(const struct fit *fit, const struct seen *corners)
{
    for (int i = 0; i < 3; i++) {
        double off = corners[i].height - height_of_fit(fit, corners[i].x, corners[i].y);
        if (off > fit->above || -off > fit->below)
            return false;
    }
    return true;
}

/* Widens by what of a triangle is over the piece. */
static void widen_by_cover(const struct prism *prism, const struct seen *corners, struct fit *fit)
{
    struct seen part[PART_CORNERS_MAX];

    if (is_within_fit(fit, corners))
        return;
    if (corners[0].outside | corners[1].outside | corners[2].outside)
        widen_fit(fit, part, cut_part(prism, corners, CLIP_BESIDE, 0, 3, part));
    else
        widen_fit(fit, corners, 3);
}

/* Widens by what of a triangle may be nearer to the piece than `reach`. */
static void widen_by_near(const struct prism *prism, const struct seen *corners, double reach,
                          struct fit *fit)
{
    struct seen part[PART_CORNERS_MAX];
    const double slack = reach + CLIP_BESIDE;

    if (is_within_fit(fit, corners))
        return;
    widen_fit(fit, part, cut_part(prism, corners, slack, slack, 5, part));
}

struct covering {
    struct seen seen[COVER_FACES_MAX][3];
    bool over[COVER_FACES_MAX]; /* is in T */
    struct edge_table table;
};

/* Chooses T, and fits a plane to it; false where the limit is too low or there is none. */
static bool choose_cover(const struct bvh *to, const struct prism *prism, const uint32_t *slots, size_t count,
                         struct covering *covering, double *highest, struct fit *fit)
{
    struct fit_sums sums = {0};
    struct memory memory;
    size_t over = 0;

    open_memory(&memory);
    for (size_t i = 0; i < count; i++) {
        see_triangle(to, prism, slots[i], &memory, covering->seen[i]);
        enum place place = place_triangle(prism, covering->seen[i], highest);
        if (place == PLACE_BEYOND)
            return false;
        covering->over[i] = place == PLACE_WITHIN;
        over += covering->over[i];
    }
    if (over == 0)
        return false;
    clear_table(&covering->table, over);
    for (size_t i = 0; i < count; i++)
        for (int k = 0; k < 3 && covering->over[i]; k++) {
            const struct seen *corner = &covering->seen[i][k];
            toggle_edge(&covering->table, to->corners[slots[i]][k], to->corners[slots[i]][k < 2 ? k + 1 : 0]);
            add_to_sums(&sums, corner->x - fit->middle_x, corner->y - fit->middle_y, corner->height);
        }
    solve_fit(&sums, fit);
    return true;
}

/* Whether T covers the piece but for a rim of at most INSET, or of about `rim`, which is tried next; how far
 * the piece's points are from what is covered goes to *moved. */
static bool is_covered_but_rim(const struct bvh *to, const struct prism *prism,
                               const struct edge_table *table, double rim, double *moved)
{
    struct prism inner = inset_prism(prism, INSET, moved);

    if (is_covered(to, &inner, table))
        return true;
    double inset = rim * prism->y[2] / (3 * prism->x[1]);
    inner = inset_prism(prism, inset, moved);
    return inset > INSET && 6 * inset < prism->y[2] && is_covered(to, &inner, table);
}

size_t cover_collect(const struct bvh *to, const vec3 *corners, double limit, uint32_t *slots, size_t most,
                     size_t *work)
{
    struct bvh_region region;
    struct prism prism;

    if (!(limit < 1) || !set_prism(corners, limit, &prism))
        return most + 1;
    set_region(&prism, corners, limit + REGION_SLACK, &region);
    size_t count = bvh_collect(to, &region, slots, most, work);
    *work += count;
    return count;
}

bool cover_fit(const struct bvh *to, const vec3 *corners, double limit, double rim, const uint32_t *slots,
               size_t count, struct cover_heights *heights, size_t *work)
{
    const unsigned turn = triangle_longest_first(corners[0], corners[1], corners[2]);
    struct covering covering;
    struct prism prism;
    double highest = 0, moved, reach = 0;

    if (!(limit < 1) || count == 0 || count > COVER_FACES_MAX || !set_prism(corners, limit, &prism))
        return false;
    struct fit fit = {.middle_x = (prism.x[0] + prism.x[1] + prism.x[2]) / 3,
                      .middle_y = (prism.y[0] + prism.y[1] + prism.y[2]) / 3};
    *work += FIT_WORK + FIT_FACE_WORK * count;
    prism.limit -= prism.lean + rim;
    if (!choose_cover(to, &prism, slots, count, &covering, &highest, &fit)
        || !is_covered_but_rim(to, &prism, &covering.table, rim, &moved))
        return false;
    for (size_t i = 0; i < count; i++)
        if (covering.over[i])
            widen_by_cover(&prism, covering.seen[i], &fit);
    for (int i = 0; i < 3; i++) {
        double height = height_of_fit(&fit, prism.x[i], prism.y[i]);
        reach = fmax(reach, fmax(height + fit.above, fit.below - height));
    }
    reach = fmin(reach, highest) + prism.lean + moved;
    for (size_t i = 0; i < count; i++)
        widen_by_near(&prism, covering.seen[i], reach, &fit);
    for (unsigned i = 0; i < 3; i++) {
        double height = height_of_fit(&fit, prism.x[i], prism.y[i]);
        heights->low[(turn + i) % 3] = height - fit.below - prism.lean - moved;
        heights->high[(turn + i) % 3] = height + fit.above + prism.lean + moved;
    }
    heights->scale = 1 / sqrt(1 + fit.slope_x * fit.slope_x + fit.slope_y * fit.slope_y);
    return true;
}
