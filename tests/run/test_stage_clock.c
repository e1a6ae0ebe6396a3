/* test_stage_clock.c
 *   stages_*  whose time it is, and who hears of it
 *   memory_*  the most that was held */
#include "run/stage_clock.h"

#include "base/arena.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

static double now(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

/* At least a millisecond by the clock that the stages are timed with. */
static void spend_time(void)
{
    for (double begun = now(); now() < begun + 0.001;)
        ;
}

static bool remember(void *context, const char *stage, double fraction)
{
    snprintf(context, 64, "%s %.2f", stage, fraction);
    return strcmp(stage, "hausdorff") != 0;
}

Test(stage_clock, stages_get_the_time_between_their_names)
{
    char heard[64] = "";
    struct progress listener = {remember, heard};
    struct run_timings timings;
    struct stage_clock clock;
    struct error err = {0};

    stage_clock_start(&clock, &timings, &listener);
    cr_expect(stage_clock_enter(&clock, "read", &err));
    cr_expect_str_eq(heard, "read 0.00");
    spend_time();
    cr_expect(progress_tell(&clock.progress, "index", 0.25));
    cr_expect_str_eq(heard, "index 0.25");
    spend_time();
    cr_expect(progress_tell(&clock.progress, "a stage of another name", 0.5));
    spend_time();
    cr_expect_not(stage_clock_enter(&clock, "hausdorff", &err));
    cr_expect_eq((int)err.code, (int)ERROR_CANCELLED);
    stage_clock_stop(&clock);

    cr_expect_gt(timings.read, 0.0009);
    cr_expect_gt(timings.index, 0.0018);
    cr_expect_geq(timings.hausdorff, 0.0);
    cr_expect_eq(timings.topology, 0.0);
    cr_expect_geq(timings.total, timings.read + timings.index + timings.hausdorff);
    cr_expect_gt(timings.peak_anonymous_mib, 0.0);
}

Test(stage_clock, memory_given_back_within_a_stage_counts_when_it_was_looked_at)
{
    enum { BYTES = 64 << 20 };
    struct run_timings timings;
    struct stage_clock clock;
    struct arena arena, scratch;
    struct error err = {0};

    cr_assert(arena_open(&arena, BYTES, &err));
    stage_clock_start(&clock, &timings, NULL);
    cr_expect(stage_clock_enter(&clock, "topology", &err));
    scratch = arena;
    memset(ARENA_NEW(&scratch, char, BYTES / 2), 1, BYTES / 2);
    stage_clock_look(&clock);
    arena_release(&arena);
    stage_clock_stop(&clock);
    cr_expect_geq(timings.peak_anonymous_mib, 32.0);
    cr_expect_geq(timings.peak_rss_mib, timings.peak_anonymous_mib);
    arena_close(&arena);
}
