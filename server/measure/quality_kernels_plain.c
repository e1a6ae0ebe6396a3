/* quality_kernels_plain.c - the inner loops with what every machine has: SSE2 on x86-64, NEON on arm64. */
#define QUALITY_KERNELS quality_kernels_plain
#define QUALITY_KERNELS_NAME "plain"
#include "measure/quality_loops.h"
