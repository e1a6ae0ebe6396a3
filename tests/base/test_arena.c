/* test_arena.c
 *   alloc_*  alignment, bounds and overflow of one allocation
 *   copy_*   a scratch arena is a copy
 *   split_*  a part for another thread
 *   release_* pages given back
 *   guard_*  what is not handed out is poisoned, under the address sanitizer
 */
#include "base/arena.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>
#include <unistd.h>
#if defined(__SANITIZE_ADDRESS__)
#include <sanitizer/asan_interface.h>
#endif

static struct arena opened(size_t bytes)
{
    struct arena arena;
    struct error err;
    cr_assert(arena_open(&arena, bytes, &err));
    return arena;
}

Test(arena, alloc_is_aligned_and_disjoint)
{
    struct arena arena = opened(1 << 16);
    char *one = ARENA_NEW(&arena, char, 3);
    double *two = ARENA_NEW(&arena, double, 4);
    uint64_t *three = arena_alloc(&arena, 2, 8, 64);
    cr_expect(eq(int, (int)((uintptr_t)two % _Alignof(double)), 0));
    cr_expect(eq(int, (int)((uintptr_t)three % 64), 0));
    cr_expect(ge(ptr, (char *)two, one + 3));
    cr_expect(ge(ptr, (char *)three, (char *)(two + 4)));
    arena_close(&arena);
}

Test(arena, alloc_beyond_the_end_is_null_and_remembered)
{
    struct arena arena = opened(4096);
    cr_expect(eq(ptr, ARENA_NEW(&arena, double, 4096), NULL));
    cr_expect(arena.failed);
    cr_expect(ne(ptr, ARENA_NEW(&arena, char, 16), NULL));
    arena_close(&arena);
}

Test(arena, alloc_whose_product_wraps_is_null)
{
    struct arena arena = opened(4096);
    cr_expect(eq(ptr, arena_alloc(&arena, SIZE_MAX / 2, 4, 8), NULL));
    arena_close(&arena);
}

Test(arena, alloc_trimmed_gives_its_tail_back)
{
    struct arena arena = opened(8192);
    size_t before = arena_left(&arena);
    char *text = ARENA_NEW(&arena, char, 4000);
    arena_trim(&arena, text, 10, 1);
    cr_expect(lt(sz, before - arena_left(&arena), 100));
    memset(text, 1, 10);
    arena_close(&arena);
}

static void take_from(struct arena scratch)
{
    char *taken = ARENA_NEW(&scratch, char, 1000);
    cr_assert(ne(ptr, taken, NULL));
    memset(taken, 7, 1000);
}

Test(arena, copy_leaves_the_original_where_it_was)
{
    struct arena arena = opened(8192);
    size_t before = arena_left(&arena);
    take_from(arena);
    cr_expect(eq(sz, arena_left(&arena), before));
    cr_expect(eq(int, ARENA_ZERO(&arena, int, 1)[0], 0));
    arena_close(&arena);
}

Test(arena, split_part_is_bounded)
{
    struct arena arena = opened(8192), part;
    cr_assert(arena_split(&arena, 1024, &part));
    cr_expect(ne(ptr, arena_alloc(&part, 900, 1, 1), NULL));
    cr_expect(eq(ptr, arena_alloc(&part, 900, 1, 1), NULL));
    cr_expect(not(arena_split(&arena, 1 << 20, &part)));
    arena_close(&arena);
}

Test(arena, release_clears_what_is_free_and_nothing_else)
{
    enum { BYTES = 1 << 20 };
    struct arena arena = opened(4 * BYTES), scratch;
    char *kept = ARENA_NEW(&arena, char, 5000);
    memset(kept, 7, 5000);
    scratch = arena;
    memset(ARENA_NEW(&scratch, char, BYTES), 9, BYTES);
    arena_release(&arena);
    size_t page = (size_t)sysconf(_SC_PAGESIZE), lost = 0, left = 0;
    for (size_t i = 0; i < 5000; i++)
        lost += kept[i] != 7;
    const char *again = ARENA_NEW(&arena, char, BYTES);
    for (size_t i = page; i < BYTES; i++) /* what shares a page with what is kept may stay */
        left += again[i] != 0;
    cr_expect(eq(sz, lost, 0));
    cr_expect(eq(sz, left, 0));
    arena_close(&arena);
}

#if defined(__SANITIZE_ADDRESS__)
static bool is_poisoned(const char *at)
{
    return __asan_address_is_poisoned(at);
}

Test(arena, guard_is_before_and_after_what_was_handed_out)
{
    struct arena arena = opened(1 << 24), part;
    char *one = ARENA_NEW(&arena, char, 100), *two = ARENA_NEW(&arena, char, 1 << 20);

    cr_expect(is_poisoned(one - 1));
    cr_expect(not(is_poisoned(one)));
    cr_expect(not(is_poisoned(one + 99)));
    cr_expect(is_poisoned(one + 104));
    cr_expect(is_poisoned(two - 8)); /* a granule is poisoned from some byte on, not up to one */
    cr_expect(not(is_poisoned(two + (1 << 20) - 1)));
    cr_expect(is_poisoned(two + (1 << 20)));
    arena_trim(&arena, two, 64, 1);
    cr_expect(is_poisoned(two + 64));
    cr_assert(arena_split(&arena, 1 << 20, &part));
    cr_expect(is_poisoned((char *)part.begin));
    char *three = ARENA_NEW(&part, char, 8);
    cr_expect(not(is_poisoned(three)));
    cr_expect(is_poisoned(three + 8));
    arena_close(&arena);
}

/* A copy hands out again what another had: the end of the new one is guarded. */
Test(arena, guard_is_set_anew_where_a_copy_begins_again)
{
    struct arena arena = opened(1 << 20), copy = arena;
    memset(ARENA_NEW(&copy, char, 1000), 1, 1000);
    copy = arena;
    char *again = ARENA_NEW(&copy, char, 16);
    cr_expect(not(is_poisoned(again + 15)));
    cr_expect(is_poisoned(again + 16));
    arena_close(&arena);
}

Test(arena, guard_is_gone_with_the_mapping)
{
    const size_t sizes[] = {4096, 1 << 16, 1 << 20, (1 << 26) + 4096 * 3};

    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        struct arena arena = opened(sizes[i]);
        unsigned char *base = arena.base;
        size_t size = (size_t)(arena.end - arena.base);
        ARENA_NEW(&arena, char, 100);
        arena_close(&arena);
        cr_expect(eq(ptr, __asan_region_is_poisoned(base, size), NULL), "%zu", sizes[i]);
    }
}
#endif
