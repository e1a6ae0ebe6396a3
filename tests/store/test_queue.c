/* test_queue.c
 *   request_*  identical requests, again, the full queue
 *   claim_*    order and the change of states
 *   done_*     record, numbers, fields in one transaction
 *   fail_*     reasons, two attempts, cancel and retry
 *   restart_*  what another server left running */
#include "store/folder.h"
#include "store/inside.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct folder folder;
static int64_t specimen, scan;

static void begin(void)
{
    folder_begin(&folder);
    specimen = add_specimen(&folder, "A-1");
    scan = add_version(&folder, specimen, "scan", 0, "s1");
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(queue, .init = begin, .fini = end);

static void request(int64_t version, bool again, int64_t *run, int64_t *job)
{
    const struct store_run_request wanted = {.version = version, .again = again};
    cr_assert(store_run_request(folder.store, &wanted, run, job, &folder.err), "%s", folder.err.text);
}

Test(queue, request_while_one_waits_names_that_job)
{
    int64_t run, job;
    request(scan, false, &run, &job);
    cr_expect_eq(run, 0);
    cr_expect_eq(job, version_of(&folder, scan).jobs[0]);
    cr_expect_eq(version_of(&folder, scan).job_count, 1);
}

Test(queue, request_that_is_identical_finds_the_finished_run)
{
    int64_t run, job, first = run_next_job(&folder, 1, NAN);
    request(scan, false, &run, &job);
    cr_expect_eq(run, first);
    cr_expect_eq(job, 0);
}

Test(queue, request_again_measures_again_and_keeps_the_old_run)
{
    int64_t run, job, first = run_next_job(&folder, 1, NAN);

    request(scan, true, &run, &job);
    cr_expect_eq(run, 0);
    int64_t second = run_next_job(&folder, 2, NAN);

    cr_expect_neq(second, first);
    cr_expect_eq(version_of(&folder, scan).run_count, 2);
    cr_expect_eq(version_of(&folder, scan).latest_run, second);
    request(scan, false, &run, &job);
    cr_expect_eq(run, second, "the newer one now answers the request");
}

Test(queue, request_after_other_definitions_or_settings_is_another_one)
{
    int64_t run, job;
    struct store_run found;
    int64_t first = run_next_job(&folder, 1, NAN);
    folder.options.definitions = 2;
    folder_reopen(&folder);

    cr_assert(store_run_get(folder.store, first, &folder.arena, &found, &folder.err));
    cr_expect_not(found.current);
    request(scan, false, &run, &job);
    cr_expect_eq(run, 0);
    cr_expect_neq(job, 0);
}

Test(queue, request_beyond_the_longest_queue_is_busy)
{
    store_close(folder.store);
    folder.options.queue_max = 1;
    cr_assert(store_open(folder.path, false, &folder.options, &folder.store, &folder.err));
    const struct store_version_new wanted = {.specimen = specimen, .kind = "cage", .file_name = "c.obj"};
    int64_t id;
    bool created;

    cr_expect_not(try_version(&folder, &wanted, "c1", &id, &created));

    cr_expect_eq(folder.err.code, ERROR_BUSY);
    cr_expect_eq(specimen_of(&folder, specimen).cage_count, 0, "nothing half made");
}

Test(queue, request_to_remeasure_queues_what_is_not_current)
{
    int64_t cage = add_version(&folder, specimen, "cage", scan, "c1"), queued;
    run_next_job(&folder, 1, NAN);
    run_next_job(&folder, 1, 0.5);
    cr_assert(store_remeasure(folder.store, 0, false, &queued, &folder.err));
    cr_expect_eq(queued, 0, "all are current");

    folder.options.settings = "other";
    folder_reopen(&folder);
    cr_assert(store_remeasure(folder.store, specimen, false, &queued, &folder.err));

    cr_expect_eq(queued, 2);
    cr_expect_eq(version_of(&folder, cage).job_count, 2);
    cr_expect_not(store_remeasure(folder.store, 999, false, &queued, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
}

/* The service's own certify is 1e-4 from here on. */
static void state_certify(void)
{
    folder.options.settings = "certify=0.0001 test";
    folder_reopen(&folder);
}

static bool request_finer(double certify, int64_t *run, int64_t *job)
{
    const struct store_run_request wanted = {.version = scan, .certify = certify};
    return store_run_request(folder.store, &wanted, run, job, &folder.err);
}

Test(queue, request_with_a_finer_certify_is_another_one_and_its_run_is_current)
{
    int64_t run, job;
    struct store_run kept;
    state_certify();
    int64_t first = run_next_job(&folder, 1, NAN);

    cr_assert(request_finer(1e-5, &run, &job));
    cr_expect_eq(run, 0);
    int64_t second = run_next_job(&folder, 2, NAN);

    cr_expect_neq(second, first);
    cr_assert(request_finer(1e-5, &run, &job));
    cr_expect_eq(run, second, "found again");
    request(scan, false, &run, &job);
    cr_expect_eq(run, first, "the service's own too");
    cr_assert(store_run_get(folder.store, second, &folder.arena, &kept, &folder.err));
    cr_expect(kept.current);
    cr_expect_str_eq(kept.settings, "certify=1.0000000000000001e-05 test");
    cr_expect_eq(version_of(&folder, scan).latest_run, second);
    cr_assert(store_run_get(folder.store, first, &folder.arena, &kept, &folder.err));
    cr_expect(kept.current);
}

Test(queue, request_with_the_certify_of_every_run_is_none_of_its_own)
{
    int64_t run, job;
    state_certify();
    int64_t first = run_next_job(&folder, 1, NAN);
    cr_assert(request_finer(1e-4, &run, &job));
    cr_expect_eq(run, first);
}

Test(queue, request_with_a_certify_that_is_coarser_or_too_fine_is_refused)
{
    int64_t run, job;
    state_certify();
    cr_expect_not(request_finer(1e-3, &run, &job));
    cr_expect_eq(folder.err.code, ERROR_USAGE);
    cr_expect_str_eq(folder.err.text,
                     "certify is a share from 1e-09 to 0.0001, which every run is made with");
    cr_expect_not(request_finer(9e-10, &run, &job));
}

Test(queue, request_with_a_finer_certify_refines_the_job_that_waits_and_not_one_that_runs)
{
    int64_t run, job, waits = version_of(&folder, scan).jobs[0];
    struct store_claim claim;
    bool claimed;
    state_certify();

    cr_assert(request_finer(1e-5, &run, &job));
    cr_expect_eq(job, waits);
    cr_assert(request_finer(5e-5, &run, &job), "a finer one serves");
    cr_assert(store_job_peek(folder.store, &folder.arena, &claim, &folder.err));
    cr_expect_eq(claim.certify, 1e-5);
    cr_assert(store_job_claim(folder.store, &claim, &claimed, &folder.err));
    request(scan, false, &run, &job);
    cr_expect_eq(job, waits);
    cr_expect_not(request_finer(1e-6, &run, &job));
    cr_expect_eq(folder.err.code, ERROR_CONFLICT);
}

Test(queue, claim_takes_the_oldest_and_the_background_last)
{
    int64_t run, job;
    run_next_job(&folder, 1, NAN);
    const struct store_run_request behind = {.version = scan, .again = true, .background = true};
    cr_assert(store_run_request(folder.store, &behind, &run, &job, &folder.err));
    int64_t cage = add_version(&folder, specimen, "cage", scan, "c1");
    cr_expect_eq(job_of(&folder, job).position, 2);

    int64_t first = claim_next_job(&folder), second = claim_next_job(&folder);

    cr_expect_eq(first, version_of(&folder, cage).jobs[0]);
    cr_expect_eq(second, job);
    cr_expect_str_eq(job_of(&folder, first).state, "running");
    cr_expect_eq(job_of(&folder, first).attempt, 1);
    cr_expect(job_of(&folder, first).started != NULL);
}

Test(queue, claim_of_a_taken_job_is_told)
{
    bool claimed = true;
    const struct store_claim claim = {.job = claim_next_job(&folder)};
    cr_assert(store_job_claim(folder.store, &claim, &claimed, &folder.err));
    cr_expect_not(claimed);
}

Test(queue, claim_shows_progress_without_writing_it)
{
    int64_t job = claim_next_job(&folder), before = job_of(&folder, job).revision;

    store_job_progress(folder.store, job, "quality", 0.5);

    struct store_job found = job_of(&folder, job);
    cr_expect_str_eq(found.stage, "quality");
    cr_expect_eq(found.progress, 0.5);
    cr_expect_gt(found.revision, before);
}

Test(queue, done_keeps_the_record_to_the_byte)
{
    static const char record[] = "{\"schema\":\"fettle/run/1\",\"x\":0.1}\n";
    const char *bytes;
    size_t count;
    int64_t job = claim_next_job(&folder);

    int64_t run = finish_job(&folder, job, record, 4, NAN);

    cr_assert(store_run_record(folder.store, run, &folder.arena, &bytes, &count, &folder.err));
    cr_expect_eq(count, strlen(record));
    cr_expect_eq(memcmp(bytes, record, count), 0);
    cr_expect_str_eq(job_of(&folder, job).state, "done");
    cr_expect_eq(job_of(&folder, job).run, run);
    cr_expect_eq(job_of(&folder, job).progress, 1);
    cr_expect_str_eq(version_of(&folder, scan).format, "obj");
    struct store_run found;
    cr_assert(store_run_get(folder.store, run, &folder.arena, &found, &folder.err));
    cr_expect_eq(found.open_edges, 4);
    cr_expect(isnan(found.lost) && isnan(found.genus));
    cr_expect(found.current);
}

/* Records of a specimen are packed against each other; each must come back whole whatever it is packed with.
 */
Test(queue, done_keeps_many_similar_records_apart)
{
    enum { COUNT = 6 };
    int64_t runs[COUNT], job, run;
    char record[4000];
    for (int i = 0; i < COUNT; i++) {
        if (i)
            request(scan, true, &run, &job);
        memset(record, 'a' + i, sizeof record);
        snprintf(record + 500 * i, 400, "{\"schema\":\"fettle/run/1\",\"number\":%d}", i);
        memset(record + 500 * i + strlen(record + 500 * i), '.', 1);
        record[sizeof record - 1] = '\0';
        runs[i] = finish_job(&folder, claim_next_job(&folder), record, i, NAN);
    }
    for (int i = 0; i < COUNT; i++) {
        const char *bytes;
        size_t count;
        char expected[60];
        cr_assert(store_run_record(folder.store, runs[i], &folder.arena, &bytes, &count, &folder.err), "%s",
                  folder.err.text);
        cr_expect_eq(count, sizeof record - 1);
        snprintf(expected, sizeof expected, "{\"schema\":\"fettle/run/1\",\"number\":%d}", i);
        cr_expect_eq(strncmp(bytes + 500 * i, expected, strlen(expected)), 0);
        cr_expect_eq(bytes[count - 1], 'a' + i);
    }
    int64_t based;
    cr_assert(connection_number(&folder.store->writer,
                                "SELECT count(*) FROM run_record WHERE base IS NOT NULL", &based,
                                &folder.err));
    cr_expect_eq(based, COUNT - 1);
    cr_expect_eq(verify_folder(&folder).figures.findings, 0);
}

Test(queue, done_keeps_fields_as_blobs)
{
    struct store_upload *upload = NULL;
    struct store_field_new field = {.name = "distance", .per_face = true, .bytes = 8};
    const double value = 1.5;
    double got = 0;
    int64_t job = claim_next_job(&folder), run;
    int fd;
    uint64_t bytes;
    bool per_face;
    cr_assert(store_upload_begin(folder.store, 8, &upload, &folder.err)
              && store_upload_write(upload, &value, sizeof value, &folder.err)
              && store_upload_finish(upload, field.sha256, &folder.err));
    const struct store_run_new made = {.record = "{}",
                                       .record_bytes = 2,
                                       .engine_version = "1",
                                       .engine_commit = "c",
                                       .subject_format = "obj",
                                       .field_count = 1,
                                       .fields = &field};

    cr_assert(store_job_done(folder.store, job, &made, &run, &folder.err), "%s", folder.err.text);
    store_upload_close(upload);

    cr_assert(store_run_field_open(folder.store, run, "distance", &fd, &bytes, &per_face, &folder.err));
    cr_expect_eq(bytes, 8);
    cr_expect(per_face);
    cr_expect_eq(read(fd, &got, sizeof got), 8);
    cr_expect_eq(got, 1.5);
    close(fd);
    cr_expect_not(store_run_field_open(folder.store, run, "signed", &fd, &bytes, &per_face, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
    cr_expect_eq(verify_folder(&folder).figures.findings, 0);
}

Test(queue, done_of_a_job_that_does_not_run_here_is_refused)
{
    const struct store_run_new made = {.record = "{}",
                                       .record_bytes = 2,
                                       .engine_version = "1",
                                       .engine_commit = "c",
                                       .subject_format = "obj"};
    int64_t job = version_of(&folder, scan).jobs[0], run;
    cr_expect_not(store_job_done(folder.store, job, &made, &run, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_CONFLICT);
    cr_expect_eq(version_of(&folder, scan).run_count, 0);
}

static const struct store_reason crashed = {.code = "crashed", .text = "it broke"};
static const struct store_reason rejected = {
    .code = "reject-syntax", .text = "bad", .format = "obj", .line = 12, .has_byte = false};

Test(queue, fail_twice_is_final_once_is_not)
{
    int64_t job = claim_next_job(&folder);
    cr_assert(store_job_fail(folder.store, job, &crashed, true, &folder.err));
    cr_expect_str_eq(job_of(&folder, job).state, "queued");

    cr_expect_eq(claim_next_job(&folder), job);
    cr_assert(store_job_fail(folder.store, job, &crashed, true, &folder.err));

    struct store_job failed = job_of(&folder, job);
    cr_expect_str_eq(failed.state, "failed");
    cr_expect_eq(failed.attempt, 2);
    cr_expect_str_eq(failed.reason.code, "crashed");
    cr_expect_eq(specimen_of(&folder, specimen).jobs_failed, 1);
}

Test(queue, fail_by_a_reject_is_final_at_once_and_says_where)
{
    int64_t job = claim_next_job(&folder);

    cr_assert(store_job_fail(folder.store, job, &rejected, false, &folder.err));

    struct store_job failed = job_of(&folder, job);
    cr_expect_str_eq(failed.state, "failed");
    cr_expect_str_eq(failed.reason.format, "obj");
    cr_expect_eq(failed.reason.line, 12);
    cr_expect_not(failed.reason.has_byte);
    cr_expect(failed.ended != NULL);
}

Test(queue, fail_can_be_retried_and_a_done_job_cannot)
{
    int64_t job = claim_next_job(&folder);
    cr_assert(store_job_fail(folder.store, job, &rejected, false, &folder.err));

    cr_assert(store_job_retry(folder.store, job, &folder.err), "%s", folder.err.text);
    cr_expect_str_eq(job_of(&folder, job).state, "queued");
    cr_expect_not(job_of(&folder, job).has_reason);
    cr_expect_eq(job_of(&folder, job).attempt, 0);
    run_next_job(&folder, 1, NAN);

    cr_expect_not(store_job_retry(folder.store, job, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_CONFLICT);
}

Test(queue, fail_by_cancel_at_once_while_queued_by_a_flag_while_running)
{
    int64_t cage = add_version(&folder, specimen, "cage", scan, "c1");
    int64_t running = claim_next_job(&folder), waiting = version_of(&folder, cage).jobs[0];

    cr_assert(store_job_cancel(folder.store, waiting, &folder.err));
    cr_expect_str_eq(job_of(&folder, waiting).state, "cancelled");
    cr_expect_str_eq(job_of(&folder, waiting).reason.code, "cancelled");

    cr_assert(store_job_cancel(folder.store, running, &folder.err));
    cr_expect_str_eq(job_of(&folder, running).state, "running");
    cr_expect(store_job_cancelled(folder.store, running));
    cr_expect_not(store_job_cancel(folder.store, waiting, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_CONFLICT);
}

Test(queue, fail_list_by_state_and_specimen)
{
    struct store_job_page page;
    int64_t job = claim_next_job(&folder);
    cr_assert(store_job_fail(folder.store, job, &rejected, false, &folder.err));
    add_version(&folder, specimen, "cage", scan, "c1");

    cr_assert(store_job_list(folder.store, "failed", specimen, 10, NULL, &folder.arena, &page, &folder.err));
    cr_expect_eq(page.count, 1);
    cr_expect_eq(page.total, 1);
    cr_expect_eq(page.items[0].id, job);
    cr_assert(store_job_list(folder.store, NULL, 0, 1, NULL, &folder.arena, &page, &folder.err));
    cr_expect_eq(page.total, 2);
    cr_assert(page.next != NULL);
    cr_assert(store_job_list(folder.store, NULL, 0, 1, page.next, &folder.arena, &page, &folder.err));
    cr_expect_eq(page.items[0].id, job);
    cr_expect(page.next == NULL);
    cr_expect_not(store_job_list(folder.store, "lost", 0, 1, NULL, &folder.arena, &page, &folder.err));
}

Test(queue, restart_gives_a_running_job_back_once_and_then_fails_it)
{
    int64_t requeued, failed, job = claim_next_job(&folder);
    folder_reopen(&folder);
    cr_assert(store_job_recover(folder.store, &requeued, &failed, &folder.err));
    cr_expect_eq(requeued, 1);
    cr_expect_str_eq(job_of(&folder, job).state, "queued");

    cr_expect_eq(claim_next_job(&folder), job);
    folder_reopen(&folder);
    cr_assert(store_job_recover(folder.store, &requeued, &failed, &folder.err));

    cr_expect_eq(failed, 1);
    cr_expect_str_eq(job_of(&folder, job).state, "failed");
    cr_expect_str_eq(job_of(&folder, job).reason.code, "crashed");
}

Test(queue, restart_in_order_does_not_count_as_an_attempt)
{
    int64_t job = claim_next_job(&folder);
    cr_assert(store_job_release(folder.store, job, &folder.err));
    cr_expect_str_eq(job_of(&folder, job).state, "queued");
    cr_expect_eq(job_of(&folder, job).attempt, 0);
}
