/* quality_kernels_avx2.c - the inner loops for x86-64 with AVX2; empty elsewhere. */
#if defined(__x86_64__)
#pragma GCC target("avx2")
#define QUALITY_KERNELS quality_kernels_avx2
#define QUALITY_KERNELS_NAME "avx2"
#include "measure/quality_loops.h"
#endif
