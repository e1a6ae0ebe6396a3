/* bvh_halves_loops.h - halving centres at their medians; included by bvh_loops.h, and by nothing else.
 *
 * Whole numbers alone, so that every path gives the same order. */
#include "bvh/bvh_kernels.h"

#include <assert.h>
#include <stdbool.h>
#include <string.h>

#define VALUE_BITS 22 /* of a centre along an axis, from the least of its range: with its place below, */
#define PLACE_BITS 9  /* no two values are equal, and all are positive */
#define VALUE_LANES 16
#define VALUE_NONE INT32_MAX /* more than any */
#define FEW_MAX 32           /* of so many, each is compared with all */

static_assert(BVH_BLOCK == 1 << PLACE_BITS && VALUE_BITS + PLACE_BITS < 32, "a value has 31 bits");

typedef int32_t value_lanes __attribute__((vector_size(VALUE_LANES * sizeof(int32_t))));

/* Lane by lane the lesser; masks are all ones or none. */
static inline bvh_centre lesser_lanes(bvh_centre a, bvh_centre b)
{
    bvh_centre less = a < b;

    return (a & less) | (b & ~less);
}

static inline bvh_centre greater_lanes(bvh_centre a, bvh_centre b)
{
    bvh_centre greater = a > b;

    return (a & greater) | (b & ~greater);
}

/* Every third bit of x, from the first on, moved to the right. */
static inline uint64_t gather_bits(uint64_t x)
{
    x &= 0x1249249249249249u;
    x = (x | x >> 2) & 0x10c30c30c30c30c3u;
    x = (x | x >> 4) & 0x100f00f00f00f00fu;
    x = (x | x >> 8) & 0x001f0000ff0000ffu;
    x = (x | x >> 16) & 0x001f00000000ffffu;
    return (x | x >> 32) & 0x1fffff;
}

/* The axis along which they are longest, the least coordinate along it, and how long. */
static int longest_of_centres(const bvh_centre *centres, size_t count, int32_t *from, uint32_t *length)
{
    bvh_centre low[2] = {centres[0], centres[0]}, high[2] = {centres[0], centres[0]};
    int found = 0;

    for (size_t i = 0; i + 1 < count; i += 2)
        for (size_t k = 0; k < 2; k++) {
            low[k] = lesser_lanes(centres[i + k], low[k]);
            high[k] = greater_lanes(centres[i + k], high[k]);
        }
    low[0] = lesser_lanes(centres[count - 1], lesser_lanes(low[0], low[1]));
    high[0] = greater_lanes(centres[count - 1], greater_lanes(high[0], high[1]));
    const bvh_centre lengths = high[0] - low[0];
    for (int axis = 1; axis < 3; axis++)
        found = lengths[axis] > lengths[found] ? axis : found;
    *from = low[0][found];
    *length = (uint32_t)lengths[found];
    return found;
}

static uint32_t find_cells(const uint64_t *keys, size_t count, unsigned number_bits, bvh_centre *centres)
{
    int32_t *at = (int32_t *)centres, from;
    uint32_t length;

    for (size_t i = 0; i < count; i++) {
        const uint64_t code = keys[i] >> number_bits;
        at[4 * i] = (int32_t)gather_bits(code);
        at[4 * i + 1] = (int32_t)gather_bits(code >> 1);
        at[4 * i + 2] = (int32_t)gather_bits(code >> 2);
        at[4 * i + 3] = (int32_t)i;
    }
    longest_of_centres(centres, count, &from, &length);
    return length;
}

/* Along the axis they are longest on, filled up to whole lanes; returns how many there are then. */
static size_t find_values(const bvh_centre *centres, size_t count, int32_t *values)
{
    int32_t from;
    uint32_t length;
    const int axis = longest_of_centres(centres, count, &from, &length);
    const int32_t *at = (const int32_t *)centres + axis;
    int shift = 0;

    while (length >> shift >> VALUE_BITS)
        shift++;
    for (size_t i = 0; i < count; i++)
        values[i] = (at[4 * i] - from) >> shift << PLACE_BITS | (int32_t)i;
    for (; count % VALUE_LANES; count++)
        values[count] = VALUE_NONE;
    return count;
}

static inline int32_t sum_of_lanes(const value_lanes *lanes)
{
    bvh_centre parts[VALUE_LANES / 4];

    memcpy(parts, lanes, sizeof parts);
    const bvh_centre sum = (parts[0] + parts[1]) + (parts[2] + parts[3]);
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

/* How many values are less; count is of whole lanes. */
static inline int32_t count_less(const int32_t *values, size_t count, int32_t than)
{
    value_lanes less = {0};

    for (size_t i = 0; i < count; i += VALUE_LANES) {
        value_lanes some;
        memcpy(&some, values + i, sizeof some);
        less -= some < than;
    }
    return sum_of_lanes(&less);
}

/* The value that so many are less than: of few, by counting for each. */
static int32_t value_of_few(const int32_t *values, size_t count, int32_t wanted)
{
    value_lanes found = {0};

    for (size_t i = 0; i < count; i += VALUE_LANES) {
        value_lanes some, less = {0};
        memcpy(&some, values + i, sizeof some);
        for (size_t k = 0; k < count; k++)
            less -= some > values[k];
        found += some & (less == wanted);
    }
    return sum_of_lanes(&found);
}

/* A number that so many are less than: there is one, as all differ. 0 < wanted < how many are given. Looked
 * for where it should be if they were spread evenly, and in the middle of what is left, in turns. */
static int32_t value_of_many(const int32_t *values, size_t count, int32_t wanted)
{
    int32_t low = 0, high = VALUE_NONE, less_low = 0, less_high = (int32_t)count;

    for (bool evenly = true;; evenly = !evenly) {
        const int64_t width = (int64_t)high - low;
        const int32_t at =
            low + (int32_t)(evenly ? width * (wanted - less_low) / (less_high - less_low) : width / 2);
        const int32_t less = count_less(values, count, at);
        if (less == wanted)
            return at;
        if (less < wanted) {
            low = at;
            less_low = less;
        } else {
            high = at;
            less_high = less;
        }
    }
}

/* Those whose values are less than the pivot go to `low`, which has room for one more, the others to the
 * front of where they are, all in the order they came in. No branch depends on them. */
static void part_centres(bvh_centre *centres, bvh_centre *low, const int32_t *values, size_t count,
                         int32_t pivot)
{
    size_t less = 0;

    for (size_t i = 0; i < count; i++) {
        const bvh_centre centre = centres[i];
        low[less] = centre;
        centres[i - less] = centre;
        less += values[i] < pivot;
    }
}

static void halve_centres(bvh_centre *centres, bvh_centre *room, size_t count, uint32_t *order)
{
    int32_t values[BVH_BLOCK];
    size_t half = BVH_WIDTH;

    if (count <= BVH_WIDTH) {
        for (size_t i = 0; i < count; i++)
            order[i] = (uint32_t)centres[i][3];
        return;
    }
    while (2 * half < count)
        half *= 2;
    const size_t filled = find_values(centres, count, values);
    const int32_t pivot = filled <= FEW_MAX ? value_of_few(values, filled, (int32_t)half)
                                            : value_of_many(values, filled, (int32_t)half);
    part_centres(centres, room, values, count, pivot);
    halve_centres(room, centres + (count - half), half, order);
    halve_centres(centres, room + half, count - half, order + half);
}
