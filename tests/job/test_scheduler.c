/* test_scheduler.c - real workers: the test program starts itself (worker_entry.c).
 *   measured_*  a job becomes a run with record, numbers and fields
 *   refused_*   a file that is no mesh, a blob that rotted or is gone
 *   death_*     every way a worker can die becomes its reason, twice tried; others are not affected
 *   time_*      processor time and wall clock
 *   cancel_*    willing and unwilling workers
 *   stop_*      a server that stops, or died
 *   sandbox_*   the probe, and that files, sockets and processes are out of reach */
#include "job/reason.h"
#include "job/scheduler.h"
#include "store/folder.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static struct folder folder;
static struct scheduler *scheduler;
static int64_t specimen;

static const char cube[] = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv 0 0 1\nv 1 0 1\nv 1 1 1\nv 0 1 1\n"
                           "f 4 3 2 1\nf 5 6 7 8\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\n";
static const char open_cube[] = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv 0 0 1\nv 1 0 1\nv 1 1 1\nv 0 1 1\n"
                                "f 4 3 2 1\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\n";

static void start_scheduler(struct scheduler_options options)
{
    if (!options.workers)
        options.workers = 2;
    options.cores = 2;
    cr_assert(scheduler_start(folder.store, &options, &scheduler, &folder.err), "%s", folder.err.text);
}

static void begin(void)
{
    folder_begin(&folder);
    specimen = add_specimen(&folder, "A-1");
}
static void end(void)
{
    unsetenv("FETTLE_TEST_WORKER");
    scheduler_stop(scheduler);
    folder_end(&folder);
}
TestSuite(scheduler, .init = begin, .fini = end, .timeout = 120);

static int64_t newest_job(int64_t version)
{
    return version_of(&folder, version).jobs[0];
}

static int64_t add_named(const char *kind, const char *name, int64_t made_from, const char *bytes)
{
    const struct store_version_new wanted = {.specimen = specimen,
                                             .kind = kind,
                                             .made_from = made_from,
                                             .face_size = NAN,
                                             .face_size_share = NAN,
                                             .file_name = name};
    int64_t id;
    bool created;
    cr_assert(try_version(&folder, &wanted, bytes, &id, &created), "%s", folder.err.text);
    return id;
}

/* Waits until the job's state is one of those that begin with one of the letters. */
static struct store_job wait_for(int64_t job, const char *letters)
{
    const struct timespec pause = {.tv_nsec = 20000000};
    for (int i = 0; i < 5000; i++) {
        struct arena scratch = folder.arena;
        struct store_job found;
        cr_assert(store_job_get(folder.store, job, &scratch, &found, &folder.err));
        if (strchr(letters, found.state[0]))
            return job_of(&folder, job);
        nanosleep(&pause, NULL);
    }
    cr_assert(false, "the job did not come to its end");
    return job_of(&folder, job);
}
#define ENDED "dfc"

Test(scheduler, measured_alone_and_against_a_scan)
{
    const char *record;
    size_t bytes;
    struct store_run run;
    start_scheduler((struct scheduler_options){0});
    int64_t scan = add_named("scan", "cube.obj", 0, cube),
            cage = add_named("cage", "open.obj", scan, open_cube);

    struct store_job first = wait_for(newest_job(scan), ENDED), second = wait_for(newest_job(cage), ENDED);

    cr_assert_str_eq(first.state, "done", "%s", first.has_reason ? first.reason.text : "");
    cr_assert_str_eq(second.state, "done", "%s", second.has_reason ? second.reason.text : "");
    cr_expect_eq(first.attempt, 1);
    cr_assert(store_run_get(folder.store, second.run, &folder.arena, &run, &folder.err));
    cr_expect_eq(run.open_edges, 4, "a cube without its lid");
    /* the middle of the lid is half an edge away from the rim: exactly 0.5, certified from above */
    cr_expect(run.lost >= 0.5 && run.lost < 0.501, "%g", run.lost);
    cr_expect(run.invented >= 0 && run.invented < 1e-3, "%g", run.invented);
    cr_expect_eq(run.against, scan);
    cr_expect_str_eq(version_of(&folder, cage).format, "obj");
    cr_expect_float_eq(specimen_of(&folder, specimen).scan_diagonal, sqrt(3), 1e-12);
    cr_assert(store_run_record(folder.store, second.run, &folder.arena, &record, &bytes, &folder.err));
    cr_expect_eq(strncmp(record, "{\"schema\":\"fettle/run/1\"", 24), 0);
    cr_expect(strstr(record, version_of(&folder, cage).sha256) != NULL);
    cr_expect_eq(record[bytes - 1], '\n');

    int fd;
    uint64_t field_bytes;
    bool per_face;
    cr_assert(
        store_run_field_open(folder.store, second.run, "distance", &fd, &field_bytes, &per_face, &folder.err),
        "%s", folder.err.text);
    cr_expect_eq(field_bytes, 8 * (per_face ? 5u : 8u));
    close(fd);
    cr_expect_eq(verify_folder(&folder).figures.findings, 0);
}

Test(scheduler, refused_file_fails_at_once_with_its_place)
{
    start_scheduler((struct scheduler_options){0});
    int64_t scan = add_named("scan", "bad.obj", 0, "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n");

    struct store_job job = wait_for(newest_job(scan), ENDED);

    cr_expect_str_eq(job.state, "failed");
    cr_expect_eq(job.attempt, 1, "a reject is final at once");
    cr_expect_str_eq(job.reason.code, "reject-data");
    cr_expect_str_eq(job.reason.format, "obj");
    cr_expect_eq(job.reason.line, 4);
}

Test(scheduler, refused_blob_that_rotted_is_no_parse_error)
{
    int64_t scan = add_named("scan", "cube.obj", 0, cube);
    flip_byte(blob_path_of(&folder, scan), 0); /* 'v' becomes 'w' */
    start_scheduler((struct scheduler_options){0});

    struct store_job job = wait_for(newest_job(scan), ENDED);

    cr_expect_str_eq(job.reason.code, "blob-corrupt");
    cr_expect_eq(job.attempt, 1);
}

Test(scheduler, refused_blob_that_rotted_but_still_parses)
{
    int64_t scan = add_named("scan", "cube.obj", 0, cube);
    flip_byte(blob_path_of(&folder, scan), 10); /* another coordinate */
    start_scheduler((struct scheduler_options){0});

    cr_expect_str_eq(wait_for(newest_job(scan), ENDED).reason.code, "blob-corrupt");
}

Test(scheduler, refused_blob_that_is_gone)
{
    int64_t scan = add_named("scan", "cube.obj", 0, cube);
    cr_assert_eq(unlink(blob_path_of(&folder, scan)), 0);
    start_scheduler((struct scheduler_options){0});

    cr_expect_str_eq(wait_for(newest_job(scan), ENDED).reason.code, "blob-corrupt");
}

Test(scheduler, death_in_every_way_becomes_its_reason)
{
    static const struct {
        const char *way, *code;
    } ways[] = {{"abort", "crashed"},     {"segv", "crashed"}, {"kill", "out-of-memory"},
                {"oom", "out-of-memory"}, {"open", "sandbox"}, {"socket", "sandbox"},
                {"fork", "sandbox"},      {"exec", "sandbox"}};
    start_scheduler((struct scheduler_options){0});
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++) {
        char hook[32], bytes[sizeof cube + 16];
        snprintf(hook, sizeof hook, "%s@bad", ways[i].way);
        setenv("FETTLE_TEST_WORKER", hook, 1);
        snprintf(bytes, sizeof bytes, "# %zu\n%s", i, cube);
        int64_t bad = add_named("scan", "bad.obj", 0, bytes);
        snprintf(bytes, sizeof bytes, "# +%zu\n%s", i, cube);
        int64_t good = add_named("scan", "good.obj", 0, bytes);

        struct store_job job = wait_for(newest_job(bad), ENDED);

        cr_expect_str_eq(job.state, "failed", "%s", ways[i].way);
        cr_expect_str_eq(job.reason.code, ways[i].code, "%s: %s", ways[i].way, job.reason.text);
        cr_expect_eq(job.attempt, 2, "%s", ways[i].way);
        cr_expect_str_eq(wait_for(newest_job(good), ENDED).state, "done", "beside %s", ways[i].way);
    }
}

Test(scheduler, time_on_the_processor_is_bounded)
{
    setenv("FETTLE_TEST_WORKER", "spin", 1);
    start_scheduler((struct scheduler_options){.cpu_seconds = 1});
    int64_t scan = add_named("scan", "cube.obj", 0, cube);

    cr_expect_str_eq(wait_for(newest_job(scan), ENDED).reason.code, "out-of-time");
}

Test(scheduler, time_on_the_wall_is_bounded)
{
    setenv("FETTLE_TEST_WORKER", "stuck", 1);
    start_scheduler((struct scheduler_options){.wall_seconds = 1});
    int64_t scan = add_named("scan", "cube.obj", 0, cube);

    cr_expect_str_eq(wait_for(newest_job(scan), ENDED).reason.code, "out-of-time");
}

Test(scheduler, cancel_ends_an_unwilling_worker_once)
{
    setenv("FETTLE_TEST_WORKER", "stuck", 1);
    start_scheduler((struct scheduler_options){0});
    int64_t scan = add_named("scan", "cube.obj", 0, cube);
    wait_for(newest_job(scan), "r");

    cr_assert(store_job_cancel(folder.store, newest_job(scan), &folder.err), "%s", folder.err.text);

    struct store_job job = wait_for(newest_job(scan), ENDED);
    cr_expect_str_eq(job.state, "cancelled");
    cr_expect_eq(job.attempt, 1);
}

Test(scheduler, stop_puts_running_jobs_back)
{
    setenv("FETTLE_TEST_WORKER", "spin", 1);
    start_scheduler((struct scheduler_options){0});
    int64_t scan = add_named("scan", "cube.obj", 0, cube), job = newest_job(scan);
    wait_for(job, "r");

    scheduler_stop(scheduler);
    scheduler = NULL;

    cr_expect_str_eq(job_of(&folder, job).state, "queued");
    cr_expect_eq(job_of(&folder, job).attempt, 0);
    cr_expect_neq(access(path_in(&folder, "jobs/1"), F_OK), 0, "its folder is gone");

    unsetenv("FETTLE_TEST_WORKER");
    start_scheduler((struct scheduler_options){0});
    cr_expect_str_eq(wait_for(job, ENDED).state, "done");
}

Test(scheduler, stop_by_death_is_mended_at_the_next_start)
{
    int64_t scan = add_named("scan", "cube.obj", 0, cube), job = claim_next_job(&folder);
    folder_reopen(&folder);

    start_scheduler((struct scheduler_options){0});

    struct store_job found = wait_for(job, ENDED);
    cr_expect_str_eq(found.state, "done");
    cr_expect_eq(found.attempt, 2);
    cr_expect_eq(version_of(&folder, scan).run_count, 1, "it ends exactly once");
}

Test(scheduler, sandbox_is_tried_at_the_start)
{
    struct sandbox_state state;
    struct scheduler_figures figures;
    start_scheduler((struct scheduler_options){.workers = 1});

    scheduler_sandbox_state(scheduler, &state);
    scheduler_figures(scheduler, &figures);

    cr_expect(state.seccomp, "%s", state.text);
    cr_expect(strstr(state.text, "seccomp") != NULL);
    cr_expect_eq(figures.workers, 1);
    cr_expect_gt(figures.memory_bytes, 0);
}

Test(scheduler, sandbox_of_a_program_that_is_no_worker_is_refused)
{
    struct scheduler *other = NULL;
    const struct scheduler_options options = {.program = "/no/such/program"};
    cr_expect_not(scheduler_start(folder.store, &options, &other, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_MACHINE);
}
