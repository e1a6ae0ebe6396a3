/* bvh_build.c - Morton codes, a radix sort, and the boxes of each level from those below. */
#include "bvh/bvh.h"
#include "geom/point_triangle.h"

#include <assert.h>
#include <string.h>

#define MORTON_BITS 20 /* per axis */

struct morton_key {
    uint64_t code;
    uint32_t triangle;
};

/* Every bit of x moved three times as far from the right. */
static uint64_t spread_bits(uint64_t x)
{
    x &= 0x1fffff;
    x = (x | x << 32) & 0x001f00000000ffffu;
    x = (x | x << 16) & 0x001f0000ff0000ffu;
    x = (x | x << 8) & 0x100f00f00f00f00fu;
    x = (x | x << 4) & 0x10c30c30c30c30c3u;
    return (x | x << 2) & 0x1249249249249249u;
}

static aabb triangle_box(const vec3 *points, const uint32_t *corner)
{
    aabb box = aabb_empty();

    for (int i = 0; i < 3; i++)
        box = aabb_include(box, points[corner[i]]);
    return box;
}

static uint64_t cell(double x, double from, double cells_per_length)
{
    double at = (x - from) * cells_per_length;

    return at < 0 ? 0 : at >= (1 << MORTON_BITS) ? (1 << MORTON_BITS) - 1 : (uint64_t)at;
}

static void fill_keys(const vec3 *points, size_t count, uint32_t (*const triangles)[3],
                      struct morton_key *keys)
{
    aabb all = aabb_empty();

    for (size_t t = 0; t < count; t++)
        all = aabb_include(all, aabb_centre(triangle_box(points, triangles[t])));
    double side = fmax(all.max.x - all.min.x, fmax(all.max.y - all.min.y, all.max.z - all.min.z));
    double cells_per_length = side > 1e-300 ? (1 << MORTON_BITS) / side : 0;
    for (size_t t = 0; t < count; t++) {
        vec3 centre = aabb_centre(triangle_box(points, triangles[t]));
        keys[t].code = spread_bits(cell(centre.x, all.min.x, cells_per_length))
                       | spread_bits(cell(centre.y, all.min.y, cells_per_length)) << 1
                       | spread_bits(cell(centre.z, all.min.z, cells_per_length)) << 2;
        keys[t].triangle = (uint32_t)t;
    }
}

/* Least significant digit first, so that equal codes stay in order of triangles. The result is in keys. */
static void sort_keys(struct morton_key *keys, struct morton_key *other, size_t count)
{
    for (int shift = 0; shift < 3 * MORTON_BITS; shift += 10) { /* an even number of passes */
        size_t starts[1024] = {0}, sum = 0;
        for (size_t i = 0; i < count; i++)
            starts[keys[i].code >> shift & 1023]++;
        for (size_t d = 0; d < 1024; d++) {
            size_t digits = starts[d];
            starts[d] = sum;
            sum += digits;
        }
        for (size_t i = 0; i < count; i++)
            other[starts[keys[i].code >> shift & 1023]++] = keys[i];
        struct morton_key *swap = keys;
        keys = other;
        other = swap;
    }
}

static void place_triangles(const vec3 *points, uint32_t (*const triangles)[3], const struct morton_key *keys,
                            struct bvh *bvh)
{
    for (size_t slot = 0; slot < bvh->triangle_count; slot++) {
        const uint32_t *corner = triangles[keys[slot].triangle];
        unsigned turn = triangle_longest_first(points[corner[0]], points[corner[1]], points[corner[2]]);
        for (unsigned i = 0; i < 3; i++)
            bvh->corners[slot][i] = corner[(i + turn) % 3];
        bvh->triangles[slot] = keys[slot].triangle;
    }
}

static float float_below(double x)
{
    float f = (float)x;

    return (double)f > x ? nextafterf(f, -INFINITY) : f;
}

static float float_above(double x)
{
    float f = (float)x;

    return (double)f < x ? nextafterf(f, INFINITY) : f;
}

static void fill_leaves(struct bvh *bvh)
{
    for (size_t slot = 0; slot < bvh->node_counts[0] * BVH_WIDTH; slot++) {
        struct bvh_node *node = &bvh->levels[0][slot / BVH_WIDTH];
        size_t c = slot % BVH_WIDTH;
        aabb box = slot < bvh->triangle_count ? triangle_box(bvh->points, bvh->corners[slot]) : aabb_empty();
        node->min[0][c] = float_below(box.min.x);
        node->min[1][c] = float_below(box.min.y);
        node->min[2][c] = float_below(box.min.z);
        node->max[0][c] = float_above(box.max.x);
        node->max[1][c] = float_above(box.max.y);
        node->max[2][c] = float_above(box.max.z);
    }
}

static void fill_level(struct bvh *bvh, size_t level)
{
    for (size_t i = 0; i < bvh->node_counts[level] * BVH_WIDTH; i++) {
        struct bvh_node *node = &bvh->levels[level][i / BVH_WIDTH];
        for (int axis = 0; axis < 3; axis++) {
            float low = INFINITY, high = -INFINITY;
            for (int c = 0; c < BVH_WIDTH && i < bvh->node_counts[level - 1]; c++) {
                const struct bvh_node *child = &bvh->levels[level - 1][i];
                low = child->min[axis][c] < low ? child->min[axis][c] : low;
                high = child->max[axis][c] > high ? child->max[axis][c] : high;
            }
            node->min[axis][i % BVH_WIDTH] = low;
            node->max[axis][i % BVH_WIDTH] = high;
        }
    }
}

bool bvh_build(const vec3 *points, size_t triangle_count, uint32_t (*const triangles)[3], struct bvh *bvh,
               struct arena *keep, struct arena scratch, struct error *err)
{
    assert(triangle_count > 0);
    memset(bvh, 0, sizeof *bvh);
    bvh->points = points;
    bvh->triangle_count = triangle_count;
    bvh->corners = arena_alloc(keep, triangle_count, sizeof *bvh->corners, 4);
    bvh->triangles = ARENA_NEW(keep, uint32_t, triangle_count);
    size_t children = triangle_count;
    do {
        size_t nodes = (children + BVH_WIDTH - 1) / BVH_WIDTH;
        bvh->levels[bvh->level_count] = arena_alloc(keep, nodes, sizeof(struct bvh_node), 64);
        if (!bvh->levels[bvh->level_count])
            return arena_error(err);
        bvh->node_counts[bvh->level_count++] = nodes;
        children = nodes;
    } while (children > 1);
    struct morton_key *keys = ARENA_NEW(&scratch, struct morton_key, triangle_count);
    struct morton_key *other = ARENA_NEW(&scratch, struct morton_key, triangle_count);
    if (!bvh->corners || !bvh->triangles || !keys || !other)
        return arena_error(err);
    fill_keys(points, triangle_count, triangles, keys);
    sort_keys(keys, other, triangle_count);
    place_triangles(points, triangles, keys, bvh);
    fill_leaves(bvh);
    for (size_t level = 1; level < bvh->level_count; level++)
        fill_level(bvh, level);
    return true;
}

static bool holds(const struct bvh_node *node, size_t c, aabb box)
{
    aabb outer = bvh_child_box(node, (unsigned)c);

    return outer.min.x <= box.min.x && outer.min.y <= box.min.y && outer.min.z <= box.min.z
           && outer.max.x >= box.max.x && outer.max.y >= box.max.y && outer.max.z >= box.max.z;
}

bool bvh_is_valid(const struct bvh *bvh)
{
    uint64_t sum = 0;

    for (size_t slot = 0; slot < bvh->triangle_count; slot++) {
        sum += bvh->triangles[slot];
        if (bvh->triangles[slot] >= bvh->triangle_count
            || !holds(&bvh->levels[0][slot / BVH_WIDTH], slot % BVH_WIDTH,
                      triangle_box(bvh->points, bvh->corners[slot])))
            return false;
    }
    for (size_t level = 1; level < bvh->level_count; level++)
        for (size_t i = 0; i < bvh->node_counts[level - 1]; i++)
            for (unsigned c = 0; c < BVH_WIDTH; c++) {
                aabb box = bvh_child_box(&bvh->levels[level - 1][i], c);
                if (!aabb_is_empty(box) && !holds(&bvh->levels[level][i / BVH_WIDTH], i % BVH_WIDTH, box))
                    return false;
            }
    return sum == (uint64_t)bvh->triangle_count * (bvh->triangle_count - 1) / 2
           && bvh->node_counts[bvh->level_count - 1] == 1;
}
