/* deviation_piece.c - a piece is cut by the prism over its nearest face, or halved. */
#include "measure/deviation_piece.h"

#include "geom/point_triangle.h"
#include "measure/deviation_bound.h"

#include <assert.h>
#include <math.h>

#define OUTLINE_MAX 8           /* corners of a triangle cut by three planes, with one to spare */
#define SITES_MAX 12            /* and all corners that this makes */
#define INSIDE_SHARE_MIN 0.0625 /* cutting pays when this share of the piece is settled by it */
#define BESIDE 1e-12            /* a corner this near to a plane counts as on it: no slivers from rounding */

struct bvh_hit hunt_query(struct hunt *hunt, vec3 p, uint32_t from_slot, uint32_t first, double *distance)
{
    struct bvh_hit hit = bvh_nearest(&hunt->to->bvh, p, first, &hunt->work);

    *distance = sqrt(hit.distance_sq);
    if (*distance > hunt->best.distance)
        hunt->best = (struct farthest){*distance, p, from_slot, hit.slot};
    return hit;
}

bool hunt_drops(struct hunt *hunt, double upper)
{
    if (upper > hunt->best.distance + hunt->tolerance)
        return false;
    hunt->dropped = fmax(hunt->dropped, upper);
    return true;
}

static double distance_to(struct hunt *hunt, vec3 p, uint32_t slot)
{
    hunt->work++;
    return sqrt(bvh_distance_sq(&hunt->to->bvh, p, slot));
}

static vec3 centroid(const vec3 *p)
{
    return vec3_scale(vec3_add(vec3_add(p[0], p[1]), p[2]), 1.0 / 3);
}

void piece_bound(struct hunt *hunt, struct piece *piece, uint32_t first, double upper)
{
    double distances[BOUND_FACES_MAX][3], middle_distance, way = 0;
    vec3 middle = centroid(piece->corners);
    size_t count = 0;

    piece->middle = hunt_query(hunt, middle, piece->slot, first, &middle_distance).slot;
    const uint32_t candidates[BOUND_FACES_MAX] = {piece->middle, piece->faces[0], piece->faces[1],
                                                  piece->faces[2], first};
    for (size_t k = 0; k < BOUND_FACES_MAX; k++) {
        bool known = false;
        for (size_t j = 0; j < k; j++)
            known = known || candidates[j] == candidates[k];
        for (int i = 0; i < 3 && !known; i++)
            distances[count][i] = distance_to(hunt, piece->corners[i], candidates[k]);
        count += !known;
    }
    for (int i = 0; i < 3; i++)
        way = fmax(way, vec3_distance(middle, piece->corners[i]));
    upper = fmin(upper, middle_distance + way);
    upper = fmin(upper, bound_by_way(piece->corners, piece->distances));
    piece->upper = fmin(upper, bound_by_faces(distances, count));
}

/* A point of the piece with its nearest triangle, asked for once. */
struct site {
    vec3 at;
    bool known;
    double distance;
    uint32_t face;
};

struct outline {
    size_t count;
    unsigned char sites[OUTLINE_MAX];
};

struct cutting {
    struct hunt *hunt;
    const struct piece *piece;
    struct site sites[SITES_MAX];
    size_t site_count;
};

static void begin_cutting(struct hunt *hunt, const struct piece *piece, struct cutting *cutting)
{
    cutting->hunt = hunt;
    cutting->piece = piece;
    cutting->site_count = 3;
    for (size_t i = 0; i < 3; i++)
        cutting->sites[i] = (struct site){piece->corners[i], true, piece->distances[i], piece->faces[i]};
}

static unsigned char add_site(struct cutting *cutting, vec3 at)
{
    assert(cutting->site_count < SITES_MAX);
    cutting->sites[cutting->site_count] = (struct site){.at = at};
    return (unsigned char)cutting->site_count++;
}

/* The triangle of three sites, bounded; appended unless it can be dropped. */
static void add_child(struct cutting *cutting, size_t a, size_t b, size_t c, struct piece *children,
                      size_t *count)
{
    const size_t corners[3] = {a, b, c};
    struct piece *child = &children[*count];

    assert(*count < PIECE_CHILDREN_MAX);
    child->slot = cutting->piece->slot;
    for (int i = 0; i < 3; i++) {
        struct site *site = &cutting->sites[corners[i]];
        if (!site->known) {
            site->face =
                hunt_query(cutting->hunt, site->at, child->slot, cutting->piece->middle, &site->distance)
                    .slot;
            site->known = true;
        }
        child->corners[i] = site->at;
        child->distances[i] = site->distance;
        child->faces[i] = site->face;
    }
    piece_bound(cutting->hunt, child, cutting->piece->middle, cutting->piece->upper);
    if (!hunt_drops(cutting->hunt, child->upper))
        ++*count;
}

/* Splits a convex outline by the plane through origin with unit normal: what is beyond it, and the rest.
 * False when rounding makes the plane cross the outline more than twice. */
static bool split_outline(struct cutting *cutting, const struct outline *whole, vec3 origin, vec3 normal,
                          struct outline *beyond, struct outline *rest)
{
    double heights[OUTLINE_MAX], highest = 0;
    size_t crossings = 0;

    beyond->count = rest->count = 0;
    for (size_t i = 0; i < whole->count; i++) {
        heights[i] = vec3_dot(vec3_sub(cutting->sites[whole->sites[i]].at, origin), normal);
        highest = fmax(highest, heights[i]);
    }
    if (highest <= BESIDE) {
        *rest = *whole;
        return true;
    }
    for (size_t i = 0; i < whole->count; i++) {
        size_t j = (i + 1) % whole->count;
        if (heights[i] >= 0)
            beyond->sites[beyond->count++] = whole->sites[i];
        if (heights[i] <= 0)
            rest->sites[rest->count++] = whole->sites[i];
        if ((heights[i] < 0 && heights[j] > 0) || (heights[i] > 0 && heights[j] < 0)) {
            vec3 at = vec3_lerp(cutting->sites[whole->sites[i]].at, cutting->sites[whole->sites[j]].at,
                                heights[i] / (heights[i] - heights[j]));
            if (++crossings > 2)
                return false;
            rest->sites[rest->count++] = beyond->sites[beyond->count++] = add_site(cutting, at);
        }
    }
    return true;
}

static double outline_area(const struct cutting *cutting, const struct outline *outline)
{
    double area = 0;

    for (size_t i = 1; i + 1 < outline->count; i++)
        area += 0.5
                * vec3_length(triangle_normal(cutting->sites[outline->sites[0]].at,
                                              cutting->sites[outline->sites[i]].at,
                                              cutting->sites[outline->sites[i + 1]].at));
    return area;
}

/* The bound of a convex outline against one face. */
static double outline_bound(struct cutting *cutting, const struct outline *outline, uint32_t face)
{
    double upper = 0;

    for (size_t i = 0; i < outline->count; i++)
        upper = fmax(upper, distance_to(cutting->hunt, cutting->sites[outline->sites[i]].at, face));
    return upper;
}

/* Cuts the piece by the prism over the face nearest to its middle. The part inside is settled when its
 * corners are near enough to that face, by convexity; only the parts outside go on. False, with nothing done,
 * when the face has no prism, or too little would be settled. */
static bool cut_by_prism(struct cutting *cutting, struct piece *children, size_t *count)
{
    const uint32_t face = cutting->piece->middle;
    vec3 corner[3], normal;
    struct outline inside = {3, {0, 1, 2}}, outside[3];

    for (int i = 0; i < 3; i++)
        corner[i] = deviation_surface_corner(cutting->hunt->to, face, i);
    normal = triangle_normal(corner[0], corner[1], corner[2]);
    double whole_area = outline_area(cutting, &inside);
    for (int i = 0; i < 3; i++) {
        vec3 outward = vec3_cross(vec3_sub(corner[(i + 1) % 3], corner[i]), normal);
        double length = vec3_length(outward);
        struct outline whole = inside;
        if (!(length > 1e-200)
            || !split_outline(cutting, &whole, corner[i], vec3_scale(outward, 1 / length), &outside[i],
                              &inside))
            return false;
    }
    if (inside.count < 3 || !(outline_area(cutting, &inside) > INSIDE_SHARE_MIN * whole_area)
        || !hunt_drops(cutting->hunt, outline_bound(cutting, &inside, face)))
        return false;
    for (int i = 0; i < 3; i++)
        for (size_t k = 1; k + 1 < outside[i].count; k++)
            add_child(cutting, outside[i].sites[0], outside[i].sites[k], outside[i].sites[k + 1], children,
                      count);
    return true;
}

/* In four at the middles of the sides, or a flat piece in two at the middle of its longest side. */
static void halve(struct cutting *cutting, struct piece *children, size_t *count)
{
    const vec3 *p = cutting->piece->corners;
    unsigned turn = triangle_longest_first(p[0], p[1], p[2]);
    size_t a = turn, b = (turn + 1) % 3, c = (turn + 2) % 3;
    double side = vec3_distance(p[a], p[b]);
    size_t ab = add_site(cutting, vec3_lerp(p[a], p[b], 0.5));

    if (2 * triangle_area(p[a], p[b], p[c]) < 0.35 * side * side) {
        add_child(cutting, a, ab, c, children, count);
        add_child(cutting, ab, b, c, children, count);
        return;
    }
    size_t bc = add_site(cutting, vec3_lerp(p[b], p[c], 0.5)),
           ca = add_site(cutting, vec3_lerp(p[c], p[a], 0.5));
    add_child(cutting, ab, bc, ca, children, count);
    add_child(cutting, a, ab, ca, children, count);
    add_child(cutting, ab, b, bc, children, count);
    add_child(cutting, ca, bc, c, children, count);
}

size_t piece_refine(struct hunt *hunt, const struct piece *piece, struct piece *children)
{
    struct cutting cutting;
    size_t count = 0;

    begin_cutting(hunt, piece, &cutting);
    if (cut_by_prism(&cutting, children, &count))
        return count;
    begin_cutting(hunt, piece, &cutting);
    halve(&cutting, children, &count);
    return count;
}
