/* deviation_overlay.c - what is near the triangles of a leaf, looked at together; then from each alone. */
#include "measure/deviation_overlay.h"

#include "base/ahead.h"
#include "base/tasks.h"
#include "geom/point_triangle.h"
#include "measure/deviation_plain.h"
#include "measure/deviation_quick.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define LEAVES_OF_CHUNK 16
#define TALLIES_MAX 32
#define TALLIES_FEW 16 /* of fewer chunks than these, since each tally costs something: */
#define CHUNKS_OF_FEW ((size_t)512)
#define SLICE 16       /* chunks of a tally between two words to the listener */
#define FAR_SIDES 1.5  /* a triangle that is so many times its side away is not looked at */
#define CUTS 2         /* of a triangle that is not small */
#define ASK_SHARE 4    /* one such part of the budget is for asking at centroids, */
#define ALONE_SHARE 12 /* and one for what is looked at alone, or cut up: */
#define ALONE_WORK 64  /* of which looking along its own normal takes so much, */
#define PIECE_WORK 32  /* and each piece so much, and what asking for it takes */

/* --- what is over a triangle --- */

static double lesser(double a, double b)
{
    return a < b ? a : b;
}

static double greater(double a, double b)
{
    return a > b ? a : b;
}

static aabb box_over(aabb a, aabb b)
{
    return (aabb){{lesser(a.min.x, b.min.x), lesser(a.min.y, b.min.y), lesser(a.min.z, b.min.z)},
                  {greater(a.max.x, b.max.x), greater(a.max.y, b.max.y), greater(a.max.z, b.max.z)}};
}

static aabb box_of(const vec3 *p)
{
    return box_over((aabb){p[0], p[0]}, box_over((aabb){p[1], p[1]}, (aabb){p[2], p[2]}));
}

static double longest_of(const vec3 *p)
{
    return sqrt(greater(vec3_length_sq(vec3_sub(p[1], p[0])),
                        greater(vec3_length_sq(vec3_sub(p[2], p[1])), vec3_length_sq(vec3_sub(p[0], p[2])))));
}

static vec3 across(vec3 up)
{
    double x = fabs(up.x), y = fabs(up.y), z = fabs(up.z);

    return vec3_cross(up, (vec3){x <= y && x <= z, y < x && y <= z, z < x && z < y});
}

/* Along `up`, of any length, from somewhere near. */
static struct overlay_view view_along(vec3 up, vec3 origin)
{
    double length = vec3_length(up);
    vec3 along = length > 0 ? vec3_scale(up, 1 / length) : (vec3){0, 0, 1}, side = across(along);

    side = vec3_scale(side, 1 / vec3_length(side));
    return (struct overlay_view){origin, {side, vec3_cross(along, side), along}};
}

/* --- all triangles --- */

struct overlaying {
    const struct surface_parts *parts;
    struct overlay_surface from, to; /* those of parts; what is plain of `to` alone */
    bool hopeful;                    /* it is worth looking at all triangles */
    size_t alone_work, ask_work;     /* for single triangles, for those bounded quickly, from each chunk */
    size_t left[TALLIES_MAX], left_to_ask[TALLIES_MAX]; /* of it: what chunks leave is for later ones */
    struct tally *tallies; /* [tally_count] each of them sums up one of so many chunks */
    size_t tally_count, first_chunk, chunk_count;
    const double *tolerances;
    size_t tolerance_count;
};

static void gather(const struct overlaying *overlaying, const struct overlay_kernels *kernels, aabb box,
                   double reach, struct overlay_faces *faces)
{
    const struct bvh_region region = bvh_region_about(box, reach + OVERLAY_BOX_SLACK);
    size_t work = 0;

    faces->count = bvh_collect(&overlaying->parts->to->bvh, &region, faces->slots, OVERLAY_FACES_MAX, &work);
    if (faces->count <= OVERLAY_FACES_MAX)
        kernels->view(&overlaying->to, faces);
}

/* A triangle of parts->from, or a piece of it. */
struct piece_of {
    vec3 corners[3];
    double farthest;          /* of the triangle's corners, as far as is known; INFINITY: not worth looking */
    unsigned cuts;            /* that it may be cut up */
    size_t *left;             /* of the work that may be spent on single ones */
    uint32_t near;            /* a slot of the other surface */
    struct part_range *known; /* of all pieces of the triangle, widened by each */
};

static void widen(struct part_range *known, double low, double high)
{
    known->min = lesser(known->min, low);
    known->max = greater(known->max, high);
}

static void widen_by_part(struct part_range *known, const struct part *part)
{
    widen(known, part_range_low(part).min, part_range_high(part).max);
}

static double reach_of(double farthest, double longest)
{
    return OVERLAY_REACH_TIMES * (farthest + OVERLAY_REACH_SIDES * longest) + OVERLAY_BOX_SLACK;
}

/* Returns what is near it; 0 where it is not worth looking. */
static double open_whole(const struct overlaying *overlaying, uint32_t slot, double longest, bool close,
                         size_t *left, struct piece_of *whole)
{
    const struct surface_parts *parts = overlaying->parts;
    const uint32_t *v = parts->from->bvh.corners[slot];
    const double *d = parts->vertices->distances;

    whole->farthest = greater(d[v[0]], greater(d[v[1]], d[v[2]]));
    whole->near = parts->vertices->nearest[v[0]];
    whole->left = left;
    const bool is_worth_it =
        overlaying->hopeful || close || quick_is_cut_of_use(parts, longest, whole->farthest);
    whole->cuts = quick_is_coarse(parts) && is_worth_it ? CUTS : 0;
    if (!(whole->farthest <= FAR_SIDES * longest) || !is_worth_it) {
        whole->farthest = INFINITY;
        return 0;
    }
    return reach_of(whole->farthest, longest);
}

/* Of the triangles whose bits are set. Returns the bits of those over every point of which one height is
 * known; of the others nothing is added. known: [lane]. */
static unsigned add_over(const struct overlay_bases *bases, unsigned lanes, const struct overlay_faces *faces,
                         struct part_range *known, struct tally *tally)
{
    struct overlay_found found[OVERLAY_LANES];
    unsigned told = tally->kernels->cut(bases, lanes, faces, tally_pieces(tally), found);

    for (unsigned left = told; left; left &= left - 1) {
        const struct overlay_found *lane = &found[__builtin_ctz(left)];
        widen(&known[__builtin_ctz(left)], lane->cosine * lane->low, lane->high);
    }
    return told;
}

static void take_work(const struct piece_of *piece, size_t work)
{
    *piece->left -= *piece->left < work ? *piece->left : work;
}

static void put_base(const struct piece_of *piece, size_t lane, struct overlay_bases *bases)
{
    for (int k = 0; k < 3; k++) {
        bases->corners[k][0][lane] = piece->corners[k].x;
        bases->corners[k][1][lane] = piece->corners[k].y;
        bases->corners[k][2][lane] = piece->corners[k].z;
    }
    bases->farthest[lane] = piece->farthest;
}

/* The same of a piece that the faces were not looked at for. */
static __attribute__((noinline)) bool add_piece_over(const struct piece_of *piece,
                                                     const struct overlay_faces *faces, struct tally *tally)
{
    struct overlay_bases bases;

    put_base(piece, 0, &bases);
    tally->kernels->place(&faces->view, 1, &bases);
    return add_over(&bases, 1, faces, piece->known, tally) != 0;
}

/* The middles of two corners, which are the same where a piece has a corner of the whole. */
static const unsigned char cut_in_four[4][3][2] = {
    {{0, 0}, {0, 1}, {2, 0}}, {{0, 1}, {1, 1}, {1, 2}}, {{2, 0}, {1, 2}, {2, 2}}, {{0, 1}, {1, 2}, {2, 0}}};

/* A piece of a triangle, by the way from its middle and by the face nearest to that. */
static void add_near(const struct surface_parts *parts, const struct piece_of *piece, struct tally *tally)
{
    const vec3 *corners = piece->corners;
    vec3 middle = vec3_scale(vec3_add(vec3_add(corners[0], corners[1]), corners[2]), 1.0 / 3);
    size_t work = 0;
    struct bvh_hit hit = bvh_nearest(&parts->to->bvh, middle, piece->near, &work);
    take_work(piece, work);
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
    widen_by_part(piece->known, &part);
    tally_add_part(tally, &part);
}

static bool add_piece(const struct overlaying *overlaying, const struct piece_of *piece,
                      const struct overlay_faces *faces, struct tally *tally);

static vec3 normal_of(const struct piece_of *piece)
{
    return triangle_normal(piece->corners[0], piece->corners[1], piece->corners[2]);
}

/* Those of the faces given that may be near the piece, by its box and theirs. */
static void keep_near(const struct piece_of *piece, const struct overlay_faces *given,
                      const struct overlay_kernels *kernels, struct overlay_faces *faces)
{
    struct overlay_bases bases;

    put_base(piece, 0, &bases);
    kernels->place(&given->view, 1, &bases);
    faces->count = 0;
    for (size_t i = 0; i < given->count; i++) {
        const struct overlay_block *block = &given->blocks[i / OVERLAY_LANES];
        bool near = true;
        for (int axis = 0; axis < 3; axis++)
            near = near & (block->low[axis][i % OVERLAY_LANES] <= bases.high[axis][0])
                   & (block->high[axis][i % OVERLAY_LANES] >= bases.low[axis][0]);
        faces->slots[faces->count] = given->slots[i];
        faces->count += near;
    }
}

/* Looked at along its own normal: at the faces given, or where they are too many at those near it. Apart,
 * since so large a frame is costly. */
static __attribute__((noinline)) bool add_piece_alone(const struct overlaying *overlaying,
                                                      const struct piece_of *piece,
                                                      const struct overlay_faces *given, struct tally *tally)
{
    struct overlay_faces faces;

    take_work(piece, ALONE_WORK);
    faces.view = view_along(normal_of(piece), piece->corners[0]);
    if (given && given->count <= OVERLAY_FACES_MAX) {
        keep_near(piece, given, tally->kernels, &faces);
        tally->kernels->view(&overlaying->to, &faces);
    } else {
        gather(overlaying, tally->kernels, box_of(piece->corners),
               reach_of(piece->farthest, longest_of(piece->corners)), &faces);
    }
    return add_piece(overlaying, piece, &faces, tally);
}

static void add_cut(const struct overlaying *overlaying, const struct piece_of *whole,
                    const struct overlay_faces *faces, struct tally *tally)
{
    take_work(whole, 4 * (size_t)PIECE_WORK);
    for (int k = 0; k < 4; k++) {
        struct piece_of piece = {.farthest = whole->farthest,
                                 .cuts = whole->cuts - 1,
                                 .left = whole->left,
                                 .near = whole->near,
                                 .known = whole->known};
        for (int i = 0; i < 3; i++)
            piece.corners[i] =
                vec3_lerp(whole->corners[cut_in_four[k][i][0]], whole->corners[cut_in_four[k][i][1]], 0.5);
        if (!(faces || !(piece.farthest < INFINITY) ? add_piece(overlaying, &piece, faces, tally)
                                                    : add_piece_alone(overlaying, &piece, NULL, tally)))
            add_near(overlaying->parts, &piece, tally);
    }
}

/* By the faces given, which are all that are near, or NULL where they are too many or not worth looking at;
 * what they do not tell is cut up. False where nothing is told, and nothing added. */
static bool add_piece(const struct overlaying *overlaying, const struct piece_of *piece,
                      const struct overlay_faces *faces, struct tally *tally)
{
    faces = faces && faces->count <= OVERLAY_FACES_MAX ? faces : NULL;
    if (faces && add_piece_over(piece, faces, tally))
        return true;
    if (piece->cuts == 0 || *piece->left == 0)
        return false;
    add_cut(overlaying, piece, faces, tally);
    return true;
}

/* The triangles of a leaf, as pieces, corners yet to be put in, and as they are looked at together. */
struct leaf {
    size_t first, count;
    struct part_range known[BVH_WIDTH];
    struct piece_of wholes[BVH_WIDTH];
    struct overlay_bases bases;
};

/* Opens the triangles, and gathers what is near them, if any is worth looking at. */
static void open_leaf(const struct overlaying *overlaying, const struct overlay_kernels *kernels, bool close,
                      size_t *left, struct leaf *leaf, struct overlay_faces *faces)
{
    struct overlay_bases *bases = &leaf->bases;
    double reach = 0;
    aabb box = aabb_empty();
    vec3 up = {0, 0, 0};

    kernels->take(&overlaying->from, leaf->first, leaf->count, bases);
    for (size_t k = 0; k < leaf->count; k++) {
        struct piece_of *whole = &leaf->wholes[k];
        double near =
            open_whole(overlaying, (uint32_t)(leaf->first + k), bases->longest[k], close, left, whole);
        bases->farthest[k] = whole->farthest;
        leaf->known[k] = (struct part_range){INFINITY, 0};
        whole->known = &leaf->known[k];
        if (!(near > 0))
            continue;
        up = vec3_add(up, (vec3){bases->normal[0][k], bases->normal[1][k], bases->normal[2][k]});
        box = box_over(box, (aabb){{bases->least[0][k], bases->least[1][k], bases->least[2][k]},
                                   {bases->most[0][k], bases->most[1][k], bases->most[2][k]}});
        reach = greater(reach, near);
    }
    faces->count = 0;
    if (!(reach > 0))
        return;
    const vec3 origin = {bases->corners[0][0][0], bases->corners[0][1][0], bases->corners[0][2][0]};
    faces->view = view_along(up, origin);
    kernels->place(&faces->view, leaf->count, bases);
    gather(overlaying, kernels, box, reach, faces);
}

/* What is told of a triangle, and at a leaf that was bounded closely also by its part; outwards. What is not
 * more than `limit`, the farthest corner and less than half of the longest side, is less than what quick_most
 * tells. */
static void keep_bounds(const struct surface_parts *parts, uint32_t slot, const struct part *part,
                        double limit, struct part_range known)
{
    if (part && !parts->from->shared[slot]) {
        known.min = greater(known.min, part_range_low(part).min);
        known.max = lesser(known.max, part_range_high(part).max);
    }
    if (known.max > limit)
        known.max = lesser(known.max, quick_most(parts, slot));
    parts->bounds[slot] =
        (struct part_bounds){(float)(known.min * (1 - 0x1p-23)), (float)(known.max * (1 + 0x1p-23))};
}

/* What is over the triangles of a leaf together: the bits of those of which that tells all. */
static unsigned add_together(const struct overlaying *overlaying, struct leaf *leaf,
                             const struct overlay_faces *faces, struct tally *tally)
{
    unsigned lanes = 0;

    for (size_t k = 0; k < leaf->count; k++)
        if (!overlaying->parts->from->shared[leaf->first + k] && leaf->wholes[k].farthest < INFINITY)
            lanes |= 1u << k;
    return lanes && faces->count <= OVERLAY_FACES_MAX
               ? add_over(&leaf->bases, lanes, faces, leaf->known, tally)
               : 0;
}

/* Triangle k of a leaf alone; false where nothing is told, and nothing added. */
static bool add_whole(const struct overlaying *overlaying, const struct leaf *leaf, size_t k,
                      const struct overlay_faces *faces, struct tally *tally)
{
    const size_t slot = leaf->first + k;
    struct piece_of whole = leaf->wholes[k];

    if (overlaying->parts->from->shared[slot] || *whole.left == 0)
        return false;
    for (int i = 0; i < 3; i++)
        whole.corners[i] = deviation_surface_corner(overlaying->parts->from, (uint32_t)slot, i);
    return whole.farthest < INFINITY ? add_piece_alone(overlaying, &whole, faces, tally)
                                     : add_piece(overlaying, &whole, NULL, tally);
}

/* What a thread goes through chunks with. */
struct passing {
    size_t left, left_to_ask; /* of work: for those alone, and for those that are bounded quickly */
    struct overlay_faces faces;
};

/* For the leaf that follows. */
static void ask_ahead(const struct surface_parts *parts, size_t number)
{
    const struct bvh *from = &parts->from->bvh;
    const size_t first = number * BVH_WIDTH;

    for (size_t slot = first; slot < first + BVH_WIDTH && slot < from->triangle_count; slot++)
        for (int i = 0; i < 3; i++) {
            const uint32_t v = from->corners[slot][i];
            ahead_ask(&parts->from->points[v]);
            ahead_ask(&parts->vertices->distances[v]);
        }
}

static void sum_up_leaf(const struct overlaying *overlaying, size_t number, struct tally *tally,
                        struct passing *passing)
{
    const struct surface_parts *parts = overlaying->parts;
    const struct leaf_parts *close = surface_parts_leaf(parts, number);
    struct overlay_faces *faces = &passing->faces;
    struct part quick[BVH_WIDTH];
    const struct part *bounds = close ? close->parts : NULL;
    struct leaf leaf;

    leaf.first = number * BVH_WIDTH;
    leaf.count = parts->from->bvh.triangle_count - leaf.first;
    leaf.count = leaf.count < BVH_WIDTH ? leaf.count : BVH_WIDTH;
    ask_ahead(parts, number + 1);
    open_leaf(overlaying, tally->kernels, close != NULL, &passing->left, &leaf, faces);
    unsigned told = add_together(overlaying, &leaf, faces, tally);
    for (size_t k = 0; k < leaf.count; k++)
        if (!(told >> k & 1) && add_whole(overlaying, &leaf, k, faces, tally))
            told |= 1u << k;
    if (!bounds && (told & ((1u << leaf.count) - 1)) != (1u << leaf.count) - 1) {
        quick_bound_leaf(parts, number, ~told, quick, &passing->left_to_ask);
        bounds = quick;
    }
    for (size_t k = 0; k < leaf.count; k++) {
        if (!(told >> k & 1)) {
            tally_add_part(tally, &bounds[k]);
            widen_by_part(&leaf.known[k], &bounds[k]);
        }
        keep_bounds(parts, (uint32_t)(leaf.first + k), close ? &close->parts[k] : NULL,
                    leaf.wholes[k].farthest < INFINITY ? leaf.bases.limit[k] : 0, leaf.known[k]);
    }
}

static void sum_up_lane(void *context, size_t lane)
{
    struct overlaying *overlaying = context;
    const size_t leaves = deviation_surface_leaves(overlaying->parts->from);
    struct passing passing;

    if (overlaying->first_chunk == 0)
        tally_open(&overlaying->tallies[lane], overlaying->tolerances, overlaying->tolerance_count);
    passing.left = overlaying->left[lane];
    passing.left_to_ask = overlaying->left_to_ask[lane];
    for (size_t i = 0; i < SLICE; i++) {
        size_t begin = (overlaying->first_chunk + i * overlaying->tally_count + lane) * LEAVES_OF_CHUNK;
        passing.left += overlaying->alone_work;
        passing.left_to_ask += overlaying->ask_work;
        for (size_t leaf = begin; leaf < begin + LEAVES_OF_CHUNK && leaf < leaves; leaf++)
            sum_up_leaf(overlaying, leaf, &overlaying->tallies[lane], &passing);
    }
    if (overlaying->first_chunk + overlaying->tally_count * SLICE >= overlaying->chunk_count)
        tally_end(&overlaying->tallies[lane]);
    overlaying->left[lane] = passing.left;
    overlaying->left_to_ask[lane] = passing.left_to_ask;
}

bool overlay_sum_up(const struct surface_parts *parts, const double *tolerances, size_t tolerance_count,
                    struct distribution *distribution, struct interval *shares,
                    const struct progress *progress, double from, double to, struct arena scratch,
                    struct error *err)
{
    size_t chunks = tasks_chunks(deviation_surface_leaves(parts->from), LEAVES_OF_CHUNK), plain_count = 0;

    assert(chunks > 0); /* else no tally would be opened */
    struct overlaying overlaying = {.parts = parts,
                                    .alone_work = parts->budget / ALONE_SHARE / chunks,
                                    .ask_work = parts->budget / ASK_SHARE / chunks,
                                    .tally_count = chunks < CHUNKS_OF_FEW ? TALLIES_FEW : TALLIES_MAX,
                                    .chunk_count = chunks,
                                    .tolerances = tolerances,
                                    .tolerance_count = tolerance_count};

    overlaying.tallies = arena_alloc(&scratch, overlaying.tally_count, sizeof(struct tally), 64);
    overlaying.from = (struct overlay_surface){parts->from->points, parts->from->bvh.corners, NULL};
    overlaying.to = (struct overlay_surface){parts->to->points, parts->to->bvh.corners,
                                             plain_find(parts->to, parts->side, parts->threads, &scratch)};
    if (!overlaying.tallies || !overlaying.to.plain)
        return arena_error(err);
    for (size_t slot = 0; slot < parts->to->bvh.triangle_count; slot++)
        plain_count += overlaying.to.plain[slot] != 0;
    overlaying.hopeful = !parts->frugal || plain_count > parts->to->bvh.triangle_count / 2;
    for (; overlaying.first_chunk < chunks; overlaying.first_chunk += overlaying.tally_count * SLICE) {
        if (!progress_tell(progress, "statistics",
                           from + (to - from) * (double)overlaying.first_chunk / (double)chunks))
            return error_set(err, ERROR_CANCELLED, "measuring was stopped");
        tasks_run(parts->threads, overlaying.tally_count, sum_up_lane, &overlaying);
    }
    tally_sum_up(overlaying.tallies, overlaying.tally_count, parts->reach, distribution, shares);
    return true;
}
