/* bvh_kernels.h - the inner loops of the index, compiled once for each kind of vector unit; inside the room.
 *
 * All paths give the same results to the last bit: the same operations in the same order on each lane, and no
 * fused one (-ffp-contract=off). Which is used is chosen when an index is built. */
#ifndef BVH_BVH_KERNELS_H
#define BVH_BVH_KERNELS_H

#include "bvh/bvh.h"

/* See bvh.h for what they do. */
struct bvh_kernels {
    const char *name;
    /* a triangle whose squared distance is at most enough_sq ends the search */
    struct bvh_hit (*nearest)(const struct bvh *bvh, vec3 p, uint32_t first, double enough_sq, size_t *work);
    void (*nearest_lanes)(const struct bvh *bvh, const struct bvh_points *points, size_t count, double reach,
                          uint32_t first, struct bvh_hit *hits, size_t *work);
    uint32_t (*within)(const struct bvh *bvh, const vec3 *corners, double limit, uint32_t first,
                       double *farthest, size_t *work);
    size_t (*collect)(const struct bvh *bvh, const struct bvh_region *region, uint32_t *slots, size_t most,
                      size_t *work);
    void (*distances)(const struct bvh *bvh, uint32_t slot, const struct bvh_points *points,
                      double *distances_sq);
    void (*bound_lanes)(const struct bvh *bvh, const struct bvh_lanes *lanes, const uint32_t *slots,
                        size_t count, struct bvh_lows *lows);
    void (*bound_below)(const struct bvh *bvh, const vec3 *corners, size_t allowance, double *low,
                        size_t *work);
    void (*paired)(const struct bvh *bvh, const uint32_t *slots, const struct bvh_points *corners,
                   double *largest_sq);
    void (*match)(const struct bvh *bvh, uint32_t first, const struct bvh_points *corners, uint32_t *slots);
    void (*look)(const struct bvh *bvh, const struct bvh_view *view, const uint32_t *slots,
                 struct bvh_sight *sight);
};

extern const struct bvh_kernels bvh_kernels_plain;
#if defined(__x86_64__)
extern const struct bvh_kernels bvh_kernels_avx2, bvh_kernels_avx512;
#endif

/* Path number i that this machine can run, from 0, the plainest; NULL after the last, the fastest. */
const struct bvh_kernels *bvh_kernels_at(size_t i);
const struct bvh_kernels *bvh_kernels_best(void);

#endif
