/* jobs.h - the queue: one row per measurement asked for. queued -> running -> done | failed | cancelled.
 *
 * Each change of state is one conditional UPDATE. A running row carries the start id of the server that runs
 * it: on the next start rows of another start id go back to the queue, or fail after STORE_ATTEMPTS_MAX. */
#ifndef STORE_JOBS_H
#define STORE_JOBS_H

#include "store/runs.h"

#define STORE_ATTEMPTS_MAX 2

struct store_reason {
    const char *code; /* "reject-syntax", "crashed", ...; what to do about each: job/reason.h */
    const char *text;
    const char *format; /* NULL when there is none */
    int64_t line;       /* 0 when there is none */
    bool has_byte;
    int64_t byte;
};

struct store_job {
    int64_t id, specimen, version, against, run, revision;
    const char *state;
    const char *stage; /* NULL unless running and told */
    double progress;   /* 0..1 */
    int64_t attempt;   /* 0 while it never ran */
    bool has_reason;
    struct store_reason reason;
    const char *version_kind; /* the label is "<kind> <number>" */
    int64_t version_number;
    const char *catalogue_number;
    int64_t position;                      /* 1-based place in the queue, 0 unless queued */
    bool cancel;                           /* asked to stop, still running */
    const char *created, *started, *ended; /* NULL where it has not come to that */
};

bool store_job_get(struct store *store, int64_t id, struct arena *keep, struct store_job *job,
                   struct error *err);
struct store_job_page {
    size_t count;
    struct store_job *items;
    const char *next;
    int64_t total, revision;
};
/* Newest first; state NULL: all; specimen 0: of all. */
bool store_job_list(struct store *store, const char *state, int64_t specimen, size_t limit,
                    const char *cursor, struct arena *keep, struct store_job_page *page, struct error *err);
/* A queued job is cancelled at once, a running one is told to stop; ERROR_CONFLICT for an ended one. */
bool store_job_cancel(struct store *store, int64_t id, struct error *err);
/* Queues a failed or cancelled job again with its attempts counted from 0; ERROR_CONFLICT for any other, and
 * where another job for the same measurement waits or runs. */
bool store_job_retry(struct store *store, int64_t id, struct error *err);

/* --- for the scheduler --- */

struct store_claim {
    int64_t job, version, against, specimen, attempt;
    const char *kind, *units;
    const char *tolerances; /* store/tolerances.h */
    double certify;         /* 0: the service's own */
    const char *subject_name, *subject_sha256;
    uint64_t subject_bytes;
    const char *reference_name, *reference_sha256; /* NULL when alone */
    uint64_t reference_bytes;
    bool needs_pictures; /* the subject's file has none yet */
    uint64_t waiting;    /* queued jobs, this one included; counted to 1,000 */
};
/* The job that would be claimed next, unchanged; job 0: none. For admission by memory. */
bool store_job_peek(struct store *store, struct arena *keep, struct store_claim *claim, struct error *err);
/* Takes that job into "running" (attempt + 1), with the claim's tolerances; false in *claimed when it is no
 * longer queued. */
bool store_job_claim(struct store *store, const struct store_claim *claim, bool *claimed, struct error *err);
/* Held in memory only: costs no write. Ignored unless the job is running here. */
void store_job_progress(struct store *store, int64_t job, const char *stage, double progress);
/* True when the job has been asked to stop. */
bool store_job_cancelled(struct store *store, int64_t job);
/* Run, measures, fields and "done" in one transaction. Where an identical finished run exists and the job was
 * not asked for again, that one is the result. */
bool store_job_done(struct store *store, int64_t job, const struct store_run_new *run, int64_t *run_id,
                    struct error *err);
/* requeue: back to the queue, unless it has had its attempts. Code "cancelled" ends as "cancelled". */
bool store_job_fail(struct store *store, int64_t job, const struct store_reason *reason, bool requeue,
                    struct error *err);
/* Back to the queue with the attempt taken back: the server stops, the job is not to blame. */
bool store_job_release(struct store *store, int64_t job, struct error *err);
/* After a start: deals with rows left running by another start id. */
bool store_job_recover(struct store *store, int64_t *requeued, int64_t *failed, struct error *err);

#endif
