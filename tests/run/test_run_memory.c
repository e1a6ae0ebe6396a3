/* test_run_memory.c
 *   arenas_*  sizes, and that the two do not overlap
 *   limits_*  RLIMIT_AS */
#include "run/run_memory.h"

#include <criterion/criterion.h>
#include <sys/resource.h>

Test(run_memory, arenas_share_what_was_asked_for_and_lie_apart)
{
    struct arena keep, scratch;
    struct error err;

    cr_assert(run_memory_open((size_t)8 << 20, 1000, 1, &keep, &scratch, &err));
    cr_expect_eq(arena_left(&keep), (size_t)4 << 20);
    cr_expect_eq(arena_left(&scratch), (size_t)4 << 20);
    cr_expect(keep.end <= scratch.base || scratch.end <= keep.base);
    arena_close(&scratch);
    arena_close(&keep);
}

/* A small file that inflates 200 times: 100 kB of it hold a million triangles of 20 bytes, which take some
 * 500 bytes each while they are measured. */
Test(run_memory, arenas_leave_room_for_a_small_compressed_file)
{
    struct arena keep, scratch;
    struct error err;

    cr_assert(run_memory_open(0, 100000, 1, &keep, &scratch, &err));
    cr_expect_geq(arena_left(&keep) + arena_left(&scratch), (size_t)500 * 1000 * 1000);
    arena_close(&scratch);
    arena_close(&keep);
}

#if !defined(__SANITIZE_ADDRESS__)
Test(run_memory, limits_of_address_space_make_smaller_arenas)
{
    struct rlimit limit = {(rlim_t)1 << 30, (rlim_t)1 << 30};
    struct arena keep, scratch;
    struct error err;

    cr_assert_eq(setrlimit(RLIMIT_AS, &limit), 0);
    cr_assert(run_memory_open(0, (size_t)100 << 20, 2, &keep, &scratch, &err));
    cr_expect_gt(arena_left(&keep), (size_t)200 << 20);
    cr_expect_lt(arena_left(&keep), (size_t)512 << 20);
    arena_close(&scratch);
    arena_close(&keep);
}
#endif
