/* deviation_quick.c - vertices, then leaf by leaf, in chunks. */
#include "measure/deviation_quick.h"

#include "base/tasks.h"
#include "geom/point_triangle.h"

#include <math.h>
#include <string.h>

#define LEAVES_OF_CHUNK 32
#define SLICE_CHUNKS 256
#define FINER 4   /* so many times the triangles of the other surface: sides half as long. Its vertices do */
#define COARSER 2 /* the other has so many times its triangles: vertices may miss what is in between */
#define MIDDLE_MORE 1.0625 /* times what is known: a centroid is asked where there may be so much */
#define FACES_OF_ONE 4     /* of a triangle: the nearest to each of its corners, and to its middle */
#define FAR_WAYS 3         /* so many times what bounds a triangle by its corners: within a third */
#define CUT_HELPS 4        /* times what is wanted: where a cut leaves more, it is of no use */

struct middles {
    struct surface_parts *parts;
    double level;
    size_t first_chunk;
};

/* The triangles of one leaf that are not shared. */
struct leaf {
    const struct surface_parts *parts;
    size_t *left; /* of work */
    size_t count;
    uint32_t slots[BVH_LANES];
    struct bvh_points corners[3];
    double ways[BVH_LANES], low[BVH_LANES][3], high[BVH_LANES][3];
    uint32_t faces[FACES_OF_ONE][BVH_LANES]; /* the last: that of the first corner where no middle is asked */
    bool has_middles;                        /* some are asked */
};

static vec3 corner_of(const struct leaf *leaf, size_t lane, int i)
{
    return deviation_surface_corner(leaf->parts->from, leaf->slots[lane], i);
}

static vec3 centroid_of(const struct deviation_surface *from, uint32_t slot)
{
    vec3 sum = vec3_add(deviation_surface_corner(from, slot, 0), deviation_surface_corner(from, slot, 1));

    return vec3_scale(vec3_add(sum, deviation_surface_corner(from, slot, 2)), 1.0 / 3);
}

/* The largest root of sum w_i |x - c_i|^2 over a triangle with corners c and x = sum w_i c_i: that sum is
 * r^2 - |x - o|^2 with the circumcentre o and radius r (Leibniz's theorem of the weighted squares), and so at
 * most r^2 where o is within the triangle, and a quarter of the squared longest side where it is not. */
static double way_of(const struct deviation_surface *from, uint32_t slot)
{
    vec3 a = deviation_surface_corner(from, slot, 0), b = deviation_surface_corner(from, slot, 1),
         c = deviation_surface_corner(from, slot, 2);
    double sides_sq[3] = {vec3_length_sq(vec3_sub(b, a)), vec3_length_sq(vec3_sub(c, b)),
                          vec3_length_sq(vec3_sub(a, c))},
           longest_sq = fmax(sides_sq[0], fmax(sides_sq[1], sides_sq[2]));

    if (2 * longest_sq >= part_sum(sides_sq))
        return 0.5 * sqrt(longest_sq);
    return 0.25 * sqrt(sides_sq[0] * sides_sq[1] * sides_sq[2]) / triangle_area(a, b, c);
}

/* d(x) differs from sum w_i d(c_i) by no more than sum w_i |x - c_i|, which is no more than the root of
 * sum w_i |x - c_i|^2 (Jensen's inequality). */
static void bound_by_corners(struct leaf *leaf, size_t lane)
{
    const struct deviation_vertices *known = leaf->parts->vertices;
    const uint32_t *vertices = leaf->parts->from->bvh.corners[leaf->slots[lane]];
    const struct bvh *to = &leaf->parts->to->bvh;
    const double way = leaf->ways[lane] = way_of(leaf->parts->from, leaf->slots[lane]);
    double low[3], high[3];

    for (int i = 0; i < 3; i++) {
        double distance = known->distances[vertices[i]];
        uint32_t face = known->nearest[vertices[i]];
        low[i] = distance - way;
        high[i] = way + (known->exact ? distance : sqrt(bvh_distance_sq(to, corner_of(leaf, lane, i), face)));
        leaf->faces[i][lane] = face;
    }
    leaf->faces[3][lane] = leaf->faces[0][lane];
    part_raise_low(leaf->low[lane], low);
    part_sink_high(leaf->high[lane], high);
}

/* Rounded down. */
static float middle_of(double distance)
{
    return distance > 0 ? (float)(distance * (1 - 0x1p-23)) : 0;
}

/* Whether a triangle is so much farther than it is large that its corners tell most of it. */
static bool is_far(const struct leaf *leaf, size_t lane)
{
    const uint32_t *vertices = leaf->parts->from->bvh.corners[leaf->slots[lane]];
    const double *distances = leaf->parts->vertices->distances;
    double nearest = fmin(distances[vertices[0]], fmin(distances[vertices[1]], distances[vertices[2]]));

    return leaf->parts->vertices->exact && nearest > FAR_WAYS * leaf->ways[lane];
}

/* By the distance at the centroid. */
static void bound_by_middle(struct leaf *leaf, size_t lane, vec3 middle, double distance)
{
    double low[3], high[3];

    for (int i = 0; i < 3; i++) {
        double way = vec3_distance(middle, corner_of(leaf, lane, i));
        low[i] = distance - way;
        high[i] = distance + way;
    }
    part_raise_low(leaf->low[lane], low);
    part_sink_high(leaf->high[lane], high);
}

/* Those that are not far, where there is work left. */
static void bound_by_middles(struct leaf *leaf)
{
    const struct surface_parts *parts = leaf->parts;
    vec3 middles[BVH_LANES];
    struct bvh_hit hits[BVH_LANES];
    size_t lanes[BVH_LANES], count = 0, work = 0;
    uint32_t firsts[BVH_LANES];

    if (*leaf->left == 0)
        return;
    for (size_t lane = 0; lane < leaf->count; lane++) {
        if (is_far(leaf, lane))
            continue;
        middles[count] = centroid_of(parts->from, leaf->slots[lane]);
        firsts[count] = leaf->faces[0][lane];
        lanes[count++] = lane;
    }
    if (count == 0)
        return;
    bvh_nearest_lanes_from(&parts->to->bvh, middles, count, firsts, hits, &work);
    *leaf->left -= *leaf->left < work ? *leaf->left : work;
    for (size_t i = 0; i < count; i++) {
        leaf->faces[3][lanes[i]] = hits[i].slot;
        bound_by_middle(leaf, lanes[i], middles[i], sqrt(hits[i].distance_sq));
    }
    leaf->has_middles = true;
}

/* Each triangle by the faces found for it. */
static void bound_by_faces(struct leaf *leaf)
{
    double distances_sq[3][BVH_LANES];

    for (size_t k = 0; k < (leaf->has_middles ? FACES_OF_ONE : FACES_OF_ONE - 1); k++) {
        for (size_t lane = leaf->count; lane < BVH_LANES; lane++)
            leaf->faces[k][lane] = leaf->faces[k][0];
        bvh_paired_sq(&leaf->parts->to->bvh, leaf->faces[k], leaf->corners, distances_sq);
        for (size_t lane = 0; lane < leaf->count; lane++) {
            const double high[3] = {sqrt(distances_sq[0][lane]), sqrt(distances_sq[1][lane]),
                                    sqrt(distances_sq[2][lane])};
            part_sink_high(leaf->high[lane], high);
        }
    }
}

static void put_corners(struct leaf *leaf)
{
    for (size_t lane = 0; lane < BVH_LANES; lane++)
        for (int i = 0; i < 3; i++) {
            vec3 p = corner_of(leaf, lane < leaf->count ? lane : 0, i);
            leaf->corners[i].x[lane] = p.x;
            leaf->corners[i].y[lane] = p.y;
            leaf->corners[i].z[lane] = p.z;
        }
}

void quick_bound_leaf(const struct surface_parts *parts, size_t number, unsigned wanted, struct part *bounds,
                      size_t *left)
{
    const struct deviation_surface *from = parts->from;
    const uint32_t first = (uint32_t)(number * BVH_WIDTH);
    struct leaf leaf = {.parts = parts, .left = left};

    for (uint32_t slot = first; slot < first + BVH_WIDTH && slot < from->bvh.triangle_count; slot++) {
        if (!(wanted >> (slot - first) & 1))
            continue;
        bounds[slot - first] = (struct part){.area = triangle_area(deviation_surface_corner(from, slot, 0),
                                                                   deviation_surface_corner(from, slot, 1),
                                                                   deviation_surface_corner(from, slot, 2))};
        if (!from->shared[slot])
            leaf.slots[leaf.count++] = slot;
    }
    if (leaf.count == 0)
        return;
    put_corners(&leaf);
    for (size_t lane = 0; lane < leaf.count; lane++) {
        for (int i = 0; i < 3; i++)
            leaf.high[lane][i] = parts->reach;
        bound_by_corners(&leaf, lane);
    }
    if (quick_is_coarse(parts))
        bound_by_middles(&leaf);
    bound_by_faces(&leaf);
    for (size_t lane = 0; lane < leaf.count; lane++) {
        struct part *part = &bounds[leaf.slots[lane] - first];
        part->near = parts->vertices->nearest[from->bvh.corners[leaf.slots[lane]][0]];
        part_set(part, leaf.low[lane], leaf.high[lane], 0);
    }
}

/* Where a triangle may be notably farther than at its corners, and farther than `level`. */
static bool is_middle_asked(const struct middles *middles, uint32_t slot)
{
    const struct surface_parts *parts = middles->parts;
    const double high = (double)parts->bounds[slot].high;

    return high > middles->level && !parts->from->shared[slot]
           && high > MIDDLE_MORE * quick_peak(parts, slot).distance;
}

static void ask_chunk(void *context, size_t number)
{
    const struct middles *middles = context;
    const struct surface_parts *parts = middles->parts;
    const struct bvh *from = &parts->from->bvh;
    size_t slots = LEAVES_OF_CHUNK * (size_t)BVH_WIDTH, begin = (middles->first_chunk + number) * slots,
           work = 0;

    for (size_t slot = begin; slot < begin + slots && slot < from->triangle_count; slot++) {
        parts->middles[slot] = 0;
        if (!is_middle_asked(middles, (uint32_t)slot) || work > slots * QUICK_WORK)
            continue;
        struct bvh_hit hit = bvh_nearest(&parts->to->bvh, centroid_of(parts->from, (uint32_t)slot),
                                         parts->vertices->nearest[from->corners[slot][0]], &work);
        parts->middles[slot] = middle_of(sqrt(hit.distance_sq));
    }
}

bool quick_ask_vertices(struct surface_parts *parts, struct deviation_vertices *vertices,
                        const struct progress *progress, double from, double to, struct arena scratch,
                        struct error *err)
{
    const struct vertices_settings asking = {parts->threads, parts->all_vertices ? SIZE_MAX : QUICK_WORK,
                                             progress, from, to};

    parts->vertices = vertices;
    return deviation_vertices_find(parts->from, parts->to, &asking, vertices, scratch, err);
}

bool quick_ask_middles(struct surface_parts *parts, double level, const struct progress *progress, double at,
                       struct arena *keep, struct error *err)
{
    const size_t count = parts->from->bvh.triangle_count,
                 chunks = tasks_chunks(deviation_surface_leaves(parts->from), LEAVES_OF_CHUNK);
    struct middles middles = {parts, level, 0};

    if (!parts->bounds || COARSER * count > parts->to->bvh.triangle_count)
        return true;
    parts->middles = ARENA_NEW(keep, float, count);
    if (!parts->middles)
        return arena_error(err);
    for (; middles.first_chunk < chunks; middles.first_chunk += SLICE_CHUNKS) {
        size_t left = chunks - middles.first_chunk;
        if (!progress_tell(progress, "statistics", at))
            return error_set(err, ERROR_CANCELLED, "measuring was stopped");
        tasks_run(parts->threads, left < SLICE_CHUNKS ? left : SLICE_CHUNKS, ask_chunk, &middles);
    }
    return true;
}

bool quick_is_coarse(const struct surface_parts *parts)
{
    return parts->from->bvh.triangle_count < FINER * parts->to->bvh.triangle_count;
}

struct quick_peak quick_peak(const struct surface_parts *parts, uint32_t slot)
{
    const uint32_t *vertices = parts->from->bvh.corners[slot];
    struct quick_peak peak = {-1, vertices[0]};

    for (int i = 0; i < 3; i++)
        if (parts->vertices->distances[vertices[i]] > peak.distance)
            peak = (struct quick_peak){parts->vertices->distances[vertices[i]], vertices[i]};
    if (parts->middles && (double)parts->middles[slot] > peak.distance)
        peak = (struct quick_peak){(double)parts->middles[slot], BVH_NONE};
    return peak;
}

vec3 quick_centroid(const struct surface_parts *parts, uint32_t slot)
{
    return centroid_of(parts->from, slot);
}

double quick_most(const struct surface_parts *parts, uint32_t slot)
{
    const uint32_t *v = parts->from->bvh.corners[slot];
    const double *distances = parts->vertices->distances;

    if (!parts->vertices->exact)
        return INFINITY;
    return fmax(distances[v[0]], fmax(distances[v[1]], distances[v[2]])) + way_of(parts->from, slot);
}

bool quick_is_cut_of_use(const struct surface_parts *parts, double longest, double farthest)
{
    return longest / 8 <= CUT_HELPS * fmax(2 * parts->wanted, PARTS_VAGUE_SHARE * farthest);
}
