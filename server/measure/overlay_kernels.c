/* overlay_kernels.c - which inner loops this machine can run. */
#include "measure/overlay_kernels.h"

#include "base/vector_paths.h"

static const struct overlay_kernels *const paths[] = {
    &overlay_kernels_plain,
#if defined(__x86_64__)
    &overlay_kernels_avx2,
    &overlay_kernels_avx512,
#endif
};

const struct overlay_kernels *overlay_kernels_at(size_t i)
{
    return i < vector_path_count() ? paths[i] : NULL;
}

const struct overlay_kernels *overlay_kernels_best(void)
{
    return paths[vector_path_count() - 1];
}
