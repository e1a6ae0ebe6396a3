/* deviation_piece.c - a piece is cut by the prism over its nearest face, or halved. */
#include "measure/deviation_piece.h"

#include "geom/point_triangle.h"
#include "measure/deviation_bound.h"
#include "measure/deviation_cover.h"

#include <assert.h>
#include <math.h>

#define OUTLINE_MAX 8           /* corners of a triangle cut by three planes, with one to spare */
#define SITES_MAX 12            /* and all corners that this makes */
#define INSIDE_SHARE_MIN 0.0625 /* cutting pays when this share of the piece is settled by it */
#define COVER_SHARE_MAX 0.5     /* a face this small beside the piece suggests that many lie over it */
#define COVER_HEIGHT_MAX 0.25   /* of the longest side: higher prisms pay only over many small faces */
#define FAILURES_MAX 8          /* more than successes, until a way is left out for a while */
#define WAITS 32                /* times that it is left out */
#define BESIDE 1e-12            /* a corner this near to a plane counts as on it: no slivers from rounding */

struct bvh_hit hunt_query(struct hunt *hunt, vec3 p, uint32_t from_slot, uint32_t first, double enough,
                          double *distance)
{
    double least = fmin(enough, hunt->best.distance);
    struct bvh_hit hit = bvh_near(&hunt->to->bvh, p, first, least, &hunt->work);

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

void luck_begin(struct luck *luck, size_t chunk)
{
    luck->waits = (int)(chunk % WAITS);
}

bool luck_tries(struct luck *luck)
{
    if (luck->failures < FAILURES_MAX)
        return true;
    if (++luck->waits < WAITS)
        return false;
    luck->waits = 0;
    return true;
}

void luck_learn(struct luck *luck, bool success)
{
    if (success)
        luck->failures -= luck->failures > 0;
    else
        luck->failures += luck->failures < FAILURES_MAX;
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

/* The least of the bound known, the way from the centroid, and the corners against two faces. Costs one
 * query: enough for most pieces. Sets middle. */
static void bound_roughly(struct hunt *hunt, struct piece *piece, uint32_t first)
{
    vec3 middle = centroid(piece->corners);
    double distance, way = 0, by_middle = 0, by_first = 0;

    for (int i = 0; i < 3; i++)
        way = fmax(way, vec3_distance(middle, piece->corners[i]));
    piece->middle =
        hunt_query(hunt, middle, piece->slot, first, hunt->best.distance + hunt->tolerance - way, &distance)
            .slot;
    piece->upper = fmin(piece->upper, distance + way);
    if (piece->upper <= hunt->best.distance + hunt->tolerance)
        return;
    for (int i = 0; i < 3; i++)
        by_middle = fmax(by_middle, distance_to(hunt, piece->corners[i], piece->middle));
    for (int i = 0; i < 3 && first != piece->middle; i++)
        by_first = fmax(by_first, distance_to(hunt, piece->corners[i], first));
    piece->upper = fmin(piece->upper, by_middle);
    if (first != piece->middle)
        piece->upper = fmin(piece->upper, by_first);
}

/* The bound by the faces nearest to the corners and to the centroid together. Asks at the corners. */
static void bound_closely(struct hunt *hunt, struct piece *piece)
{
    double distances[BOUND_FACES_MAX][3];
    uint32_t candidates[BOUND_FACES_MAX] = {0};
    size_t count = 0;

    for (int i = 0; i < 3; i++)
        if (piece->faces[i] == BVH_NONE) {
            double way = fmax(vec3_distance(piece->corners[i], piece->corners[(i + 1) % 3]),
                              vec3_distance(piece->corners[i], piece->corners[(i + 2) % 3]));
            piece->faces[i] = hunt_query(hunt, piece->corners[i], piece->slot, piece->middle,
                                         hunt->best.distance + hunt->tolerance - way, &piece->distances[i])
                                  .slot;
        }
    for (int k = 0; k < BOUND_FACES_MAX; k++) {
        uint32_t candidate = k < 3 ? piece->faces[k] : piece->middle;
        bool known = false;
        for (size_t j = 0; j < count; j++)
            known = known || candidates[j] == candidate;
        if (known)
            continue;
        for (int i = 0; i < 3; i++)
            distances[count][i] = distance_to(hunt, piece->corners[i], candidate);
        candidates[count++] = candidate;
    }
    piece->upper = fmin(piece->upper, bound_by_way(piece->corners, piece->distances));
    piece->upper = fmin(piece->upper, bound_by_faces(distances, count));
}

static double face_area(const struct hunt *hunt, uint32_t face)
{
    return triangle_area(deviation_surface_corner(hunt->to, face, 0),
                         deviation_surface_corner(hunt->to, face, 1),
                         deviation_surface_corner(hunt->to, face, 2));
}

static double piece_area(const struct piece *piece)
{
    return triangle_area(piece->corners[0], piece->corners[1], piece->corners[2]);
}

double piece_faces_over(const struct hunt *hunt, uint32_t slot, uint32_t face)
{
    double area = triangle_area(deviation_surface_corner(hunt->from, slot, 0),
                                deviation_surface_corner(hunt->from, slot, 1),
                                deviation_surface_corner(hunt->from, slot, 2));

    return area / face_area(hunt, face);
}

/* True when the prism over the piece, up to the limit, is not so high that it holds much else. */
static bool is_low(const struct piece *piece, double limit)
{
    double side = 0;

    for (int i = 0; i < 3; i++)
        side = fmax(side, vec3_distance(piece->corners[i], piece->corners[i < 2 ? i + 1 : 0]));
    return limit <= COVER_HEIGHT_MAX * side;
}

/* A face near slot `first` that bounds the piece by itself, or BVH_NONE. Not looked for where that has failed
 * more often than not of late. */
static uint32_t one_face(struct hunt *hunt, const struct piece *piece, double limit, uint32_t first,
                         double *bound)
{
    if (!luck_tries(&hunt->lucks[WAY_ONE_FACE]))
        return BVH_NONE;
    uint32_t face = bvh_within(&hunt->to->bvh, piece->corners, limit, first, bound, &hunt->work);
    luck_learn(&hunt->lucks[WAY_ONE_FACE], face != BVH_NONE);
    return face;
}

/* True where a query has settled the piece. Left out where it seldom does: then the faces over it come first.
 */
static bool is_dropped_roughly(struct hunt *hunt, struct piece *piece, uint32_t first)
{
    bound_roughly(hunt, piece, first);
    bool dropped = piece->upper <= hunt->best.distance + hunt->tolerance;
    luck_learn(&hunt->lucks[WAY_MIDDLE_FACE], dropped);
    return dropped;
}

/* Bounds a new piece near the face of slot `first`, by what costs least first: one face there, unless the
 * faces are small; the faces over it; a query. */
static void bound_new(struct hunt *hunt, struct piece *piece, uint32_t first)
{
    double limit = hunt->best.distance + hunt->tolerance, bound = INFINITY;
    bool over_many = false, covered = false, asked = false;

    piece->middle = first;
    if (first != BVH_NONE) {
        over_many = face_area(hunt, first) < COVER_SHARE_MAX * piece_area(piece);
        uint32_t face = over_many ? BVH_NONE : one_face(hunt, piece, limit, first, &bound);
        covered = face == BVH_NONE && (over_many || is_low(piece, limit));
        piece->middle = face == BVH_NONE ? first : face;
        if (covered && luck_tries(&hunt->lucks[WAY_MIDDLE_FACE])) {
            asked = true;
            if (is_dropped_roughly(hunt, piece, first))
                return;
            limit = hunt->best.distance + hunt->tolerance;
        }
        if (face == BVH_NONE)
            bound = covered ? cover_bound(&hunt->to->bvh, piece->corners, limit, &piece->middle, &hunt->work)
                            : INFINITY;
    }
    if (!(bound < INFINITY) && !asked) {
        bound_roughly(hunt, piece, first);
        limit = hunt->best.distance + hunt->tolerance;
        if (piece->upper > limit && !covered && is_low(piece, limit))
            bound = cover_bound(&hunt->to->bvh, piece->corners, limit, &piece->middle, &hunt->work);
    }
    piece->upper = fmin(piece->upper, bound);
}

struct piece piece_of_triangle(struct hunt *hunt, uint32_t slot, uint32_t first, double upper)
{
    struct piece piece = {.upper = upper, .faces = {BVH_NONE, BVH_NONE, BVH_NONE}, .slot = slot};

    for (int i = 0; i < 3; i++)
        piece.corners[i] = deviation_surface_corner(hunt->from, slot, i);
    bound_new(hunt, &piece, first);
    return piece;
}

/* A corner of the children, with its nearest triangle where that was asked. */
struct site {
    vec3 at;
    double distance;
    uint32_t face; /* or BVH_NONE */
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
        cutting->sites[i] = (struct site){piece->corners[i], piece->distances[i], piece->faces[i]};
}

static unsigned char add_site(struct cutting *cutting, vec3 at)
{
    assert(cutting->site_count < SITES_MAX);
    cutting->sites[cutting->site_count] = (struct site){at, 0, BVH_NONE};
    return (unsigned char)cutting->site_count++;
}

/* The triangle of three sites, bounded; appended unless it can be dropped. */
static void add_child(struct cutting *cutting, bool closely, size_t a, size_t b, size_t c,
                      struct piece *children, size_t *count)
{
    struct site *sites[3] = {&cutting->sites[a], &cutting->sites[b], &cutting->sites[c]};
    struct piece *child = &children[*count];

    assert(*count < PIECE_CHILDREN_MAX);
    child->slot = cutting->piece->slot;
    child->depth = cutting->piece->depth + 1;
    child->upper = cutting->piece->upper;
    for (int i = 0; i < 3; i++) {
        child->corners[i] = sites[i]->at;
        child->distances[i] = sites[i]->distance;
        child->faces[i] = sites[i]->face;
    }
    bound_new(cutting->hunt, child, cutting->piece->middle);
    if (hunt_drops(cutting->hunt, child->upper))
        return;
    if (closely) {
        bound_closely(cutting->hunt, child);
        for (int i = 0; i < 3; i++) {
            sites[i]->distance = child->distances[i];
            sites[i]->face = child->faces[i];
        }
        if (hunt_drops(cutting->hunt, child->upper))
            return;
    }
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

/* Splits the piece by the prism over a face, widened by `margin`. False when the face has no prism. */
static bool split_by_prism(struct cutting *cutting, uint32_t face, double margin, struct outline *inside,
                           struct outline outside[3])
{
    vec3 corner[3], normal;

    begin_cutting(cutting->hunt, cutting->piece, cutting);
    for (int i = 0; i < 3; i++)
        corner[i] = deviation_surface_corner(cutting->hunt->to, face, i);
    normal = triangle_normal(corner[0], corner[1], corner[2]);
    *inside = (struct outline){3, {0, 1, 2}};
    for (int i = 0; i < 3; i++) {
        vec3 outward = vec3_cross(vec3_sub(corner[(i + 1) % 3], corner[i]), normal);
        double length = vec3_length(outward);
        struct outline whole = *inside;
        if (!(length > 1e-200))
            return false;
        outward = vec3_scale(outward, 1 / length);
        if (!split_outline(cutting, &whole, vec3_add(corner[i], vec3_scale(outward, margin)), outward,
                           &outside[i], inside))
            return false;
    }
    return true;
}

/* How far beside the face the piece may reach and still be near enough to it: from the largest height of the
 * piece over the face's plane. Only a guess: what it lets in is bounded all the same. */
static double choose_margin(const struct cutting *cutting, uint32_t face)
{
    vec3 origin = deviation_surface_corner(cutting->hunt->to, face, 0);
    vec3 normal = triangle_normal(origin, deviation_surface_corner(cutting->hunt->to, face, 1),
                                  deviation_surface_corner(cutting->hunt->to, face, 2));
    double enough = cutting->hunt->best.distance + cutting->hunt->tolerance, height = 0,
           length = vec3_length(normal);

    for (int i = 0; i < 3; i++)
        height = fmax(height, fabs(vec3_dot(vec3_sub(cutting->piece->corners[i], origin), normal)) / length);
    return height < enough ? 0.6 * sqrt((enough - height) * (enough + height)) : 0;
}

/* Cuts the piece by the prism over the face nearest to its middle. The part inside is settled when its
 * corners are near enough to that face, by convexity; only the parts outside go on. False, with nothing done,
 * when too little would be settled. */
static bool cut_by_prism(struct cutting *cutting, struct piece *children, size_t *count)
{
    const uint32_t face = cutting->piece->middle;
    struct outline inside, outside[3];
    double margin = choose_margin(cutting, face), settled = 0;

    for (int attempt = 0; attempt < 2; attempt++, margin = 0) {
        if (!split_by_prism(cutting, face, margin, &inside, outside) || inside.count < 3)
            return false;
        settled = outline_bound(cutting, &inside, face);
        if (!(margin > 0) || settled <= cutting->hunt->best.distance + cutting->hunt->tolerance)
            break;
    }
    const struct outline whole = {3, {0, 1, 2}};
    if (!(outline_area(cutting, &inside) > INSIDE_SHARE_MIN * outline_area(cutting, &whole))
        || !hunt_drops(cutting->hunt, settled))
        return false;
    for (int i = 0; i < 3; i++)
        for (size_t k = 1; k + 1 < outside[i].count; k++)
            add_child(cutting, false, outside[i].sites[0], outside[i].sites[k], outside[i].sites[k + 1],
                      children, count);
    return true;
}

/* In four at the middles of the sides, or a flat piece in two at the middle of its longest side. */
static void halve(struct cutting *cutting, bool closely, struct piece *children, size_t *count)
{
    const vec3 *p = cutting->piece->corners;
    unsigned turn = triangle_longest_first(p[0], p[1], p[2]);
    size_t a = turn, b = (turn + 1) % 3, c = (turn + 2) % 3;
    double side = vec3_distance(p[a], p[b]);

    begin_cutting(cutting->hunt, cutting->piece, cutting);
    size_t ab = add_site(cutting, vec3_lerp(p[a], p[b], 0.5));
    if (2 * triangle_area(p[a], p[b], p[c]) < 0.35 * side * side) {
        add_child(cutting, closely, a, ab, c, children, count);
        add_child(cutting, closely, ab, b, c, children, count);
        return;
    }
    size_t bc = add_site(cutting, vec3_lerp(p[b], p[c], 0.5)),
           ca = add_site(cutting, vec3_lerp(p[c], p[a], 0.5));
    add_child(cutting, closely, ab, bc, ca, children, count);
    add_child(cutting, closely, a, ab, ca, children, count);
    add_child(cutting, closely, ab, b, bc, children, count);
    add_child(cutting, closely, ca, bc, c, children, count);
}

size_t piece_refine(struct hunt *hunt, struct piece *piece, struct piece *children)
{
    struct cutting cutting = {.hunt = hunt, .piece = piece};
    size_t count = 0;

    if (piece->depth == PIECE_DEPTH_MAX) {
        hunt->dropped = fmax(hunt->dropped, piece->upper);
        return 0;
    }
    bool small_faces = face_area(hunt, piece->middle) < COVER_SHARE_MAX * piece_area(piece);
    if (!small_faces && cut_by_prism(&cutting, children, &count))
        return count;
    /* While the faces are small beside the piece, nothing but smaller pieces helps. */
    bool closely = face_area(hunt, piece->middle) > INSIDE_SHARE_MIN * piece_area(piece);
    if (closely) {
        bound_closely(hunt, piece);
        if (hunt_drops(hunt, piece->upper))
            return 0;
    }
    halve(&cutting, closely, children, &count);
    return count;
}
