/* overlay_kernels_avx512.c - the inner loops for x86-64 with AVX-512; empty elsewhere. */
#if defined(__x86_64__)
#pragma GCC target("avx2,avx512f,avx512vl,avx512dq,prefer-vector-width=512")
#define OVERLAY_PACKS
#include <immintrin.h>
#define OVERLAY_KERNELS overlay_kernels_avx512
#define OVERLAY_KERNELS_NAME "avx512"
#include "measure/overlay_loops.h"
#endif
