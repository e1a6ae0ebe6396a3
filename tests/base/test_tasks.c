/* test_tasks.c
 *   each_*      every chunk is run once, whoever asks and however many ask
 *   together_*  several threads are at work, and no more than asked for
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <pthread.h>
#include <stdatomic.h>
#include <string.h>
#include <time.h>

#include "base/tasks.h"

#define MOST 200

struct counts {
    atomic_uint runs[MOST];
    size_t inner; /* chunks of a loop that each chunk runs, or 0 */
    atomic_size_t inner_runs;
};

static void run_inner(void *context, size_t chunk)
{
    struct counts *counts = context;

    (void)chunk;
    atomic_fetch_add(&counts->inner_runs, 1);
}

static void run_once(void *context, size_t chunk)
{
    struct counts *counts = context;

    atomic_fetch_add(&counts->runs[chunk], 1);
    if (counts->inner > 0)
        tasks_run(3, counts->inner, run_inner, counts);
}

static size_t wrong_of(const struct counts *counts, size_t count)
{
    size_t wrong = 0;

    for (size_t chunk = 0; chunk < MOST; chunk++)
        wrong += atomic_load(&counts->runs[chunk]) != (chunk < count);
    return wrong;
}

Test(tasks, each_chunk_is_run_once_for_any_number_of_threads, .timeout = 300)
{
    for (size_t round = 0; round < 50; round++)
        for (size_t threads = 0; threads <= 80; threads = 2 * threads + 1)
            for (size_t count = 0; count < MOST; count = 3 * count + 1) {
                struct counts counts;
                memset(&counts, 0, sizeof counts);
                tasks_run(threads, count, run_once, &counts);
                cr_assert(eq(sz, wrong_of(&counts, count), 0), "%zu threads, %zu chunks", threads, count);
            }
}

Test(tasks, each_chunk_may_run_a_loop_of_its_own, .timeout = 300)
{
    for (size_t round = 0; round < 50; round++) {
        struct counts counts;
        memset(&counts, 0, sizeof counts);
        counts.inner = 7;
        tasks_run(4, 30, run_once, &counts);
        cr_assert(eq(sz, wrong_of(&counts, 30), 0));
        cr_assert(eq(sz, atomic_load(&counts.inner_runs), 30 * 7));
    }
}

static void *ask_often(void *wrong)
{
    for (size_t round = 0; round < 300; round++) {
        struct counts counts;
        memset(&counts, 0, sizeof counts);
        counts.inner = round % 3;
        tasks_run(1 + round % 4, 20, run_once, &counts);
        *(size_t *)wrong += wrong_of(&counts, 20) + (atomic_load(&counts.inner_runs) != 20 * counts.inner);
    }
    return NULL;
}

Test(tasks, each_caller_of_several_gets_its_own, .timeout = 300)
{
    pthread_t callers[6];
    size_t wrong[6] = {0};

    for (size_t i = 0; i < 6; i++)
        cr_assert(eq(int, pthread_create(&callers[i], NULL, ask_often, &wrong[i]), 0));
    for (size_t i = 0; i < 6; i++) {
        pthread_join(callers[i], NULL);
        cr_expect(eq(sz, wrong[i], 0));
    }
}

/* Each waits until the other has come: alone, a thread would wait for ever. */
static void meet(void *context, size_t chunk)
{
    atomic_uint *come = context;
    const struct timespec shortly = {0, 100000};

    (void)chunk;
    atomic_fetch_add(come, 1);
    while (atomic_load(come) < 2)
        nanosleep(&shortly, NULL);
}

Test(tasks, together_two_chunks_are_run_also_after_a_rest, .timeout = 300)
{
    const struct timespec rest = {0, 20000000}; /* threads are asleep after it */

    for (size_t round = 0; round < 10; round++) {
        atomic_uint come = 0;
        tasks_run(2, 2, meet, &come);
        cr_expect(eq(int, (int)atomic_load(&come), 2));
        if (round % 2)
            nanosleep(&rest, NULL);
    }
}

/* Two threads have a chunk each; that of the caller, or the other, runs a loop that two must come to, and the
 * thread that is free has to be one of them. */
struct halves {
    pthread_t caller;
    bool by_caller;
    atomic_uint begun, come;
};

static void run_half(void *context, size_t chunk)
{
    struct halves *halves = context;

    meet(&halves->begun, chunk);
    if ((pthread_equal(pthread_self(), halves->caller) != 0) == halves->by_caller)
        tasks_run(2, 2, meet, &halves->come);
}

Test(tasks, together_who_is_free_comes_to_the_loop_of_a_chunk, .timeout = 300)
{
    for (size_t round = 0; round < 100; round++) {
        struct halves halves = {pthread_self(), round % 2, 0, 0};
        tasks_run(2, 2, run_half, &halves);
        cr_expect(eq(int, (int)atomic_load(&halves.come), 2));
    }
}

struct presence {
    atomic_int now, most;
};

static void be_present(void *context, size_t chunk)
{
    struct presence *presence = context;
    int now = atomic_fetch_add(&presence->now, 1) + 1, most = atomic_load(&presence->most);
    const struct timespec shortly = {0, 20000};

    (void)chunk;
    while (now > most && !atomic_compare_exchange_weak(&presence->most, &most, now))
        continue;
    nanosleep(&shortly, NULL);
    atomic_fetch_sub(&presence->now, 1);
}

static void run_present(void *context, size_t chunk)
{
    (void)chunk;
    tasks_run(8, 20, be_present, context);
}

Test(tasks, together_loops_of_chunks_make_no_thread, .timeout = 300)
{
    struct presence presence = {0, 0};

    for (size_t round = 0; round < 20; round++)
        tasks_run(2, 2, run_present, &presence);
    cr_expect(eq(int, (int)atomic_load(&presence.now), 0));
    cr_expect(eq(int, (int)atomic_load(&presence.most), 2));
}
