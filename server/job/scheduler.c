/* scheduler.c - the thread that claims jobs, starts workers and deals with their ends. */
#include "job/scheduler.h"

#include "job/result.h"
#include "job/slot.h"
#include "run/run.h"
#include "run/version.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <poll.h>
#include <pthread.h>
#include <sched.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/stat.h>
#include <sys/sysinfo.h>
#include <unistd.h>

#define MIB ((uint64_t)1 << 20)
#define WORKERS_MAX 256
#define CLAIM_RETRY_MS 1000 /* after the store refused */
#define PROBE_MS 10000

struct scheduler {
    struct store *store;
    struct scheduler_options options; /* no zero left */
    struct executor executor;
    char *program;
    int wake_fd, jobs_fd;
    pthread_t thread;
    bool has_thread;
    struct arena arena; /* for claims */
    struct slot *slots; /* [options.workers], the thread's own */
    int64_t claim_again_ms;

    pthread_mutex_t lock; /* everything below */
    bool stopping, look_for_cancels;
    struct scheduler_figures figures;
    struct sandbox_state sandbox;
};

/* --- options --- */

/* What decides the values of a record, as part of a request's key; threads do not. The tolerances are the
 * specimen's: the store adds them to the key. */
struct store_options scheduler_store_options(void)
{
    static char text[160];
    struct run_settings settings = run_settings_default();
    snprintf(text, sizeof text, "certify=%.17g surface=%d boundary=%d creases=%d tolerances=%zu",
             settings.deviation.certify, (int)settings.surface, (int)settings.boundary,
             !settings.ignore_creases, settings.deviation.tolerance_count);
    return (struct store_options){.definitions = engine_definitions(), .settings = text};
}

static void fill_options(struct scheduler_options *options)
{
    struct sysinfo machine;
    cpu_set_t cores;
    if (!options->cores)
        options->cores = sched_getaffinity(0, sizeof cores, &cores) == 0 ? (size_t)CPU_COUNT(&cores) : 1;
    if (!options->workers)
        options->workers = options->cores;
    if (options->workers > WORKERS_MAX)
        options->workers = WORKERS_MAX;
    if (!options->memory_bytes)
        options->memory_bytes =
            sysinfo(&machine) == 0 ? (uint64_t)machine.totalram * machine.mem_unit / 4 * 3 : 4096 * MIB;
    if (!options->wall_seconds)
        options->wall_seconds = 1800;
}

/* What a job is expected to need at most: the figures of the run room's own default. */
static uint64_t expected_bytes(const struct store_claim *claim)
{
    return 256 * MIB + 28 * (claim->subject_bytes + claim->reference_bytes);
}

/* Address space is no memory: arenas reserve more than they touch. The run room asks for 28 bytes a byte. */
static struct slot_limits limits_for(const struct scheduler *scheduler, const struct store_claim *claim,
                                     uint64_t threads)
{
    uint64_t files = claim->subject_bytes + claim->reference_bytes;
    uint64_t cpu_seconds = scheduler->options.cpu_seconds;
    return (struct slot_limits){
        .threads = threads,
        .address_space_bytes = 4096 * MIB + 28 * files + threads * 80 * MIB,
        .file_bytes = 1024 * MIB + 32 * files,
        .cpu_seconds = cpu_seconds ? cpu_seconds : 600 * threads,
        .wall_seconds = scheduler->options.wall_seconds,
    };
}

/* --- starting jobs --- */

static struct slot *free_slot(struct scheduler *scheduler)
{
    for (size_t i = 0; i < scheduler->options.workers; i++)
        if (scheduler->slots[i].state == SLOT_FREE)
            return &scheduler->slots[i];
    return NULL;
}

struct in_use {
    size_t workers;
    uint64_t threads, memory_bytes;
};

static struct in_use in_use(const struct scheduler *scheduler)
{
    struct in_use sum = {0};
    for (size_t i = 0; i < scheduler->options.workers; i++) {
        const struct slot *slot = &scheduler->slots[i];
        if (slot->state == SLOT_FREE)
            continue;
        sum.workers++;
        sum.threads += slot->threads;
        sum.memory_bytes += slot->memory_bytes;
    }
    return sum;
}

/* All free cores for a job that comes alone, an equal share where others wait. */
static uint64_t share_of_cores(const struct scheduler *scheduler, const struct store_claim *claim,
                               const struct in_use *used)
{
    uint64_t cores = scheduler->options.cores;
    uint64_t left = cores > used->threads ? cores - used->threads : 1;
    uint64_t free_slots = scheduler->options.workers - used->workers;
    uint64_t sharers = claim->waiting < free_slots ? claim->waiting : free_slots;
    return sharers && left > sharers ? left / sharers : 1;
}

static void note_figures(struct scheduler *scheduler)
{
    struct in_use used = in_use(scheduler);
    pthread_mutex_lock(&scheduler->lock);
    scheduler->figures.running = used.workers;
    scheduler->figures.memory_used_bytes = used.memory_bytes;
    pthread_mutex_unlock(&scheduler->lock);
}

static void count_one(struct scheduler *scheduler, int64_t *figure)
{
    pthread_mutex_lock(&scheduler->lock);
    ++*figure;
    pthread_mutex_unlock(&scheduler->lock);
}

/* Claims and starts the next job. False when there is none, no room for it, or the store refused. */
static bool start_next(struct scheduler *scheduler)
{
    struct arena arena = scheduler->arena; /* given back on return */
    struct store_claim claim;
    bool claimed;
    struct slot *slot = free_slot(scheduler);
    struct in_use used = in_use(scheduler);

    if (!slot)
        return false;
    if (!store_job_peek(scheduler->store, &arena, &claim, NULL))
        goto refused;
    if (!claim.job)
        return false;
    uint64_t memory = expected_bytes(&claim);
    if (used.workers && used.memory_bytes + memory > scheduler->options.memory_bytes)
        return false; /* until another one ends; a job alone may always try */
    struct slot_limits limits = limits_for(scheduler, &claim, share_of_cores(scheduler, &claim, &used));
    if (!store_job_claim(scheduler->store, &claim, &claimed, NULL))
        goto refused;
    if (!claimed)
        return true; /* cancelled meanwhile: look again */
    slot->threads = limits.threads;
    slot->memory_bytes = memory;
    if (slot_start(slot, scheduler->store, scheduler->jobs_fd, &scheduler->executor, &claim, &limits)) {
        count_one(scheduler, &scheduler->figures.started);
        return true;
    }
    count_one(scheduler, &scheduler->figures.failed);
refused:
    scheduler->claim_again_ms = slot_now_ms() + CLAIM_RETRY_MS;
    return false;
}

/* --- ends --- */

static void settle(struct scheduler *scheduler, struct slot *slot)
{
    struct scheduler_figures *figures = &scheduler->figures;
    switch (slot_settle(slot, scheduler->store, scheduler->jobs_fd)) {
    case SLOT_DONE:
        count_one(scheduler, &figures->done);
        break;
    case SLOT_FAILED:
        count_one(scheduler, &figures->failed);
        break;
    case SLOT_CANCELLED:
        count_one(scheduler, &figures->cancelled);
        break;
    case SLOT_REQUEUED:
        count_one(scheduler, &figures->crashed);
        break;
    case SLOT_NOT_STORED:
        break;
    }
}

static void look_after(struct scheduler *scheduler, struct slot *slot, bool look_for_cancels)
{
    if (slot->state == SLOT_RUNS) {
        slot_listen(slot, scheduler->store);
        if (look_for_cancels && store_job_cancelled(scheduler->store, slot->job))
            slot_stop(slot, &scheduler->executor, ENDED_BY_CANCEL);
        slot_watch(slot, &scheduler->executor);
        if (slot_reap(slot, scheduler->store, &scheduler->executor))
            settle(scheduler, slot);
    } else if (slot->state == SLOT_ENDED && slot_now_ms() >= slot->retry_ms)
        settle(scheduler, slot);
}

/* --- waiting --- */

static int64_t sooner(int64_t a, int64_t b)
{
    return b && b < a ? b : a;
}

static int milliseconds_to_wait(const struct scheduler *scheduler)
{
    int64_t now = slot_now_ms(), next = now + 60000;
    next = sooner(next, scheduler->claim_again_ms);
    for (size_t i = 0; i < scheduler->options.workers; i++) {
        const struct slot *slot = &scheduler->slots[i];
        if (slot->state == SLOT_RUNS)
            next = sooner(sooner(next, slot->deadline_ms), slot->kill_ms);
        else if (slot->state == SLOT_ENDED)
            next = sooner(next, slot->retry_ms);
    }
    return next > now ? (int)(next - now) : 0;
}

static void wait_for_something(struct scheduler *scheduler)
{
    struct pollfd fds[1 + 2 * WORKERS_MAX];
    nfds_t count = 0;
    uint64_t wakes;

    fds[count++] = (struct pollfd){.fd = scheduler->wake_fd, .events = POLLIN};
    for (size_t i = 0; i < scheduler->options.workers; i++) {
        const struct slot *slot = &scheduler->slots[i];
        if (slot->state != SLOT_RUNS)
            continue;
        fds[count++] = (struct pollfd){.fd = slot->execution.end_fd, .events = POLLIN};
        if (slot->execution.report_fd >= 0)
            fds[count++] = (struct pollfd){.fd = slot->execution.report_fd, .events = POLLIN};
    }
    if (poll(fds, count, milliseconds_to_wait(scheduler)) > 0 && fds[0].revents) {
        ssize_t got = read(scheduler->wake_fd, &wakes, sizeof wakes);
        (void)got; /* only to empty it */
    }
}

static void wake(struct scheduler *scheduler)
{
    uint64_t one = 1;
    ssize_t put = write(scheduler->wake_fd, &one, sizeof one);
    (void)put; /* full means that it is awake */
}

static _Thread_local bool is_scheduler_thread;

/* From any thread: a job is queued, or asked to stop. What this thread itself changed it knows. */
static void hear(void *context, const struct store_change *change)
{
    struct scheduler *scheduler = context;
    if (change->kind != STORE_CHANGED_JOB || is_scheduler_thread)
        return;
    pthread_mutex_lock(&scheduler->lock);
    scheduler->look_for_cancels = true;
    pthread_mutex_unlock(&scheduler->lock);
    wake(scheduler);
}

/* --- the thread --- */

static bool is_stopping(struct scheduler *scheduler, bool *look_for_cancels)
{
    pthread_mutex_lock(&scheduler->lock);
    bool stopping = scheduler->stopping;
    *look_for_cancels = scheduler->look_for_cancels;
    scheduler->look_for_cancels = false;
    pthread_mutex_unlock(&scheduler->lock);
    return stopping;
}

/* The jobs go back into the queue: that the server stops is not their fault. One that finished in time is
 * kept. */
static void end_all(struct scheduler *scheduler)
{
    for (size_t i = 0; i < scheduler->options.workers; i++)
        slot_stop(&scheduler->slots[i], &scheduler->executor, ENDED_BY_CANCEL);
    while (in_use(scheduler).workers) {
        for (size_t i = 0; i < scheduler->options.workers; i++) {
            struct slot *slot = &scheduler->slots[i];
            if (slot->state == SLOT_RUNS) {
                slot_watch(slot, &scheduler->executor);
                slot_reap(slot, scheduler->store, &scheduler->executor);
            }
            if (slot->state != SLOT_ENDED)
                continue;
            if (!slot->report.done
                || slot_settle(slot, scheduler->store, scheduler->jobs_fd) == SLOT_NOT_STORED)
                slot_release(slot, scheduler->store, scheduler->jobs_fd);
        }
        if (in_use(scheduler).workers)
            wait_for_something(scheduler);
    }
}

static void *run_thread(void *context)
{
    struct scheduler *scheduler = context;
    bool look_for_cancels;

    is_scheduler_thread = true;
    while (!is_stopping(scheduler, &look_for_cancels)) {
        for (size_t i = 0; i < scheduler->options.workers; i++)
            look_after(scheduler, &scheduler->slots[i], look_for_cancels);
        if (slot_now_ms() >= scheduler->claim_again_ms) {
            scheduler->claim_again_ms = 0;
            while (start_next(scheduler))
                continue;
        }
        note_figures(scheduler);
        wait_for_something(scheduler);
    }
    end_all(scheduler);
    return NULL;
}

/* --- the probe --- */

/* A worker that closes the sandbox and then does what it may not: only its death by SIGSYS proves the list.
 */
static bool run_probe(const struct scheduler *scheduler, struct report *report, struct execution_end *end,
                      struct error *err)
{
    struct execution execution;
    struct worker_order order = {.threads = 1,
                                 .address_space_bytes = 4096 * MIB,
                                 .file_bytes = MIB,
                                 .cpu_seconds = 10,
                                 .parent = (uint64_t)getpid(),
                                 .probe = 1};
    char bytes[1024];
    ssize_t got;

    if (!scheduler->executor.start(&scheduler->executor, &order, -1, -1, scheduler->jobs_fd, &execution, err))
        return false;
    struct pollfd ended = {.fd = execution.end_fd, .events = POLLIN};
    if (poll(&ended, 1, PROBE_MS) != 1)
        scheduler->executor.stop(&execution, true);
    while (!scheduler->executor.ended(&execution, end))
        poll(&ended, 1, 100);
    report_begin(report);
    while ((got = read(execution.report_fd, bytes, sizeof bytes)) > 0)
        report_take(report, bytes, (size_t)got);
    scheduler->executor.release(&execution);
    return true;
}

static bool try_sandbox(struct scheduler *scheduler, struct error *err)
{
    struct report report;
    struct execution_end end;
    struct sandbox_state *state = &scheduler->sandbox;

    if (!run_probe(scheduler, &report, &end, err))
        return false;
    if (report.has_error) {
        *err = report.error;
        return false;
    }
    if (!end.killed && end.number == 2)
        return error_set(err, ERROR_MACHINE, "the program does not know how to be a worker");
    state->landlock_abi = report.landlock_abi;
    state->seccomp = report.seccomp && end.killed && end.number == SIGSYS;
    if (state->landlock_abi && state->seccomp)
        snprintf(state->text, sizeof state->text, "workers are fenced in by seccomp and Landlock (ABI %d)",
                 state->landlock_abi);
    else if (state->landlock_abi || state->seccomp)
        snprintf(state->text, sizeof state->text, "workers are fenced in by %s only; this kernel has no %s",
                 state->seccomp ? "seccomp" : "Landlock", state->seccomp ? "Landlock" : "seccomp");
    else
        snprintf(state->text, sizeof state->text,
                 "workers are limited but not fenced in: this kernel has neither seccomp nor Landlock");
    return true;
}

/* --- from outside --- */

static bool set_up(struct scheduler *scheduler, struct error *err)
{
    int64_t requeued, failed;

    scheduler->wake_fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    scheduler->jobs_fd =
        openat(store_folder_fd(scheduler->store), "jobs", O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
    if (scheduler->wake_fd < 0 || scheduler->jobs_fd < 0)
        return error_set(err, ERROR_MACHINE, "the folder of jobs cannot be opened: %s", strerror(errno));
    scheduler->slots = calloc(scheduler->options.workers, sizeof *scheduler->slots);
    if (!scheduler->slots)
        return error_set(err, ERROR_MACHINE, "out of memory");
    result_folders_clear(scheduler->jobs_fd);
    return arena_open(&scheduler->arena, MIB, err) && try_sandbox(scheduler, err)
           && store_job_recover(scheduler->store, &requeued, &failed, err)
           && store_listen(scheduler->store, hear, scheduler, err);
}

/* Signals are the main thread's business. */
static bool start_thread(struct scheduler *scheduler, struct error *err)
{
    sigset_t all, before;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    int rc = pthread_create(&scheduler->thread, NULL, run_thread, scheduler);
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    scheduler->has_thread = rc == 0;
    return rc == 0 || error_set(err, ERROR_MACHINE, "the scheduler's thread cannot be started");
}

bool scheduler_start(struct store *store, const struct scheduler_options *options, struct scheduler **out,
                     struct error *err)
{
    struct scheduler *scheduler = calloc(1, sizeof *scheduler);
    if (!scheduler)
        return error_set(err, ERROR_MACHINE, "out of memory");
    scheduler->store = store;
    scheduler->options = *options;
    fill_options(&scheduler->options);
    scheduler->program = options->program ? strdup(options->program) : NULL;
    scheduler->executor = executor_local(scheduler->program);
    scheduler->wake_fd = scheduler->jobs_fd = -1;
    scheduler->figures.workers = scheduler->options.workers;
    scheduler->figures.memory_bytes = scheduler->options.memory_bytes;
    pthread_mutex_init(&scheduler->lock, NULL);
    if (!set_up(scheduler, err) || !start_thread(scheduler, err)) {
        scheduler_stop(scheduler);
        return false;
    }
    *out = scheduler;
    return true;
}

void scheduler_stop(struct scheduler *scheduler)
{
    if (!scheduler)
        return;
    if (scheduler->has_thread) {
        pthread_mutex_lock(&scheduler->lock);
        scheduler->stopping = true;
        pthread_mutex_unlock(&scheduler->lock);
        wake(scheduler);
        pthread_join(scheduler->thread, NULL);
    }
    store_unlisten(scheduler->store, scheduler);
    if (scheduler->wake_fd >= 0)
        close(scheduler->wake_fd);
    if (scheduler->jobs_fd >= 0)
        close(scheduler->jobs_fd);
    arena_close(&scheduler->arena);
    pthread_mutex_destroy(&scheduler->lock);
    free(scheduler->slots);
    free(scheduler->program);
    free(scheduler);
}

void scheduler_figures(struct scheduler *scheduler, struct scheduler_figures *figures)
{
    pthread_mutex_lock(&scheduler->lock);
    *figures = scheduler->figures;
    pthread_mutex_unlock(&scheduler->lock);
}

void scheduler_sandbox_state(struct scheduler *scheduler, struct sandbox_state *state)
{
    pthread_mutex_lock(&scheduler->lock);
    *state = scheduler->sandbox;
    pthread_mutex_unlock(&scheduler->lock);
}
