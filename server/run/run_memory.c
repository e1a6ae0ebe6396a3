/* run_memory.c - sizes of the arenas of a run. */
#include "run/run_memory.h"

#include "run/own_status.h"

#include <sys/resource.h>

#define MIB ((size_t)1 << 20)

static size_t at_most(size_t a, size_t b)
{
    return a < b ? a : b;
}

static size_t product(size_t a, size_t b)
{
    size_t result;
    return __builtin_mul_overflow(a, b, &result) ? SIZE_MAX / 4 : at_most(result, SIZE_MAX / 4);
}

/* A binary PLY has some 20 bytes a triangle and a measurement reserves some 500, of which it touches a part;
 * text and STL have more bytes for the same mesh. A compressed file may be 200 times smaller than what it
 * holds: that is granted up to 3 GiB. */
static size_t default_bytes(size_t file_bytes)
{
    return 2048 * MIB + at_most(product(file_bytes, 4096), 3072 * MIB) + product(file_bytes, 28);
}

/* What RLIMIT_AS still allows, after the mapped files and, for each thread, a stack and the heap that malloc
 * reserves for it (8 and 64 MiB by default). */
static size_t address_space_left(size_t file_bytes, size_t threads)
{
    struct rlimit limit;
    if (getrlimit(RLIMIT_AS, &limit) != 0 || limit.rlim_cur == RLIM_INFINITY)
        return SIZE_MAX;
    size_t used = own_status_read().address_space_bytes + file_bytes;
    size_t left = limit.rlim_cur > used ? (size_t)limit.rlim_cur - used : 0;
    return left - at_most(left / 4, 64 * MIB + product(threads, 72 * MIB));
}

bool run_memory_open(size_t limit_bytes, size_t file_bytes, size_t threads, struct arena *keep,
                     struct arena *scratch, struct error *err)
{
    size_t wanted = limit_bytes ? limit_bytes : default_bytes(file_bytes);
    size_t half = at_most(wanted, address_space_left(file_bytes, threads)) / 2;

    for (;; half /= 2) {
        bool last = half <= 64 * MIB;
        if (arena_open(keep, half, err)) {
            if (arena_open(scratch, half, err))
                return true;
            arena_close(keep);
        }
        if (last)
            return false;
    }
}
