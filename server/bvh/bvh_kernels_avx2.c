/* bvh_kernels_avx2.c - the inner loops for x86-64 with AVX2; empty elsewhere. */
#if defined(__x86_64__)
#pragma GCC target("avx2")
#define BVH_KERNELS bvh_kernels_avx2
#define BVH_KERNELS_NAME "avx2"
#include "bvh/bvh_loops.h"
#endif
