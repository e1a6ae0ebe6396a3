/* test_concurrency.c - many threads on one store: nothing lost, nothing twice, no thread stuck.
 *   threads_* */
#include "store/folder.h"
#include "store/inside.h"

#include <criterion/criterion.h>
#include <math.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>

enum { THREADS = 6, ROUNDS = 8 };

static struct folder folder;
static atomic_int failures, heard;

static void begin(void)
{
    folder_begin(&folder);
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(concurrency, .init = begin, .fini = end, .timeout = 120);

static void hear(void *context, const struct store_change *change)
{
    struct arena arena;
    struct store_specimen specimen;
    struct error err = {0};
    (void)context;
    heard++;
    /* a listener may read */
    if (!arena_open(&arena, 1 << 20, &err)
        || !store_specimen_get(folder.store, change->specimen, &arena, &specimen, &err))
        failures++;
    arena_close(&arena);
}

/* Every thread uploads bytes of its own and bytes that all share, claims jobs and reads lists. */
static void *work(void *context)
{
    size_t thread = (size_t)context;
    struct folder own = folder; /* the store is shared, arena and error are the thread's */
    struct error err = {0};
    if (!arena_open(&own.arena, (size_t)8 << 20, &err))
        failures++;
    for (int round = 0; round < ROUNDS; round++) {
        struct arena scratch = own.arena;
        char bytes[64];
        struct store_specimen_page page;
        struct store_claim claim;
        bool created, claimed = false;
        int64_t id;
        const struct store_version_new wanted = {.specimen = 1, .kind = "scan", .file_name = "a.obj"};
        snprintf(bytes, sizeof bytes, "thread %zu round %d", thread, round);
        if (!try_version(&own, &wanted, bytes, &id, &created) || !created)
            failures++;
        snprintf(bytes, sizeof bytes, "shared %d", round);
        if (!try_version(&own, &wanted, bytes, &id, &created))
            failures++;
        const struct store_specimen_query query = {.limit = 10};
        if (!store_specimen_list(own.store, &query, &scratch, &page, &err))
            failures++;
        if (!store_job_peek(own.store, &scratch, &claim, &err))
            failures++;
        if (claim.job && !store_job_claim(own.store, &claim, &claimed, &err))
            failures++;
        if (claimed) {
            store_job_progress(own.store, claim.job, "read", 0.5);
            const struct store_run_new run = {.record = "{}",
                                              .record_bytes = 2,
                                              .engine_version = "1",
                                              .engine_commit = "c",
                                              .subject_format = "obj"};
            if (!store_job_done(own.store, claim.job, &run, &id, &err))
                failures++;
        }
    }
    arena_close(&own.arena);
    return NULL;
}

Test(concurrency, threads_lose_nothing_and_do_nothing_twice)
{
    pthread_t threads[THREADS];
    int64_t twice;
    add_specimen(&folder, "A-1");
    cr_assert(store_listen(folder.store, hear, NULL, &folder.err));

    for (size_t i = 0; i < THREADS; i++)
        cr_assert_eq(pthread_create(&threads[i], NULL, work, (void *)i), 0);
    for (size_t i = 0; i < THREADS; i++)
        pthread_join(threads[i], NULL);

    cr_expect_eq(failures, 0);
    cr_expect_gt(heard, 0);
    cr_expect_eq(specimen_of(&folder, 1).scan_count, THREADS * ROUNDS + ROUNDS, "shared bytes once");
    cr_assert(
        connection_number(&folder.store->writer,
                          "SELECT count(*) FROM (SELECT 1 FROM run GROUP BY version HAVING count(*) > 1)",
                          &twice, &folder.err));
    cr_expect_eq(twice, 0);
    cr_expect_eq(verify_folder(&folder).figures.findings, 0);
}
