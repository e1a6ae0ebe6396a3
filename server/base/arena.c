/* arena.c - bump allocation in one reserved mapping. Debug builds poison what comes next. */
#include "base/arena.h"

#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#if defined(__SANITIZE_ADDRESS__)
#include <sanitizer/asan_interface.h>
enum { GAP = 32, GUARD = 1 << 18 };

static void unpoison(void *begin, size_t bytes)
{
    __asan_unpoison_memory_region(begin, bytes);
}

/* So far and no farther: to poison all of an arena, an eighth as many bytes are touched. */
static void guard(const struct arena *arena)
{
    size_t left = arena_left(arena);

    __asan_poison_memory_region(arena->begin, left < GUARD ? left : GUARD);
}

/* Nothing of a mapping is poisoned any more: its shadow is given back, and reads as zero. */
static void forget_guards(unsigned char *map, size_t size)
{
    size_t page = (size_t)sysconf(_SC_PAGESIZE), scale, offset;

    __asan_get_shadow_mapping(&scale, &offset);
    uintptr_t begin = ((uintptr_t)map >> scale) + offset, end = begin + (size >> scale),
              first = (begin + page - 1) / page * page, last = end / page * page;
    if (first >= last) {
        unpoison(map, size);
        return;
    }
    unpoison(map, (first - begin) << scale);
    unpoison(map + ((last - begin) << scale), (end - last) << scale);
    madvise((void *)first, last - first, MADV_DONTNEED);
}
#else
enum { GAP = 0 };

static void unpoison(void *begin, size_t bytes)
{
    (void)begin;
    (void)bytes;
}

static void guard(const struct arena *arena)
{
    (void)arena;
}

static void forget_guards(unsigned char *map, size_t size)
{
    (void)map;
    (void)size;
}
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
    guard(arena);
    return true;
}

void arena_close(struct arena *arena)
{
    if (arena->base) {
        forget_guards(arena->base, (size_t)(arena->end - arena->base));
        munmap(arena->base, (size_t)(arena->end - arena->base));
    }
    memset(arena, 0, sizeof *arena);
}

static unsigned char *take(struct arena *arena, size_t count, size_t size, size_t align)
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
    guard(arena);
    return start;
}

void *arena_alloc(struct arena *arena, size_t count, size_t size, size_t align)
{
    unsigned char *start = take(arena, count, size, align);

    if (start)
        unpoison(start, count * size);
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
    arena->begin = end;
    guard(arena);
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
    unsigned char *start = take(arena, bytes, 1, 64);
    memset(part, 0, sizeof *part);
    if (!start)
        return false;
    part->begin = start;
    part->end = start + bytes;
    guard(part);
    return true;
}

bool arena_error(struct error *err)
{
    return error_set(
        err, ERROR_LIMIT,
        "the mesh needs more memory than a run may use; raise the memory limit or measure a smaller mesh");
}
