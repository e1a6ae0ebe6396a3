/* scheduler.h - one thread that takes queued jobs and runs each in a worker process of its own.
 *
 * It learns of new and cancelled jobs by listening to the store (store_listen), so nobody has to wake it.
 * Progress and ends of jobs are told through the store's listeners too. */
#ifndef JOB_SCHEDULER_H
#define JOB_SCHEDULER_H

#include "store/jobs.h"

struct scheduler;

struct scheduler_options {
    size_t workers; /* at once; 0: one per core */
    size_t cores;   /* shared out among workers as threads; 0: as many as there are */
    uint64_t
        memory_bytes;    /* budget for what running jobs are expected to need; 0: three quarters of the RAM */
    size_t cpu_seconds;  /* of one worker; 0: 600 times its threads */
    size_t wall_seconds; /* 0: 1,800 */
    const char *program; /* NULL: /proc/self/exe */
};

/* What the service measures with (definitions, settings), for store_open. */
struct store_options scheduler_store_options(void);

/* Requeues what an earlier server left running, tests the sandbox, starts the thread. */
bool scheduler_start(struct store *store, const struct scheduler_options *options,
                     struct scheduler **scheduler, struct error *err);
/* Stops claiming, ends the workers, puts their jobs back into the queue, joins the thread. */
void scheduler_stop(struct scheduler *scheduler);

struct scheduler_figures { /* for /metrics */
    size_t workers, running;
    uint64_t memory_bytes, memory_used_bytes;
    int64_t started, done, failed, cancelled, crashed; /* since the start; crashed counts attempts */
};
void scheduler_figures(struct scheduler *scheduler, struct scheduler_figures *figures);

/* How workers are fenced in on this machine, tried out by a worker at the start. */
struct sandbox_state {
    int landlock_abi; /* 0: not there */
    bool seccomp;     /* a forbidden call ended the worker */
    char text[160];   /* one sentence for /healthz */
};
void scheduler_sandbox_state(struct scheduler *scheduler, struct sandbox_state *state);

#endif
