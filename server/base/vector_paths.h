/* vector_paths.h - the kinds of vector unit that inner loops are compiled for, plainest first: what every
 * machine has, and on x86-64 AVX2 and AVX-512. */
#ifndef BASE_VECTOR_PATHS_H
#define BASE_VECTOR_PATHS_H

#include <stddef.h>

/* How many of them this machine can run: 1 to 3. */
static inline size_t vector_path_count(void)
{
#if defined(__x86_64__)
    if (!__builtin_cpu_supports("avx2"))
        return 1;
    return __builtin_cpu_supports("avx512f") && __builtin_cpu_supports("avx512vl")
                   && __builtin_cpu_supports("avx512dq")
               ? 3
               : 2;
#else
    return 1;
#endif
}

#endif
