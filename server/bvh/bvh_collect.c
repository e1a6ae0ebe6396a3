/* bvh_collect.c - the triangles whose boxes meet a box, depth first, in the order of slots. */
#include "bvh/bvh.h"

#include <string.h>

#define STACK_SIZE (BVH_WIDTH * BVH_LEVELS_MAX)
#define LANES 4
typedef float lanes __attribute__((vector_size(LANES * sizeof(float))));
typedef int32_t lane_masks __attribute__((vector_size(LANES * sizeof(float))));

struct visit {
    int level;
    uint32_t index;
};

/* Bit c is set where child c meets the box; an empty place meets none. */
static unsigned meeting_children(const struct bvh_node *node, const float *min, const float *max)
{
    unsigned bits = 0;

    for (int c = 0; c < BVH_WIDTH; c += LANES) {
        lane_masks meets = {-1, -1, -1, -1};
        for (int axis = 0; axis < 3; axis++) {
            lanes low, high;
            memcpy(&low, node->min[axis] + c, sizeof low);
            memcpy(&high, node->max[axis] + c, sizeof high);
            meets &= (low <= max[axis]) & (high >= min[axis]);
        }
        for (int lane = 0; lane < LANES; lane++)
            bits |= (unsigned)(meets[lane] & 1) << (c + lane);
    }
    return bits;
}

/* Floats at or beyond x, whatever way the conversion rounds. */
static void widen(aabb box, float *min, float *max)
{
    const double low[3] = {box.min.x, box.min.y, box.min.z}, high[3] = {box.max.x, box.max.y, box.max.z};

    for (int axis = 0; axis < 3; axis++) {
        min[axis] = (float)(low[axis] - 2e-7);
        max[axis] = (float)(high[axis] + 2e-7);
    }
}

size_t bvh_collect(const struct bvh *bvh, aabb box, uint32_t *slots, size_t most, size_t *work)
{
    struct visit stack[STACK_SIZE];
    size_t top = 1, count = 0;
    float min[3], max[3];

    widen(box, min, max);
    stack[0] = (struct visit){(int)bvh->level_count - 1, 0};
    while (top > 0) {
        struct visit visit = stack[--top];
        unsigned bits = meeting_children(&bvh->levels[visit.level][visit.index], min, max);
        ++*work;
        if (visit.level > 0) {
            for (; bits; bits &= ~(1u << (31 - __builtin_clz(bits)))) {
                unsigned c = 31 - (unsigned)__builtin_clz(bits);
                stack[top++] = (struct visit){visit.level - 1, visit.index * BVH_WIDTH + c};
            }
            continue;
        }
        for (; bits; bits &= bits - 1) {
            if (count == most)
                return most + 1;
            slots[count++] = visit.index * BVH_WIDTH + (unsigned)__builtin_ctz(bits);
        }
    }
    return count;
}
