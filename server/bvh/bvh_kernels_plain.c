/* bvh_kernels_plain.c - the inner loops with what every machine has: SSE2 on x86-64, NEON on arm64. */
#define BVH_KERNELS bvh_kernels_plain
#define BVH_KERNELS_NAME "plain"
#include "bvh/bvh_loops.h"
