/* overlay_kernels.c - which inner loops this machine can run. */
#include "measure/overlay_kernels.h"

const struct overlay_kernels *overlay_kernels_at(size_t i)
{
    const struct overlay_kernels *paths[4] = {&overlay_kernels_plain};

#if defined(__x86_64__)
    size_t count = 1;
    if (__builtin_cpu_supports("avx2"))
        paths[count++] = &overlay_kernels_avx2;
    if (__builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl")
        && __builtin_cpu_supports("avx512dq"))
        paths[count] = &overlay_kernels_avx512;
#endif
    return paths[i < 3 ? i : 3];
}

const struct overlay_kernels *overlay_kernels_best(void)
{
    size_t i = 0;

    while (overlay_kernels_at(i + 1))
        i++;
    return overlay_kernels_at(i);
}
