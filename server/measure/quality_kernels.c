/* quality_kernels.c - which inner loops this machine can run. */
#include "measure/quality_kernels.h"

#include "base/vector_paths.h"

static const struct quality_kernels *const paths[] = {
    &quality_kernels_plain,
#if defined(__x86_64__)
    &quality_kernels_avx2,
    &quality_kernels_avx512,
#endif
};

const struct quality_kernels *quality_kernels_at(size_t i)
{
    return i < vector_path_count() ? paths[i] : NULL;
}

const struct quality_kernels *quality_kernels_best(void)
{
    return paths[vector_path_count() - 1];
}
