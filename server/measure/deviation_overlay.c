/* deviation_overlay.c - triangles gathered leaf by leaf, seen from each triangle, clipped to it. */
#include "measure/deviation_overlay.h"

#include "base/tasks.h"
#include "geom/point_triangle.h"
#include "measure/deviation_side.h"

#include <math.h>

#define CHUNK ((size_t)1 << 13)
#define LEAVES_OF_CHUNK 16
#define TALLIES 32         /* each of them sums up one of so many chunks */
#define SLICE 16           /* chunks of a tally between two words to the listener */
#define FACES_MAX 640      /* near a leaf, or a triangle */
#define PIECES_MAX 128     /* of a triangle */
#define CORNERS_MAX 9      /* of a triangle clipped to another */
#define COS_MIN 0.7072     /* above that of 45 degrees */
#define REACH_TIMES 1.4142 /* > 1 / COS_MIN */
#define REACH_SIDES 0.12   /* of the longest side: what heights may be more than at the corners */
#define FAR_SIDES 4        /* a triangle that is so many times its side away is not looked at */
#define CUTS 2             /* of a triangle that is not small */
#define BOX_SLACK 1e-6     /* of float boxes */
#define FLAT_SLACK 0x1p-46 /* of corners over their own plane */

/* --- plain triangles --- */

struct plain {
    const struct deviation_surface *surface;
    struct deviation_side side;
    bool *plain;
};

static vec3 listed_normal(const struct deviation_surface *surface, size_t slot)
{
    return triangle_normal(deviation_surface_corner(surface, (uint32_t)slot, 0),
                           deviation_surface_corner(surface, (uint32_t)slot, 1),
                           deviation_surface_corner(surface, (uint32_t)slot, 2));
}

/* 1 where a triangle has a side from a to b, -1 from b to a, 0 where it has none. */
static int direction_of(const uint32_t *corner, uint32_t a, uint32_t b)
{
    for (int i = 0; i < 3; i++) {
        uint32_t from = corner[i], to = corner[i < 2 ? i + 1 : 0];
        if (from == a && to == b)
            return 1;
        if (from == b && to == a)
            return -1;
    }
    return 0;
}

static bool is_plain_side(const struct plain *plain, size_t slot, vec3 normal, uint32_t a, uint32_t b)
{
    const struct deviation_surface *surface = plain->surface;
    size_t others = 0, other = 0;
    int direction = 0;

    for (uint32_t k = plain->side.offsets[a]; k < plain->side.offsets[a + 1]; k++) {
        size_t at = plain->side.slots[k];
        int found = at == slot ? 0 : direction_of(surface->bvh.corners[at], a, b);
        if (!found)
            continue;
        others++;
        other = at;
        direction = found;
    }
    return others == 1 && direction * vec3_dot(normal, listed_normal(surface, other)) < 0;
}

static void find_plain_chunk(void *context, size_t chunk)
{
    struct plain *plain = context;
    const struct bvh *bvh = &plain->surface->bvh;

    for (size_t slot = chunk * CHUNK; slot < (chunk + 1) * CHUNK && slot < bvh->triangle_count; slot++) {
        const uint32_t *corner = bvh->corners[slot];
        vec3 normal = listed_normal(plain->surface, slot);
        plain->plain[slot] = corner[0] != corner[1] && corner[1] != corner[2] && corner[2] != corner[0]
                             && is_plain_side(plain, slot, normal, corner[0], corner[1])
                             && is_plain_side(plain, slot, normal, corner[1], corner[2])
                             && is_plain_side(plain, slot, normal, corner[2], corner[0]);
    }
}

static const bool *find_plain(const struct deviation_surface *surface, size_t threads, struct arena *keep)
{
    size_t count = surface->bvh.triangle_count;
    struct plain plain = {.surface = surface, .plain = ARENA_NEW(keep, bool, count)};
    struct error err;

    struct arena rest = *keep;
    if (!plain.plain || !deviation_side_build(surface, &plain.side, &rest, &err))
        return NULL;
    tasks_run(threads, tasks_chunks(count, CHUNK), find_plain_chunk, &plain);
    return plain.plain;
}

/* --- what is over a triangle --- */

struct face {
    vec3 corners[3], normal; /* of length 1 */
    bool plain;
};

struct faces {
    size_t count;                               /* more than FACES_MAX: too many */
    float min[3][FACES_MAX], max[3][FACES_MAX]; /* boxes, rounded by less than BOX_SLACK */
    struct face faces[FACES_MAX];
};

struct spot {
    double x, y, h;
};

/* T in its own plane, its first corner the origin. */
struct base {
    vec3 origin, axes[3];
    struct spot corners[3];
    double inward_x[3], inward_y[3]; /* unit normals of the sides, from corner i to the next */
    aabb box;
    double area, limit, reach; /* of heights, of what is near */
};

struct piece {
    double heights[3], area;
};

struct over {
    double cosine, area;
    size_t count;
    struct piece pieces[PIECES_MAX];
};

static aabb box_of(const vec3 *p)
{
    return aabb_include(aabb_include(aabb_include(aabb_empty(), p[0]), p[1]), p[2]);
}

static double longest_of(const vec3 *p)
{
    return sqrt(fmax(vec3_length_sq(vec3_sub(p[1], p[0])),
                     fmax(vec3_length_sq(vec3_sub(p[2], p[1])), vec3_length_sq(vec3_sub(p[0], p[2])))));
}

/* How high what is over it may be, guessed. */
static double limit_of(const vec3 *corners, double farthest)
{
    return farthest + REACH_SIDES * longest_of(corners);
}

static double reach_of(const vec3 *corners, double farthest)
{
    return REACH_TIMES * limit_of(corners, farthest) + BOX_SLACK;
}

static bool set_base(const vec3 *p, double farthest, struct base *base)
{
    vec3 ab = vec3_sub(p[1], p[0]), ac = vec3_sub(p[2], p[0]), up = vec3_cross(ab, ac);
    double length = vec3_length(ab), twice = vec3_length(up);

    if (!(twice > 0) || !(length > 0))
        return false;
    base->origin = p[0];
    base->axes[0] = vec3_scale(ab, 1 / length);
    base->axes[2] = vec3_scale(up, 1 / twice);
    base->axes[1] = vec3_cross(base->axes[2], base->axes[0]);
    for (int i = 0; i < 3; i++) {
        vec3 at = vec3_sub(p[i], p[0]);
        base->corners[i] = (struct spot){vec3_dot(at, base->axes[0]), vec3_dot(at, base->axes[1]),
                                         vec3_dot(at, base->axes[2])};
        if (!(fabs(base->corners[i].h) <= FLAT_SLACK))
            return false;
    }
    for (int i = 0; i < 3; i++) {
        const struct spot *a = &base->corners[i], *b = &base->corners[i < 2 ? i + 1 : 0];
        double x = b->x - a->x, y = b->y - a->y, side = sqrt(x * x + y * y);
        base->inward_x[i] = -y / side;
        base->inward_y[i] = x / side;
    }
    base->area = 0.5 * twice;
    base->limit = limit_of(p, farthest);
    base->reach = reach_of(p, farthest);
    base->box = box_of(p);
    return true;
}

/* The faces whose boxes come within reach of T's; as many at once as the machine's vectors hold. */
static size_t list_near(const struct base *base, const struct faces *faces, uint16_t *list)
{
    const float low[3] = {(float)(base->box.min.x - base->reach), (float)(base->box.min.y - base->reach),
                          (float)(base->box.min.z - base->reach)},
                high[3] = {(float)(base->box.max.x + base->reach), (float)(base->box.max.y + base->reach),
                           (float)(base->box.max.z + base->reach)};
    int near[FACES_MAX];
    size_t count = 0;

    for (size_t i = 0; i < faces->count; i++)
        near[i] = (faces->min[0][i] <= high[0]) & (faces->max[0][i] >= low[0]) & (faces->min[1][i] <= high[1])
                  & (faces->max[1][i] >= low[1]) & (faces->min[2][i] <= high[2])
                  & (faces->max[2][i] >= low[2]);
    for (size_t i = 0; i < faces->count; i++)
        if (near[i])
            list[count++] = (uint16_t)i;
    return count;
}

static double inwards(const struct base *base, int side, const struct spot *spot)
{
    return base->inward_x[side] * (spot->x - base->corners[side].x)
           + base->inward_y[side] * (spot->y - base->corners[side].y);
}

enum where { WHERE_FAR, WHERE_BESIDE, WHERE_OVER };

/* Where a face is, as its corners tell; WHERE_OVER: it may be. */
static enum where place(const struct base *base, const struct face *face, struct spot *spots,
                        double (*inside)[3])
{
    bool beside = false;

    for (int i = 0; i < 3; i++) {
        vec3 at = vec3_sub(face->corners[i], base->origin);
        spots[i] = (struct spot){vec3_dot(at, base->axes[0]), vec3_dot(at, base->axes[1]),
                                 vec3_dot(at, base->axes[2])};
    }
    if (fmin(spots[0].h, fmin(spots[1].h, spots[2].h)) > base->reach
        || fmax(spots[0].h, fmax(spots[1].h, spots[2].h)) < -base->reach)
        return WHERE_FAR;
    for (int side = 0; side < 3; side++) {
        double most = -INFINITY;
        for (int i = 0; i < 3; i++) {
            inside[side][i] = inwards(base, side, &spots[i]);
            most = inside[side][i] > most ? inside[side][i] : most;
        }
        if (most < -base->reach)
            return WHERE_FAR;
        beside = beside || most <= 0;
    }
    return beside ? WHERE_BESIDE : WHERE_OVER;
}

/* Clips a polygon to one side of T. */
static size_t clip(const struct base *base, int side, const struct spot *in, size_t count, struct spot *out)
{
    size_t kept = 0;
    double last = inwards(base, side, &in[count - 1]);

    for (size_t i = 0; i < count; i++) {
        const struct spot *from = &in[i > 0 ? i - 1 : count - 1], *to = &in[i];
        double here = inwards(base, side, to);
        if ((last > 0 && here < 0) || (last < 0 && here > 0)) {
            double share = last / (last - here);
            out[kept++] =
                (struct spot){from->x + share * (to->x - from->x), from->y + share * (to->y - from->y),
                              from->h + share * (to->h - from->h)};
        }
        if (here >= 0)
            out[kept++] = *to;
        last = here;
    }
    return kept;
}

/* Adds the triangles of a convex polygon; false where they are too many or too high. */
static bool add_polygon(const struct base *base, const struct spot *spots, size_t count, struct over *over)
{
    for (size_t i = 0; i < count; i++)
        if (!(fabs(spots[i].h) <= base->limit))
            return false;
    for (size_t i = 2; i < count; i++) {
        const struct spot *a = &spots[0], *b = &spots[i - 1], *c = &spots[i];
        double area = 0.5 * fabs((b->x - a->x) * (c->y - a->y) - (b->y - a->y) * (c->x - a->x));
        if (over->count == PIECES_MAX)
            return false;
        over->pieces[over->count++] = (struct piece){{a->h, b->h, c->h}, area};
        over->area += area;
    }
    return true;
}

/* False where the face tells that this way gives no bounds. */
static bool add_face(const struct base *base, const struct face *face, struct over *over)
{
    struct spot spots[2][CORNERS_MAX];
    double inside[3][3];
    enum where where = place(base, face, spots[0], inside);
    size_t count = 3;
    int at = 0;

    if (where == WHERE_FAR)
        return true;
    double cosine = fabs(vec3_dot(face->normal, base->axes[2]));
    if (!face->plain || !(cosine >= COS_MIN))
        return false;
    over->cosine = cosine < over->cosine ? cosine : over->cosine;
    if (where == WHERE_BESIDE)
        return true;
    for (int side = 0; side < 3 && count > 0; side++) {
        if (inside[side][0] >= 0 && inside[side][1] >= 0 && inside[side][2] >= 0)
            continue;
        count = clip(base, side, spots[at], count, spots[1 - at]);
        at = 1 - at;
    }
    return count < 3 || add_polygon(base, spots[at], count, over);
}

/* Whether just one height is known over every point of T. */
static bool look_over(const struct base *base, const struct faces *faces, struct over *over)
{
    over->cosine = 1;
    over->area = 0;
    over->count = 0;
    uint16_t near[FACES_MAX];
    size_t count = list_near(base, faces, near);
    for (size_t i = 0; i < count; i++)
        if (!add_face(base, &faces->faces[near[i]], over))
            return false;
    return fabs(over->area - base->area) <= TALLY_SLACK_REL * base->area;
}

/* --- all triangles --- */

struct overlaying {
    const struct surface_parts *parts;
    const bool *plain; /* of parts->to */
    struct tally *tallies;
    size_t first_chunk;
};

static void put_box(struct faces *faces, size_t i, aabb box)
{
    const double min[3] = {box.min.x, box.min.y, box.min.z}, max[3] = {box.max.x, box.max.y, box.max.z};

    for (int axis = 0; axis < 3; axis++) {
        faces->min[axis][i] = (float)min[axis];
        faces->max[axis][i] = (float)max[axis];
    }
}

static void gather(const struct overlaying *overlaying, aabb box, double reach, struct faces *faces)
{
    const struct deviation_surface *to = overlaying->parts->to;
    const double grown = reach + BOX_SLACK;
    const struct bvh_region region = {
        .min = {(float)(box.min.x - grown), (float)(box.min.y - grown), (float)(box.min.z - grown)},
        .max = {(float)(box.max.x + grown), (float)(box.max.y + grown), (float)(box.max.z + grown)}};
    uint32_t slots[FACES_MAX];
    size_t work = 0;

    faces->count = bvh_collect(&to->bvh, &region, slots, FACES_MAX, &work);
    for (size_t i = 0; i < faces->count && faces->count <= FACES_MAX; i++) {
        struct face *face = &faces->faces[i];
        for (int k = 0; k < 3; k++)
            face->corners[k] = deviation_surface_corner(to, slots[i], k);
        vec3 normal = triangle_normal(face->corners[0], face->corners[1], face->corners[2]);
        double length = vec3_length(normal);
        face->normal = vec3_scale(normal, 1 / length);
        put_box(faces, i, box_of(face->corners));
        face->plain = overlaying->plain[slots[i]] && length > 0;
    }
}

/* A triangle of parts->from, or a piece of it. */
struct piece_of {
    vec3 corners[3];
    double farthest; /* of the triangle's corners, as far as is known; INFINITY: not worth looking */
    unsigned cuts;   /* that it may be cut up */
    uint32_t near;   /* a slot of the other surface */
};

static void open_whole(const struct surface_parts *parts, uint32_t slot, struct piece_of *whole)
{
    const uint32_t *v = parts->from->bvh.corners[slot];
    const double *distances = parts->vertices->distances;

    whole->farthest = fmax(distances[v[0]], fmax(distances[v[1]], distances[v[2]]));
    whole->cuts = parts->middles ? CUTS : 0;
    whole->near = parts->vertices->nearest[v[0]];
    for (int i = 0; i < 3; i++)
        whole->corners[i] = deviation_surface_corner(parts->from, slot, i);
    if (!(whole->farthest <= FAR_SIDES * longest_of(whole->corners)))
        whole->farthest = INFINITY;
}

static void add_over(struct tally *tally, const struct over *over)
{
    double cosine = over->cosine * (1 - 0x1p-40);

    for (size_t i = 0; i < over->count; i++)
        if (over->pieces[i].area > 0)
            tally_add_heights(tally, over->pieces[i].heights, cosine, over->pieces[i].area);
}

/* The middles of two corners, which are the same where a piece has a corner of the whole. */
static const unsigned char cut_in_four[4][3][2] = {
    {{0, 0}, {0, 1}, {2, 0}}, {{0, 1}, {1, 1}, {1, 2}}, {{2, 0}, {1, 2}, {2, 2}}, {{0, 1}, {1, 2}, {2, 0}}};

/* A piece of a triangle, by the way from its middle and by the face nearest to that. */
static void add_near(const struct surface_parts *parts, const vec3 *corners, uint32_t near,
                     struct tally *tally)
{
    vec3 middle = vec3_scale(vec3_add(vec3_add(corners[0], corners[1]), corners[2]), 1.0 / 3);
    size_t work = 0;
    struct bvh_hit hit = bvh_nearest(&parts->to->bvh, middle, near, &work);
    double distance = sqrt(hit.distance_sq), low[3], high[3], by_face[3];
    struct part part = {.area = triangle_area(corners[0], corners[1], corners[2])};

    for (int i = 0; i < 3; i++) {
        double way = vec3_distance(middle, corners[i]);
        low[i] = distance - way;
        high[i] = distance + way;
        by_face[i] = sqrt(bvh_distance_sq(&parts->to->bvh, corners[i], hit.slot));
    }
    part_sink_high(high, by_face);
    part_set(&part, low, high, 0);
    tally_add_part(tally, &part);
}

static bool add_piece(const struct overlaying *overlaying, const struct piece_of *piece,
                      const struct faces *faces, struct tally *tally);

/* Apart, since so large a frame is costly. */
static __attribute__((noinline)) bool add_piece_alone(const struct overlaying *overlaying,
                                                      const struct piece_of *piece, struct tally *tally)
{
    struct faces faces;

    gather(overlaying, box_of(piece->corners), reach_of(piece->corners, piece->farthest), &faces);
    return add_piece(overlaying, piece, &faces, tally);
}

static void add_cut(const struct overlaying *overlaying, const struct piece_of *whole,
                    const struct faces *faces, struct tally *tally)
{
    for (int k = 0; k < 4; k++) {
        struct piece_of piece = {.farthest = whole->farthest, .cuts = whole->cuts - 1, .near = whole->near};
        for (int i = 0; i < 3; i++)
            piece.corners[i] =
                vec3_lerp(whole->corners[cut_in_four[k][i][0]], whole->corners[cut_in_four[k][i][1]], 0.5);
        if (!(faces || !(piece.farthest < INFINITY) ? add_piece(overlaying, &piece, faces, tally)
                                                    : add_piece_alone(overlaying, &piece, tally)))
            add_near(overlaying->parts, piece.corners, piece.near, tally);
    }
}

/* By the faces given, which are all that are near, or NULL where they are too many or not worth looking at;
 * what they do not tell is cut up. False where nothing is told, and nothing added. */
static bool add_piece(const struct overlaying *overlaying, const struct piece_of *piece,
                      const struct faces *faces, struct tally *tally)
{
    struct base base;
    struct over over;

    faces = faces && faces->count <= FACES_MAX ? faces : NULL;
    if (faces && set_base(piece->corners, piece->farthest, &base) && look_over(&base, faces, &over)) {
        add_over(tally, &over);
        return true;
    }
    if (piece->cuts > 0)
        add_cut(overlaying, piece, faces, tally);
    return piece->cuts > 0;
}

static void sum_up_leaf(const struct overlaying *overlaying, size_t leaf, struct tally *tally)
{
    const struct surface_parts *parts = overlaying->parts;
    const struct deviation_surface *from = parts->from;
    struct piece_of wholes[BVH_WIDTH];
    double reach = 0;
    size_t first = leaf * BVH_WIDTH, count = from->bvh.triangle_count - first;
    struct faces faces;
    aabb box = aabb_empty();

    count = count < BVH_WIDTH ? count : BVH_WIDTH;
    for (size_t k = 0; k < count; k++) {
        struct piece_of *whole = &wholes[k];
        open_whole(parts, (uint32_t)(first + k), whole);
        if (!(whole->farthest < INFINITY))
            continue;
        reach = fmax(reach, reach_of(whole->corners, whole->farthest));
        for (int i = 0; i < 3; i++)
            box = aabb_include(box, whole->corners[i]);
    }
    faces.count = 0;
    if (reach > 0)
        gather(overlaying, box, reach, &faces);
    for (size_t k = 0; k < count; k++) {
        bool far = !(wholes[k].farthest < INFINITY), alone = !far && faces.count > FACES_MAX;
        if (from->shared[first + k]
            || !(alone ? add_piece_alone(overlaying, &wholes[k], tally)
                       : add_piece(overlaying, &wholes[k], far ? NULL : &faces, tally)))
            tally_add_part(tally, &parts->parts[first + k]);
    }
}

static void sum_up_lane(void *context, size_t lane)
{
    struct overlaying *overlaying = context;
    size_t leaves = overlaying->parts->from->bvh.node_counts[0];

    for (size_t i = 0; i < SLICE; i++) {
        size_t begin = (overlaying->first_chunk + i * TALLIES + lane) * LEAVES_OF_CHUNK;
        for (size_t leaf = begin; leaf < begin + LEAVES_OF_CHUNK && leaf < leaves; leaf++)
            sum_up_leaf(overlaying, leaf, &overlaying->tallies[lane]);
    }
}

bool overlay_sum_up(const struct surface_parts *parts, const double *tolerances, size_t tolerance_count,
                    struct distribution *distribution, struct interval *shares,
                    const struct progress *progress, double from, double to, struct arena scratch,
                    struct error *err)
{
    size_t chunks = tasks_chunks(parts->from->bvh.node_counts[0], LEAVES_OF_CHUNK);
    struct overlaying overlaying = {.parts = parts,
                                    .tallies = arena_alloc(&scratch, TALLIES, sizeof(struct tally), 64)};

    overlaying.plain = find_plain(parts->to, parts->threads, &scratch);
    if (!overlaying.tallies || !overlaying.plain)
        return arena_error(err);
    for (size_t i = 0; i < TALLIES; i++)
        tally_open(&overlaying.tallies[i], tolerances, tolerance_count);
    for (; overlaying.first_chunk < chunks; overlaying.first_chunk += (size_t)TALLIES * SLICE) {
        if (!progress_tell(progress, "statistics",
                           from + (to - from) * (double)overlaying.first_chunk / (double)chunks))
            return error_set(err, ERROR_CANCELLED, "measuring was stopped");
        tasks_run(parts->threads, TALLIES, sum_up_lane, &overlaying);
    }
    tally_sum_up(overlaying.tallies, TALLIES, parts->reach, distribution, shares);
    return true;
}
