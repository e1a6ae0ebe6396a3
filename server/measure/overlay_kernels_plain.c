/* overlay_kernels_plain.c - the inner loops with what every machine has: SSE2 on x86-64, NEON on arm64. */
#define OVERLAY_KERNELS overlay_kernels_plain
#define OVERLAY_KERNELS_NAME "plain"
#include "measure/overlay_loops.h"
