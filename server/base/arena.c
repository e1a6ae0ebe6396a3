/* arena.c - bump allocation in one reserved mapping. Debug builds poison what is not handed out. */
#include "base/arena.h"

#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#if defined(__SANITIZE_ADDRESS__)
#include <sanitizer/asan_interface.h>
#define POISON(p, n) ASAN_POISON_MEMORY_REGION((p), (n))
#define UNPOISON(p, n) ASAN_UNPOISON_MEMORY_REGION((p), (n))
enum { GAP = 32 };
#else
#define POISON(p, n) ((void)(p), (void)(n))
#define UNPOISON(p, n) ((void)(p), (void)(n))
enum { GAP = 0 };
#endif

enum { HUGE_FROM = 64 << 20 };

bool arena_open(struct arena *arena, size_t bytes, struct error *err)
{
    size_t page = (size_t)sysconf(_SC_PAGESIZE);
    size_t size = bytes < page ? page : bytes / page * page;
    void *map = mmap(NULL, size, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);

    memset(arena, 0, sizeof *arena);
    if (map == MAP_FAILED)
        return error_set(err, ERROR_MACHINE,
                         "the machine refuses %zu MiB of memory; close other programs or raise the limit",
                         size >> 20);
    /* pages of 2 MiB where the system grants them: a big mesh then costs few faults; a refusal is no harm */
    if (size >= HUGE_FROM)
        madvise(map, size, MADV_HUGEPAGE);
    arena->base = arena->begin = map;
    arena->end = arena->begin + size;
    POISON(arena->base, size);
    return true;
}

void arena_close(struct arena *arena)
{
    if (arena->base) {
        UNPOISON(arena->base, (size_t)(arena->end - arena->base));
        munmap(arena->base, (size_t)(arena->end - arena->base));
    }
    memset(arena, 0, sizeof *arena);
}

void *arena_alloc(struct arena *arena, size_t count, size_t size, size_t align)
{
    size_t bytes;
    uintptr_t at = ((uintptr_t)arena->begin + GAP + align - 1) & ~(uintptr_t)(align - 1);
    if (__builtin_mul_overflow(count, size, &bytes) || at > (uintptr_t)arena->end
        || bytes > (uintptr_t)arena->end - at) {
        arena->failed = true;
        return NULL;
    }
    unsigned char *start = arena->begin + (at - (uintptr_t)arena->begin);
    arena->begin = start + bytes;
    UNPOISON(start, bytes);
    return start;
}

void *arena_calloc(struct arena *arena, size_t count, size_t size, size_t align)
{
    void *start = arena_alloc(arena, count, size, align);
    if (start)
        memset(start, 0, count * size);
    return start;
}

char *arena_text(struct arena *arena, const char *text)
{
    size_t size = strlen(text) + 1;
    char *copy = ARENA_NEW(arena, char, size);
    if (copy)
        memcpy(copy, text, size);
    return copy;
}

void arena_trim(struct arena *arena, void *last, size_t count, size_t size)
{
    unsigned char *end = (unsigned char *)last + count * size;
    POISON(end, (size_t)(arena->begin - end));
    arena->begin = end;
}

void arena_forget(void *allocation, size_t bytes)
{
    size_t page = (size_t)sysconf(_SC_PAGESIZE);
    unsigned char *start = allocation;
    uintptr_t begin = ((uintptr_t)start + page - 1) / page * page,
              end = ((uintptr_t)start + bytes) / page * page;

    if (begin < end)
        madvise(start + (begin - (uintptr_t)start), end - begin, MADV_DONTNEED);
}

void arena_release(struct arena *arena)
{
    arena_forget(arena->begin, arena_left(arena));
}

size_t arena_left(const struct arena *arena)
{
    return (size_t)(arena->end - arena->begin);
}

bool arena_split(struct arena *arena, size_t bytes, struct arena *part)
{
    unsigned char *start = arena_alloc(arena, bytes, 1, 64);
    memset(part, 0, sizeof *part);
    if (!start)
        return false;
    part->begin = start;
    part->end = start + bytes;
    POISON(start, bytes);
    return true;
}

bool arena_error(struct error *err)
{
    return error_set(
        err, ERROR_LIMIT,
        "the mesh needs more memory than a run may use; raise the memory limit or measure a smaller mesh");
}
