/* overlay_kernels_avx2.c - the inner loops for x86-64 with AVX2; empty elsewhere. */
#if defined(__x86_64__)
#pragma GCC target("avx2")
#define OVERLAY_KERNELS overlay_kernels_avx2
#define OVERLAY_KERNELS_NAME "avx2"
#include "measure/overlay_loops.h"
#endif
