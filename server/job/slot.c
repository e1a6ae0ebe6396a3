/* slot.c - the life of one worker, seen from the scheduler's thread. */
#include "job/slot.h"

#include "job/reason.h"
#include "job/result.h"

#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define KILL_AFTER_MS 2000
#define RETRY_AFTER_MS 1000

int64_t slot_now_ms(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (int64_t)time.tv_sec * 1000 + time.tv_nsec / 1000000;
}

/* The reason for a fault on our side of the pipe. */
static struct store_reason reason_of(const struct error *err)
{
    return (struct store_reason){
        .code = err->code == ERROR_STORE ? "blob-corrupt" : "machine",
        .text = err->text,
    };
}

/* certify holds the claim's as text while the order is used. */
static struct worker_order order_for(const struct store_claim *claim, const struct slot_limits *limits,
                                     char certify[32])
{
    snprintf(certify, 32, "%.17g", claim->certify);
    return (struct worker_order){
        .subject_name = claim->subject_name,
        .subject_sha256 = claim->subject_sha256,
        .reference_name = claim->reference_name,
        .reference_sha256 = claim->reference_sha256,
        .kind = claim->kind,
        .units = claim->units,
        .tolerances = claim->tolerances,
        .certify = claim->certify > 0 ? certify : NULL,
        .threads = limits->threads,
        .address_space_bytes = limits->address_space_bytes,
        .file_bytes = limits->file_bytes,
        .cpu_seconds = limits->cpu_seconds,
        .parent = (uint64_t)getpid(),
        .pictures = claim->needs_pictures,
    };
}

bool slot_start(struct slot *slot, struct store *store, int jobs_fd, const struct executor *executor,
                const struct store_claim *claim, const struct slot_limits *limits)
{
    struct error err = {0};
    char certify[32];
    struct worker_order order = order_for(claim, limits, certify);
    int subject_fd = -1, reference_fd = -1;

    slot->job = claim->job;
    slot->output_fd = -1;
    slot->kill_ms = slot->retry_ms = 0;
    slot->cause = ENDED_BY_ITSELF;
    report_begin(&slot->report);
    bool ok = store_blob_open_unread(store, claim->subject_sha256, &subject_fd, &err)
              && (!claim->reference_sha256
                  || store_blob_open_unread(store, claim->reference_sha256, &reference_fd, &err))
              && result_folder_make(jobs_fd, claim->job, &slot->output_fd, &err)
              && executor->start(executor, &order, subject_fd, reference_fd, slot->output_fd,
                                 &slot->execution, &err);
    if (subject_fd >= 0)
        close(subject_fd);
    if (reference_fd >= 0)
        close(reference_fd);
    if (ok) {
        slot->state = SLOT_RUNS;
        slot->deadline_ms = slot_now_ms() + (int64_t)limits->wall_seconds * 1000;
        return true;
    }
    struct store_reason reason = reason_of(&err);
    store_job_fail(store, slot->job, &reason, !reason_is_final(reason.code), NULL);
    if (slot->output_fd >= 0)
        close(slot->output_fd);
    result_folder_remove(jobs_fd, slot->job);
    return false;
}

void slot_listen(struct slot *slot, struct store *store)
{
    char bytes[4096];
    ssize_t got;
    bool moved = false;

    if (slot->execution.report_fd < 0)
        return;
    while ((got = read(slot->execution.report_fd, bytes, sizeof bytes)) > 0)
        moved = report_take(&slot->report, bytes, (size_t)got) || moved;
    if (got == 0) {
        close(slot->execution.report_fd);
        slot->execution.report_fd = -1;
    }
    if (moved)
        store_job_progress(store, slot->job, slot->report.stage, slot->report.fraction);
}

void slot_stop(struct slot *slot, const struct executor *executor, enum outcome_cause cause)
{
    if (slot->state != SLOT_RUNS || slot->kill_ms)
        return;
    slot->cause = cause;
    slot->kill_ms = slot_now_ms() + KILL_AFTER_MS;
    executor->stop(&slot->execution, false);
}

void slot_watch(struct slot *slot, const struct executor *executor)
{
    int64_t now = slot_now_ms();
    if (slot->state != SLOT_RUNS)
        return;
    if (slot->kill_ms && now >= slot->kill_ms) {
        executor->stop(&slot->execution, true);
        slot->kill_ms = now + KILL_AFTER_MS; /* a killed process may still have to write back */
    } else if (now >= slot->deadline_ms)
        slot_stop(slot, executor, ENDED_BY_WALL_CLOCK);
}

bool slot_reap(struct slot *slot, struct store *store, const struct executor *executor)
{
    if (slot->state != SLOT_RUNS || !executor->ended(&slot->execution, &slot->end))
        return false;
    slot_listen(slot, store); /* what it wrote last */
    executor->release(&slot->execution);
    slot->state = SLOT_ENDED;
    return true;
}

static void free_slot(struct slot *slot, int jobs_fd)
{
    close(slot->output_fd);
    result_folder_remove(jobs_fd, slot->job);
    slot->state = SLOT_FREE;
}

/* Whether a later try may succeed where this one did not. */
static bool is_passing(const struct error *err)
{
    return err->code == ERROR_BUSY || err->code == ERROR_STORE || err->code == ERROR_MACHINE;
}

enum slot_result slot_settle(struct slot *slot, struct store *store, int jobs_fd)
{
    struct error err = {0};
    struct store_reason reason;
    char text[240];
    int64_t run;
    bool measured = outcome_judge(&slot->report, &slot->end, slot->cause, &reason, text), stored = false;

    if (measured) {
        stored = result_store(store, slot->job, slot->output_fd, &slot->report, &run, &err);
        if (!stored && (err.code == ERROR_DATA || err.code == ERROR_USAGE)) {
            reason = (struct store_reason){.code = "crashed", .text = err.text};
            measured = false;
        }
    }
    bool requeue = !measured && !reason_is_final(reason.code);
    if (!measured)
        stored = store_job_fail(store, slot->job, &reason, requeue, &err);
    if (!stored && is_passing(&err)) {
        slot->retry_ms = slot_now_ms() + RETRY_AFTER_MS;
        return SLOT_NOT_STORED;
    }
    free_slot(slot, jobs_fd);
    if (measured)
        return SLOT_DONE;
    return strcmp(reason.code, "cancelled") == 0 ? SLOT_CANCELLED : requeue ? SLOT_REQUEUED : SLOT_FAILED;
}

void slot_release(struct slot *slot, struct store *store, int jobs_fd)
{
    store_job_release(store, slot->job, NULL);
    free_slot(slot, jobs_fd);
}
