/* bvh_build.c - Morton codes, a radix sort, then leaves and the levels over them, on several threads.
 *
 * A key is a code with the triangle's number below it. Keys are scattered by their top bits, and each bucket
 * of near triangles is then sorted by itself, in the cache. Each block of keys in a row is halved by the
 * cells that they tell, and its triangles are written as leaves and the two levels over them. What a chunk
 * does depends on its number alone. */
#include "bvh/bvh.h"

#include "base/tasks.h"
#include "bvh/bvh_kernels.h"
#include "geom/point_triangle.h"

#include <assert.h>
#include <string.h>

#define MORTON_BITS_MAX 20 /* per axis; fewer where the numbers of many triangles need the room */
#define BUCKET_BITS 11
#define BUCKETS ((size_t)1 << BUCKET_BITS)
#define DIGIT_BITS 8
#define DIGITS ((size_t)1 << DIGIT_BITS)
#define CHUNK ((size_t)1 << 12) /* triangles; more where there would be too many chunks */
#define CHUNKS_MAX 128
#define INSERTION_MAX 48 /* keys of a bucket that are sorted by insertion alone */
#define TOP_BITS (2 * DIGIT_BITS)
#define ALIKE_MAX 64 /* keys with the same top bits, of a larger bucket, whose order is left to halving */
#define BLOCK ((size_t)BVH_BLOCK)
#define BLOCK_LEVELS 2 /* over the leaves of a block: its nodes are those of no other */
#define CELLS_FINE 64  /* along a block, at least: where it is shorter, its triangles' centres are found */
#define STEP_BITS 30   /* per axis, of such a centre */

static_assert(BVH_BLOCK == BVH_WIDTH * BVH_WIDTH * BVH_WIDTH, "a block has one node of its top level");

struct building {
    struct bvh *bvh;
    uint32_t (*triangles)[3]; /* as listed */
    const bool *marked;       /* NULL: all are */
    uint32_t *numbers;        /* [held_count] of the triangles marked, ascending; NULL: all are */
    size_t *held_until;       /* [chunk of those listed + 1] how many are marked before it */
    size_t chunk_size, chunk_count, level;
    vec3 from;
    double cells_per_length, steps_per_length;
    unsigned axis_bits, number_bits;
    uint64_t *keys, *scattered;
    uint32_t (*starts)[BUCKETS]; /* [chunk_count] how many, then where in scattered */
    uint32_t bucket_starts[BUCKETS + 1];
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

static double lesser(double a, double b)
{
    return a < b ? a : b;
}

static double greater(double a, double b)
{
    return a > b ? a : b;
}

static inline aabb include(aabb box, vec3 p)
{
    box.min = (vec3){lesser(p.x, box.min.x), lesser(p.y, box.min.y), lesser(p.z, box.min.z)};
    box.max = (vec3){greater(p.x, box.max.x), greater(p.y, box.max.y), greater(p.z, box.max.z)};
    return box;
}

static inline aabb triangle_box(const vec3 *points, const uint32_t *corner)
{
    aabb box = {points[corner[0]], points[corner[0]]};

    return include(include(box, points[corner[1]]), points[corner[2]]);
}

/* Of those in the tree. */
static size_t triangles_end(const struct building *building, size_t chunk)
{
    return tasks_chunk_end(chunk, building->chunk_size, building->bvh->held_count);
}

/* The number, as listed, of one of those in the tree. */
static inline size_t number_of(const struct building *building, size_t held)
{
    return building->numbers ? building->numbers[held] : held;
}

/* As many bits an axis as leave room for the triangles' numbers. */
static void choose_cells(struct building *building, aabb within)
{
    while (building->bvh->held_count >> building->number_bits)
        building->number_bits++;
    building->axis_bits = (64 - building->number_bits) / 3;
    if (building->axis_bits > MORTON_BITS_MAX)
        building->axis_bits = MORTON_BITS_MAX;
    double side = greater(within.max.x - within.min.x,
                          greater(within.max.y - within.min.y, within.max.z - within.min.z));
    building->from = within.min;
    building->cells_per_length = side > 1e-300 ? (double)(1 << building->axis_bits) / side : 0;
    building->steps_per_length = side > 1e-300 ? (double)(1 << STEP_BITS) / side : 0;
}

/* The whole part of x, at least 0 and below 2^bits. */
static inline int32_t whole(double x, unsigned bits)
{
    int32_t last = ((int32_t)1 << bits) - 1;

    return x > 0 ? x < (double)last ? (int32_t)x : last : 0;
}

static size_t bucket_of(const struct building *building, uint64_t key)
{
    return key >> (3 * building->axis_bits + building->number_bits - BUCKET_BITS);
}

static void fill_keys(void *context, size_t chunk)
{
    struct building *building = context;
    uint32_t *counts = building->starts[chunk];

    memset(counts, 0, sizeof building->starts[chunk]);
    for (size_t t = chunk * building->chunk_size; t < triangles_end(building, chunk); t++) {
        aabb box = triangle_box(building->bvh->points, building->triangles[number_of(building, t)]);
        vec3 at = vec3_scale(vec3_sub(aabb_centre(box), building->from), building->cells_per_length);
        uint64_t code = spread_bits((uint32_t)whole(at.x, building->axis_bits))
                        | spread_bits((uint32_t)whole(at.y, building->axis_bits)) << 1
                        | spread_bits((uint32_t)whole(at.z, building->axis_bits)) << 2;
        building->keys[t] = code << building->number_bits | t;
        counts[bucket_of(building, building->keys[t])]++;
    }
}

/* Turns counts into places: bucket by bucket, in each chunk after chunk. */
static void place_buckets(struct building *building)
{
    uint32_t sum = 0;

    for (size_t bucket = 0; bucket < BUCKETS; bucket++) {
        building->bucket_starts[bucket] = sum;
        for (size_t chunk = 0; chunk < building->chunk_count; chunk++) {
            uint32_t count = building->starts[chunk][bucket];
            building->starts[chunk][bucket] = sum;
            sum += count;
        }
    }
    building->bucket_starts[BUCKETS] = sum;
}

static void scatter_keys(void *context, size_t chunk)
{
    struct building *building = context;
    uint32_t *next = building->starts[chunk];

    for (size_t t = chunk * building->chunk_size; t < triangles_end(building, chunk); t++)
        building->scattered[next[bucket_of(building, building->keys[t])]++] = building->keys[t];
}

static void insertion_sort(uint64_t *keys, size_t count)
{
    for (size_t i = 1; i < count; i++) {
        uint64_t key = keys[i];
        size_t at = i;
        for (; at > 0 && keys[at - 1] > key; at--)
            keys[at] = keys[at - 1];
        keys[at] = key;
    }
}

/* Whether more than so many sorted keys in a row are the same from a bit on. */
static bool are_many_alike(const uint64_t *keys, size_t count, unsigned from, size_t most)
{
    uint64_t differ = UINT64_MAX;

    for (size_t i = most; i < count && differ; i++)
        differ = (keys[i] ^ keys[i - most]) >> from;
    return !differ;
}

/* One pass of the least significant digits first; false when all keys have the same digit. */
static bool sort_digit(const uint64_t *from, uint64_t *to, size_t count, unsigned shift)
{
    uint32_t starts[DIGITS] = {0}, sum = 0;

    for (size_t i = 0; i < count; i++)
        starts[from[i] >> shift & (DIGITS - 1)]++;
    if (starts[from[0] >> shift & (DIGITS - 1)] == count)
        return false;
    for (size_t d = 0; d < DIGITS; d++) {
        uint32_t digits = starts[d];
        starts[d] = sum;
        sum += digits;
    }
    for (size_t i = 0; i < count; i++)
        to[starts[from[i] >> shift & (DIGITS - 1)]++] = from[i];
    return true;
}

/* Sorts by the digits from a bit to another, the least first; returns which of the two arrays has the keys.
 */
static uint64_t *sort_digits(uint64_t *keys, uint64_t *room, size_t count, unsigned from, unsigned to)
{
    for (unsigned shift = from; shift < to; shift += DIGIT_BITS)
        if (sort_digit(keys, room, count, shift)) {
            uint64_t *swap = keys;
            keys = room;
            room = swap;
        }
    return keys;
}

/* Sorts a bucket from scattered into keys, by its top bits: they tell near triangles apart, and a block of
 * them is halved in any case. Where they do not, as where one far triangle makes the cells too coarse, all
 * bits are needed. */
static void sort_bucket(void *context, size_t bucket)
{
    struct building *building = context;
    size_t start = building->bucket_starts[bucket], count = building->bucket_starts[bucket + 1] - start;
    uint64_t *room[2] = {building->scattered + start, building->keys + start}, *sorted = room[0];
    unsigned begin = building->number_bits, end = 3 * building->axis_bits + begin - BUCKET_BITS,
             top = end > begin + TOP_BITS ? end - TOP_BITS : begin;

    if (count > INSERTION_MAX)
        sorted = sort_digits(room[0], room[1], count, top, end);
    else
        insertion_sort(sorted, count);
    if (count > ALIKE_MAX && are_many_alike(sorted, count, top, ALIKE_MAX))
        sorted = sort_digits(sorted, sorted == room[0] ? room[1] : room[0], count, begin, end);
    if (sorted != room[1])
        memcpy(room[1], sorted, count * sizeof *sorted);
}

static size_t triangle_of(const struct building *building, uint64_t key)
{
    return key & (((uint64_t)1 << building->number_bits) - 1);
}

/* A float at most x: lowered by more than conversion to the nearest float can raise it. No branch, and never
 * so near to 0 that its square would be too small for a float. */
static float float_below(double x)
{
    return (float)(x - (fabs(x) * 0x1p-23 + 0x1p-60));
}

static float float_above(double x)
{
    return (float)(x + (fabs(x) * 0x1p-23 + 0x1p-60));
}

static void set_child(struct bvh_node *node, size_t c, const float *min, const float *max)
{
    for (int axis = 0; axis < 3; axis++) {
        node->min[axis][c] = min[axis];
        node->max[axis][c] = max[axis];
    }
}

/* The boxes of a leaf's triangles before they become floats, all at once. */
struct leaf {
    double min[3][BVH_WIDTH], max[3][BVH_WIDTH];
};

/* Keys in a row: where they are, and their places in the row in the order of the slots. */
struct block {
    uint32_t order[BLOCK];
    bvh_centre centres[BLOCK], room[BLOCK];
};

/* Neighbours in Morton order may be anywhere in the lists: what the next ones need of them is asked of memory
 * in time. */
static inline void look_ahead(const struct building *building, const uint32_t *triangles)
{
    const uint32_t *corner = building->triangles[triangles[BVH_WIDTH]];

    __builtin_prefetch(building->triangles[triangles[2 * BVH_WIDTH]]);
    for (int i = 0; i < 3; i++)
        __builtin_prefetch(&building->bvh->points[corner[i]]);
}

/* The corners in their order after so many turns. */
static const uint8_t turned[3][3] = {{0, 1, 2}, {1, 2, 0}, {2, 0, 1}};

static inline void turn_triangle(const struct building *building, size_t t, uint32_t *corners)
{
    const uint32_t *corner = building->triangles[t];
    const vec3 *points = building->bvh->points;
    unsigned turn = triangle_longest_first(points[corner[0]], points[corner[1]], points[corner[2]]);

    for (unsigned i = 0; i < 3; i++)
        corners[i] = corner[turned[turn][i]];
}

static void round_leaf(const struct leaf *leaf, struct bvh_node *node)
{
    for (int axis = 0; axis < 3; axis++)
        for (int c = 0; c < BVH_WIDTH; c++) {
            node->min[axis][c] = float_below(leaf->min[axis][c]);
            node->max[axis][c] = float_above(leaf->max[axis][c]);
        }
}

static const float nothing_min[3] = {INFINITY, INFINITY, INFINITY},
                   nothing_max[3] = {-INFINITY, -INFINITY, -INFINITY};

static inline void fill_place(const struct building *building, size_t slot, struct leaf *leaf)
{
    struct bvh *bvh = building->bvh;
    size_t t = bvh->triangles[slot], c = slot % BVH_WIDTH;
    aabb box = triangle_box(bvh->points, building->triangles[t]);

    turn_triangle(building, t, bvh->corners[slot]);
    leaf->min[0][c] = box.min.x;
    leaf->min[1][c] = box.min.y;
    leaf->min[2][c] = box.min.z;
    leaf->max[0][c] = box.max.x;
    leaf->max[1][c] = box.max.y;
    leaf->max[2][c] = box.max.z;
}

static void fill_leaves(const struct building *building, size_t begin, size_t end)
{
    struct bvh *bvh = building->bvh;
    struct leaf leaf;

    memset(&leaf, 0, sizeof leaf);
    for (size_t slot = begin; slot < end; slot++) {
        if (slot + 2 * BVH_WIDTH < end)
            look_ahead(building, bvh->triangles + slot);
        fill_place(building, slot, &leaf);
        if (slot % BVH_WIDTH == BVH_WIDTH - 1 || slot + 1 == end)
            round_leaf(&leaf, &bvh->levels[0][slot / BVH_WIDTH]);
    }
    for (size_t slot = end; slot % BVH_WIDTH; slot++)
        set_child(&bvh->levels[0][slot / BVH_WIDTH], slot % BVH_WIDTH, nothing_min, nothing_max);
}

/* The box of all children of a node. */
static void enclose(const struct bvh_node *child, float *min, float *max)
{
    for (int axis = 0; axis < 3; axis++) {
        min[axis] = child->min[axis][0];
        max[axis] = child->max[axis][0];
        for (int c = 1; c < BVH_WIDTH; c++) {
            min[axis] = child->min[axis][c] < min[axis] ? child->min[axis][c] : min[axis];
            max[axis] = child->max[axis][c] > max[axis] ? child->max[axis][c] : max[axis];
        }
    }
}

/* Nodes of a level from those below. */
static void fill_nodes(struct bvh *bvh, size_t level, size_t begin, size_t end)
{
    size_t below = bvh->node_counts[level - 1];

    for (size_t i = begin; i < end; i++)
        for (size_t c = 0; c < BVH_WIDTH; c++) {
            float min[3], max[3];
            if (i * BVH_WIDTH + c < below) {
                enclose(&bvh->levels[level - 1][i * BVH_WIDTH + c], min, max);
                set_child(&bvh->levels[level][i], c, min, max);
            } else {
                set_child(&bvh->levels[level][i], c, nothing_min, nothing_max);
            }
        }
}

/* Where cells are too coarse for halving. */
static void find_centres(const struct building *building, const uint64_t *keys, size_t count,
                         bvh_centre *centres)
{
    for (size_t i = 0; i < count; i++) {
        size_t t = number_of(building, triangle_of(building, keys[i]));
        aabb box = triangle_box(building->bvh->points, building->triangles[t]);
        vec3 at = vec3_scale(vec3_sub(aabb_centre(box), building->from), building->steps_per_length);
        centres[i] =
            (bvh_centre){whole(at.x, STEP_BITS), whole(at.y, STEP_BITS), whole(at.z, STEP_BITS), (int32_t)i};
    }
}

static void fill_block(void *context, size_t number)
{
    struct building *building = context;
    struct bvh *bvh = building->bvh;
    size_t begin = number * BLOCK, end = tasks_chunk_end(number, BLOCK, bvh->held_count),
           nodes = BLOCK / BVH_WIDTH;
    const uint64_t *keys = building->keys + begin;
    struct block block;

    if (bvh->kernels->find_cells(keys, end - begin, building->number_bits, block.centres) < CELLS_FINE)
        find_centres(building, keys, end - begin, block.centres);
    bvh->kernels->halve(block.centres, block.room, end - begin, block.order);
    for (size_t slot = begin; slot < end; slot++)
        bvh->triangles[slot] =
            (uint32_t)number_of(building, triangle_of(building, keys[block.order[slot - begin]]));
    fill_leaves(building, begin, end);
    for (size_t level = 1; level <= BLOCK_LEVELS && level < bvh->level_count; level++) {
        nodes /= BVH_WIDTH;
        fill_nodes(bvh, level, number * nodes, tasks_chunk_end(number, nodes, bvh->node_counts[level]));
    }
}

static void fill_chunk(void *context, size_t chunk)
{
    struct building *building = context;

    fill_nodes(building->bvh, building->level, chunk * CHUNK,
               tasks_chunk_end(chunk, CHUNK, building->bvh->node_counts[building->level]));
}

static size_t chunk_size_of(size_t triangle_count)
{
    size_t size = CHUNK;

    while (size * CHUNKS_MAX < triangle_count)
        size *= 2;
    return size;
}

size_t bvh_scratch_bytes(size_t triangle_count)
{
    size_t chunk_count = tasks_chunks(triangle_count, chunk_size_of(triangle_count));

    return chunk_count * sizeof(uint32_t[BUCKETS])
           + triangle_count * (2 * sizeof(uint64_t) + sizeof(uint32_t))
           + (tasks_chunks(triangle_count, CHUNK) + 1) * sizeof(size_t) + 512;
}

/* --- a part --- */

static void count_marked(void *context, size_t chunk)
{
    const struct building *building = context;
    size_t count = 0;

    for (size_t t = chunk * CHUNK; t < tasks_chunk_end(chunk, CHUNK, building->bvh->triangle_count); t++)
        count += building->marked[t];
    building->held_until[chunk + 1] = count;
}

/* The numbers of those marked; the others get their slots. */
static void part_chunk(void *context, size_t chunk)
{
    const struct building *building = context;
    size_t held = building->held_until[chunk], other = building->bvh->held_count + (chunk * CHUNK - held);

    for (size_t t = chunk * CHUNK; t < tasks_chunk_end(chunk, CHUNK, building->bvh->triangle_count); t++)
        if (building->marked[t])
            building->numbers[held++] = (uint32_t)t;
        else {
            building->bvh->triangles[other] = (uint32_t)t;
            turn_triangle(building, t, building->bvh->corners[other++]);
        }
}

static bool part_triangles(struct building *building, size_t threads, struct arena *scratch)
{
    struct bvh *bvh = building->bvh;
    size_t chunks = tasks_chunks(bvh->triangle_count, CHUNK);

    building->held_until = ARENA_NEW(scratch, size_t, chunks + 1);
    if (!building->held_until)
        return false;
    building->held_until[0] = 0;
    tasks_run(threads, chunks, count_marked, building);
    for (size_t chunk = 0; chunk < chunks; chunk++)
        building->held_until[chunk + 1] += building->held_until[chunk];
    bvh->held_count = building->held_until[chunks];
    building->numbers = ARENA_NEW(scratch, uint32_t, bvh->held_count);
    if (!building->numbers)
        return false;
    tasks_run(threads, chunks, part_chunk, building);
    return true;
}

static bool allocate(struct building *building, struct arena *keep, struct arena *scratch)
{
    struct bvh *bvh = building->bvh;
    size_t count = bvh->held_count, children = count;

    do {
        size_t nodes = (children + BVH_WIDTH - 1) / BVH_WIDTH;
        bvh->levels[bvh->level_count] = arena_alloc(keep, nodes, sizeof(struct bvh_node), 64);
        if (!bvh->levels[bvh->level_count])
            return false;
        bvh->node_counts[bvh->level_count++] = nodes;
        children = nodes;
    } while (children > 1);
    building->chunk_size = chunk_size_of(count);
    building->chunk_count = tasks_chunks(count, building->chunk_size);
    building->starts = arena_alloc(scratch, building->chunk_count, sizeof *building->starts, 64);
    building->keys = ARENA_NEW(scratch, uint64_t, count);
    building->scattered = ARENA_NEW(scratch, uint64_t, count);
    return building->starts && building->keys && building->scattered;
}

bool bvh_build_part(const vec3 *points, size_t triangle_count, uint32_t (*const triangles)[3],
                    const bool *marked, aabb within, size_t threads, struct bvh *bvh, struct arena *keep,
                    struct arena scratch, struct error *err)
{
    struct building building = {.bvh = bvh, .triangles = triangles, .marked = marked};

    assert(triangle_count > 0);
    memset(bvh, 0, sizeof *bvh);
    bvh->kernels = bvh_kernels_best();
    bvh->points = points;
    bvh->triangle_count = bvh->held_count = triangle_count;
    bvh->corners = arena_alloc(keep, triangle_count, sizeof *bvh->corners, 4);
    bvh->triangles = ARENA_NEW(keep, uint32_t, triangle_count);
    if (!bvh->corners || !bvh->triangles || (marked && !part_triangles(&building, threads, &scratch)))
        return arena_error(err);
    assert(bvh->held_count > 0);
    if (!allocate(&building, keep, &scratch))
        return arena_error(err);
    threads = building.chunk_count > 1 ? threads : 1; /* few triangles are sorted before a thread starts */
    choose_cells(&building, within);
    tasks_run(threads, building.chunk_count, fill_keys, &building);
    place_buckets(&building);
    tasks_run(threads, building.chunk_count, scatter_keys, &building);
    tasks_run(threads, BUCKETS, sort_bucket, &building);
    tasks_run(threads, tasks_chunks(bvh->held_count, BLOCK), fill_block, &building);
    for (building.level = BLOCK_LEVELS + 1; building.level < bvh->level_count; building.level++)
        tasks_run(threads, tasks_chunks(bvh->node_counts[building.level], CHUNK), fill_chunk, &building);
    return true;
}

bool bvh_build(const vec3 *points, size_t triangle_count, uint32_t (*const triangles)[3], aabb within,
               size_t threads, struct bvh *bvh, struct arena *keep, struct arena scratch, struct error *err)
{
    return bvh_build_part(points, triangle_count, triangles, NULL, within, threads, bvh, keep, scratch, err);
}

double bvh_distance_sq(const struct bvh *bvh, vec3 p, uint32_t slot)
{
    const uint32_t *corner = bvh->corners[slot];

    return triangle_distance_sq(p, bvh->points[corner[0]], bvh->points[corner[1]], bvh->points[corner[2]]);
}

aabb bvh_child_box(const struct bvh_node *node, unsigned c)
{
    return (aabb){{(double)node->min[0][c], (double)node->min[1][c], (double)node->min[2][c]},
                  {(double)node->max[0][c], (double)node->max[1][c], (double)node->max[2][c]}};
}

static bool holds(const struct bvh_node *node, size_t c, aabb box)
{
    aabb outer = bvh_child_box(node, (unsigned)c);

    return outer.min.x <= box.min.x && outer.min.y <= box.min.y && outer.min.z <= box.min.z
           && outer.max.x >= box.max.x && outer.max.y >= box.max.y && outer.max.z >= box.max.z;
}

void bvh_forget_tree(struct bvh *bvh)
{
    for (size_t level = 0; level < bvh->level_count; level++) {
        arena_forget(bvh->levels[level], bvh->node_counts[level] * sizeof(struct bvh_node));
        bvh->levels[level] = NULL;
    }
}

bool bvh_is_valid(const struct bvh *bvh)
{
    uint64_t sum = 0;

    for (size_t slot = 0; slot < bvh->triangle_count; slot++) {
        sum += bvh->triangles[slot];
        if (bvh->triangles[slot] >= bvh->triangle_count)
            return false;
        if (slot < bvh->held_count
            && !holds(&bvh->levels[0][slot / BVH_WIDTH], slot % BVH_WIDTH,
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
