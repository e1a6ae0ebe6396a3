/* bvh_kernels.h - the inner loops of the index, compiled once for each kind of vector unit; inside the room.
 *
 * All paths give the same results to the last bit: the same operations in the same order on each lane, and no
 * fused one (-ffp-contract=off). Which is used is chosen when an index is built. */
#ifndef BVH_BVH_KERNELS_H
#define BVH_BVH_KERNELS_H

#include "bvh/bvh.h"

#define BVH_BLOCK 512 /* triangles in a row that are halved */

/* Of a triangle's box, in whole steps of which there are at most 2^30 along each axis; lane 3: its place in
 * the block. */
typedef int32_t bvh_centre __attribute__((vector_size(4 * sizeof(int32_t))));

/* See bvh.h for what they do. */
struct bvh_kernels {
    const char *name;
    /* A triangle whose squared distance is at most enough_sq ends the search; none has less than `share` of
     * the squared distance of what is returned. */
    struct bvh_hit (*nearest)(const struct bvh *bvh, vec3 p, uint32_t first, double enough_sq, double share,
                              size_t *work);
    /* Either `first` or firsts, else BVH_NONE and NULL. */
    void (*nearest_lanes)(const struct bvh *bvh, const vec3 *points, size_t count, double reach,
                          uint32_t first, const uint32_t *firsts, struct bvh_hit *hits, size_t *work);
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
                   double (*distances_sq)[BVH_LANES]);
    void (*match)(const struct bvh *bvh, const uint32_t *listed, size_t count,
                  const struct bvh_points *corners, uint32_t *slots);
    void (*look)(const struct bvh *bvh, const struct bvh_view *view, const uint32_t *slots,
                 struct bvh_sight *sight);
    /* Sets centres to the cells that keys, 1 to BVH_BLOCK of them, are of, each with its place, and returns
     * how many cells long they reach at most. A key is a Morton code, of 20 bits an axis or fewer, above so
     * many bits of a number. */
    uint32_t (*find_cells)(const uint64_t *keys, size_t count, unsigned number_bits, bvh_centre *centres);
    /* Halves 1 to BVH_BLOCK centres at their median along the axis they are longest on, and their halves,
     * until there are BVH_WIDTH or fewer; all but the last have as many. Sets order[i] to the place of the
     * i-th. What is in centres and room, as large, is lost. */
    void (*halve)(bvh_centre *centres, bvh_centre *room, size_t count, uint32_t *order);
};

extern const struct bvh_kernels bvh_kernels_plain;
#if defined(__x86_64__)
extern const struct bvh_kernels bvh_kernels_avx2, bvh_kernels_avx512;
#endif

/* Path number i that this machine can run, from 0, the plainest; NULL after the last, the fastest. */
const struct bvh_kernels *bvh_kernels_at(size_t i);
const struct bvh_kernels *bvh_kernels_best(void);

#endif
