/* checks.c - a ring of checks, and two threads that each wait for the process that makes one. */
#include "http/checks.h"

#include "http/workers.h"
#include "job/handoff_check.h"
#include "store/handoffs.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { KEPT = 64, AT_ONCE = 2, WAITING = 16 };
/* As for a job (scheduler.h). */
static const uint64_t cpu_seconds = 3600, wall_seconds = 1800;

struct check {
    struct checks *checks;
    int64_t id; /* 0: free */
    int zip_fd;
    uint64_t bytes;
    bool running;
    char name[256];
    char *result; /* what the process said */
    size_t result_size;
    struct error fault; /* where it said nothing */
};

struct checks {
    struct store *store;
    struct workers *workers;
    atomic_bool stop;
    pthread_mutex_t lock; /* of everything below */
    int64_t next_id;
    struct check items[KEPT]; /* id i at i % KEPT */
};

struct checks *checks_open(struct store *store, struct error *err)
{
    struct checks *checks = calloc(1, sizeof *checks);
    if (!checks) {
        error_set(err, ERROR_MACHINE, "no memory for the checks of handoffs");
        return NULL;
    }
    checks->store = store;
    checks->next_id = 1;
    pthread_mutex_init(&checks->lock, NULL);
    checks->workers = workers_open(AT_ONCE, WAITING, err);
    if (checks->workers)
        return checks;
    checks_close(checks);
    return NULL;
}

static void clear(struct check *check)
{
    free(check->result);
    memset(check, 0, sizeof *check);
}

void checks_close(struct checks *checks)
{
    if (!checks)
        return;
    atomic_store(&checks->stop, true);
    if (checks->workers)
        workers_close(checks->workers); /* those that wait are begun, and stopped at once */
    for (size_t i = 0; i < KEPT; i++)
        clear(&checks->items[i]);
    pthread_mutex_destroy(&checks->lock);
    free(checks);
}

/* A handoff of ours is stored as it is; one that somebody deflated becomes some ten times larger. What would
 * need more than sixteen times its size is for the command line, whose limits can be raised. */
static bool run_process(const struct check *check, int fds[3], char **text, size_t *size, struct error *err)
{
    uint64_t most = 16 * check->bytes + ((uint64_t)1 << 20);
    for (size_t i = 0; i < 3; i++)
        if (!store_scratch_file(check->checks->store, check->bytes, &fds[i], err))
            return false;
    const struct handoff_check process = {.zip_fd = check->zip_fd,
                                          .spool_fd = fds[0],
                                          .subject_fd = fds[1],
                                          .reference_fd = fds[2],
                                          .threads = 1,
                                          .file_bytes = most,
                                          .cpu_seconds = cpu_seconds,
                                          .wall_seconds = wall_seconds,
                                          .stop = &check->checks->stop};
    return handoff_check_run(&process, text, size, err);
}

static void run(void *context)
{
    struct check *check = context;
    struct error err = {0};
    char *text = NULL;
    size_t size = 0;
    int fds[3] = {-1, -1, -1};
    bool ok = run_process(check, fds, &text, &size, &err);
    for (size_t i = 0; i < 3; i++)
        if (fds[i] >= 0)
            close(fds[i]);
    close(check->zip_fd);
    pthread_mutex_lock(&check->checks->lock);
    check->running = false;
    check->result = ok ? text : NULL;
    check->result_size = size;
    check->fault = err;
    pthread_mutex_unlock(&check->checks->lock);
}

/* The next place; NULL where the check that has it still runs. Under the lock. */
static struct check *take_place(struct checks *checks)
{
    struct check *check = &checks->items[checks->next_id % KEPT];
    if (check->running)
        return NULL;
    clear(check);
    check->checks = checks;
    check->id = checks->next_id++;
    check->running = true;
    return check;
}

bool checks_add(struct checks *checks, int zip_fd, uint64_t bytes, const char *name, int64_t *id,
                struct error *err)
{
    pthread_mutex_lock(&checks->lock);
    struct check *check = take_place(checks);
    bool ok = check != NULL;
    if (ok) {
        check->zip_fd = zip_fd;
        check->bytes = bytes;
        snprintf(check->name, sizeof check->name, "%.255s", name);
        *id = check->id;
        ok = workers_add(checks->workers, (struct work){run, check});
        if (!ok)
            clear(check);
    }
    pthread_mutex_unlock(&checks->lock);
    if (!ok)
        close(zip_fd);
    return ok || error_set(err, ERROR_BUSY, "too many handoffs are being checked; try again later");
}

bool checks_write(struct checks *checks, int64_t id, struct api_text *text, struct error *err)
{
    pthread_mutex_lock(&checks->lock);
    const struct check *check = &checks->items[id % KEPT];
    bool ok;
    if (check->id != id) {
        ok = error_set(err, ERROR_NOT_FOUND, "there is no check %lld, or it is too long ago; check again",
                       (long long)id);
    } else {
        const struct api_handoff_check said = {.id = id,
                                               .name = check->name,
                                               .running = check->running,
                                               .result = check->result,
                                               .result_size = check->result_size,
                                               .fault = &check->fault};
        ok = api_handoff_check_write(&said, text, err);
    }
    pthread_mutex_unlock(&checks->lock);
    return ok;
}
