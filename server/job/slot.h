/* slot.h - one running job: its worker from the start to the row that says how it ended. */
#ifndef JOB_SLOT_H
#define JOB_SLOT_H

#include "job/executor.h"
#include "job/outcome.h"
#include "job/report.h"
#include "store/jobs.h"

/* Limits of one worker. */
struct slot_limits {
    uint64_t threads, address_space_bytes, file_bytes, cpu_seconds, wall_seconds;
};

enum slot_state {
    SLOT_FREE,
    SLOT_RUNS,
    SLOT_ENDED /* but the store could not take its end yet */
};

struct slot {
    enum slot_state state;
    int64_t job;
    uint64_t threads, memory_bytes; /* taken from the scheduler's budgets while not free */
    struct execution execution;
    struct execution_end end;
    struct report report;
    int output_fd;
    int64_t deadline_ms, kill_ms, retry_ms; /* CLOCK_MONOTONIC; kill_ms and retry_ms 0: not set */
    enum outcome_cause cause;
};

/* How the job ended in the store. */
enum slot_result { SLOT_DONE, SLOT_FAILED, SLOT_CANCELLED, SLOT_REQUEUED, SLOT_NOT_STORED };

int64_t slot_now_ms(void);

/* Starts the worker of a claimed job. On failure the job's end is stored as far as possible. */
bool slot_start(struct slot *slot, struct store *store, int jobs_fd, const struct executor *executor,
                const struct store_claim *claim, const struct slot_limits *limits);
/* Takes what the pipe holds and passes progress on to the store. */
void slot_listen(struct slot *slot, struct store *store);
/* Asks the worker to stop; it is killed two seconds later. */
void slot_stop(struct slot *slot, const struct executor *executor, enum outcome_cause cause);
/* Deadlines that have passed: stop, then kill. */
void slot_watch(struct slot *slot, const struct executor *executor);
/* Looks whether the worker has ended; then the slot has state SLOT_ENDED. */
bool slot_reap(struct slot *slot, struct store *store, const struct executor *executor);
/* Stores the end of an ended worker and frees the slot; SLOT_NOT_STORED: try again at retry_ms. */
enum slot_result slot_settle(struct slot *slot, struct store *store, int jobs_fd);
/* Frees the slot of an ended worker and puts the job back into the queue (the server stops). */
void slot_release(struct slot *slot, struct store *store, int jobs_fd);

#endif
