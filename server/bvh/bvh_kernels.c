/* bvh_kernels.c - which inner loops this machine can run, and the calls that go to them. */
#include "bvh/bvh_kernels.h"

#include "base/vector_paths.h"

#include <math.h>

#define ABOUT_SHARE 0.5 /* see bvh_about */
#define NEXT_TIMES 1.5  /* the farthest of those before: measured, most of the next ones are no farther */

static const struct bvh_kernels *const paths[] = {
    &bvh_kernels_plain,
#if defined(__x86_64__)
    &bvh_kernels_avx2,
    &bvh_kernels_avx512,
#endif
};

const struct bvh_kernels *bvh_kernels_at(size_t i)
{
    return i < vector_path_count() ? paths[i] : NULL;
}

const struct bvh_kernels *bvh_kernels_best(void)
{
    return paths[vector_path_count() - 1];
}

struct bvh_hit bvh_nearest(const struct bvh *bvh, vec3 p, uint32_t first, size_t *work)
{
    return bvh->kernels->nearest(bvh, p, first, -1, 1, work);
}

void bvh_nearest_lanes(const struct bvh *bvh, const vec3 *points, size_t count, double reach, uint32_t first,
                       struct bvh_hit *hits, size_t *work)
{
    bvh->kernels->nearest_lanes(bvh, points, count, reach, first, NULL, hits, work);
}

void bvh_nearest_lanes_from(const struct bvh *bvh, const vec3 *points, size_t count, const uint32_t *firsts,
                            struct bvh_hit *hits, size_t *work)
{
    bvh->kernels->nearest_lanes(bvh, points, count, INFINITY, BVH_NONE, firsts, hits, work);
}

double bvh_next_reach(const struct bvh_hit *hits, size_t count)
{
    double farthest_sq = 0;

    for (size_t i = 0; i < count; i++)
        farthest_sq = hits[i].distance_sq > farthest_sq ? hits[i].distance_sq : farthest_sq;
    return NEXT_TIMES * sqrt(farthest_sq);
}

struct bvh_hit bvh_near(const struct bvh *bvh, vec3 p, uint32_t first, double enough, size_t *work)
{
    return bvh->kernels->nearest(bvh, p, first, enough < 0 ? -1 : enough * enough, 1, work);
}

struct bvh_hit bvh_about(const struct bvh *bvh, vec3 p, uint32_t first, double enough, size_t *work)
{
    return bvh->kernels->nearest(bvh, p, first, enough < 0 ? -1 : enough * enough, ABOUT_SHARE, work);
}

uint32_t bvh_within(const struct bvh *bvh, const vec3 *corners, double limit, uint32_t first,
                    double *farthest, size_t *work)
{
    return bvh->kernels->within(bvh, corners, limit, first, farthest, work);
}

struct bvh_region bvh_region_about(aabb box, double reach)
{
    return (struct bvh_region){.min = {(float)box.min.x, (float)box.min.y, (float)box.min.z},
                               .max = {(float)box.max.x, (float)box.max.y, (float)box.max.z},
                               .reach_sq = (float)(reach * reach * (1 + 0x1p-20))};
}

size_t bvh_collect(const struct bvh *bvh, const struct bvh_region *region, uint32_t *slots, size_t most,
                   size_t *work)
{
    return bvh->kernels->collect(bvh, region, slots, most, work);
}

void bvh_distances_sq(const struct bvh *bvh, uint32_t slot, const struct bvh_points *points,
                      double *distances_sq)
{
    bvh->kernels->distances(bvh, slot, points, distances_sq);
}

void bvh_bound_lanes(const struct bvh *bvh, const struct bvh_lanes *lanes, const uint32_t *slots,
                     size_t count, struct bvh_lows *lows)
{
    bvh->kernels->bound_lanes(bvh, lanes, slots, count, lows);
}

void bvh_bound_below(const struct bvh *bvh, const vec3 *corners, size_t allowance, double *low, size_t *work)
{
    bvh->kernels->bound_below(bvh, corners, allowance, low, work);
}

void bvh_paired_sq(const struct bvh *bvh, const uint32_t *slots, const struct bvh_points *corners,
                   double (*distances_sq)[BVH_LANES])
{
    bvh->kernels->paired(bvh, slots, corners, distances_sq);
}

void bvh_match(const struct bvh *bvh, const uint32_t *listed, size_t count, const struct bvh_points *corners,
               uint32_t *slots)
{
    bvh->kernels->match(bvh, listed, count, corners, slots);
}

size_t bvh_beside(const struct bvh *bvh, uint32_t slot, uint32_t *slots)
{
    const size_t leaf = slot / BVH_WIDTH * BVH_WIDTH, begin = leaf > BVH_WIDTH ? leaf - BVH_WIDTH : 0,
                 after = leaf + 2 * BVH_WIDTH, end = after < bvh->held_count ? after : bvh->held_count;

    for (size_t beside = begin; beside < end; beside++)
        slots[beside - begin] = (uint32_t)beside;
    return end - begin;
}

void bvh_look(const struct bvh *bvh, const struct bvh_view *view, const uint32_t *slots,
              struct bvh_sight *sight)
{
    bvh->kernels->look(bvh, view, slots, sight);
}
