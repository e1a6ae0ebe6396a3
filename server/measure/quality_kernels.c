/* quality_kernels.c - which inner loops this machine can run. */
#include "measure/quality_kernels.h"

const struct quality_kernels *quality_kernels_at(size_t i)
{
    const struct quality_kernels *paths[4] = {&quality_kernels_plain};

#if defined(__x86_64__)
    size_t count = 1;
    if (__builtin_cpu_supports("avx2"))
        paths[count++] = &quality_kernels_avx2;
    if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl")
        && __builtin_cpu_supports("avx512dq"))
        paths[count] = &quality_kernels_avx512;
#endif
    return paths[i < 3 ? i : 3];
}

const struct quality_kernels *quality_kernels_best(void)
{
    size_t i = 0;

    while (quality_kernels_at(i + 1))
        i++;
    return quality_kernels_at(i);
}
