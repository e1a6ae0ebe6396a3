/* jobs.c - what users see of the queue and do to it: read, list, cancel, retry. */
#include "store/jobs.h"

#include "store/inside.h"

#include <stdio.h>
#include <string.h>

#define POSITION                                                                                             \
    "CASE WHEN j.state = 'queued' THEN (SELECT count(*) FROM job q WHERE q.state = 'queued'"                 \
    " AND (q.background, q.id) <= (j.background, j.id)) ELSE 0 END"
#define JOB_COLUMNS                                                                                          \
    "j.id, j.specimen, j.version, j.against, j.run, j.revision, j.state, j.attempt, j.reason_code,"          \
    " j.reason_text, j.reason_format, j.reason_line, j.reason_byte, v.kind, v.number,"                       \
    " s.catalogue_number, " POSITION ", j.cancel, j.created, j.started, j.ended"
#define JOB_TABLES "job j JOIN version v ON v.id = j.version JOIN specimen s ON s.id = j.specimen"

/* Stage and progress live in memory only. */
static void take_progress(struct store *store, struct arena *keep, struct store_job *job)
{
    char stage[sizeof store->progress[0].stage] = "";

    pthread_mutex_lock(&store->state_lock);
    for (size_t i = 0; i < PROGRESS_MAX; i++)
        if (store->progress[i].job == job->id) {
            memcpy(stage, store->progress[i].stage, sizeof stage);
            job->progress = store->progress[i].fraction;
            if (store->progress[i].revision > job->revision)
                job->revision = store->progress[i].revision;
            break;
        }
    pthread_mutex_unlock(&store->state_lock);
    char *copy = stage[0] ? ARENA_NEW(keep, char, sizeof stage) : NULL;
    if (copy)
        memcpy(copy, stage, sizeof stage);
    job->stage = copy;
}

static void take_job(struct store *store, sqlite3_stmt *row, struct arena *keep, struct store_job *job)
{
    *job = (struct store_job){
        .id = column_id(row, 0),
        .specimen = column_id(row, 1),
        .version = column_id(row, 2),
        .against = column_id(row, 3),
        .run = column_id(row, 4),
        .revision = column_id(row, 5),
        .state = column_text(row, 6, keep),
        .attempt = column_id(row, 7),
        .has_reason = sqlite3_column_type(row, 8) != SQLITE_NULL,
        .reason = {.code = column_text(row, 8, keep),
                   .text = column_text(row, 9, keep),
                   .format = column_text(row, 10, keep),
                   .line = column_id(row, 11),
                   .has_byte = sqlite3_column_type(row, 12) != SQLITE_NULL,
                   .byte = column_id(row, 12)},
        .version_kind = column_text(row, 13, keep),
        .version_number = column_id(row, 14),
        .catalogue_number = column_text(row, 15, keep),
        .position = column_id(row, 16),
        .cancel = column_id(row, 17) != 0,
        .created = column_text(row, 18, keep),
        .started = column_text(row, 19, keep),
        .ended = column_text(row, 20, keep),
    };
    if (!job->state)
        return;
    if (strcmp(job->state, "running") == 0)
        take_progress(store, keep, job);
    else if (strcmp(job->state, "done") == 0)
        job->progress = 1;
}

static bool no_job(int64_t id, struct error *err)
{
    return error_set(err, ERROR_NOT_FOUND, "there is no job %lld", (long long)id);
}

bool store_job_get(struct store *store, int64_t id, struct arena *keep, struct store_job *job,
                   struct error *err)
{
    static const char read[] = "SELECT " JOB_COLUMNS " FROM " JOB_TABLES " WHERE j.id = ?1";
    struct connection *connection;

    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", id);
    int step = statement_step(connection, row, err);
    if (step == 1)
        take_job(store, row, keep, job);
    statement_end(row);
    read_end(store, connection);
    if (step == 0)
        return no_job(id, err);
    return step == 1 && (!keep->failed || arena_error(err));
}

/* One statement for each filter, so that each finds its index: [by state][by specimen]. */
#define LIST(filter)                                                                                         \
    "SELECT " JOB_COLUMNS " FROM " JOB_TABLES " WHERE j.id < ?3 " filter " ORDER BY j.id DESC LIMIT ?4"
#define COUNT(filter) "SELECT count(*) FROM job j WHERE ?1 IS ?1 AND ?2 IS ?2 " filter
static const char *const list_sql[2][2] = {
    {LIST("AND ?1 IS NULL AND ?2 IS NULL"), LIST("AND ?1 IS NULL AND j.specimen = ?2")},
    {LIST("AND j.state = ?1 AND ?2 IS NULL"), LIST("AND j.state = ?1 AND j.specimen = ?2")},
};
static const char *const count_sql[2][2] = {
    {COUNT(""), COUNT("AND j.specimen = ?2")},
    {COUNT("AND j.state = ?1"), COUNT("AND j.state = ?1 AND j.specimen = ?2")},
};

static bool check_state(const char *state, struct error *err)
{
    static const char *const states[] = {"queued", "running", "done", "failed", "cancelled"};
    for (size_t i = 0; state && i < sizeof states / sizeof states[0]; i++)
        if (strcmp(state, states[i]) == 0)
            return true;
    return !state
           || error_set(err, ERROR_USAGE, "the state must be queued, running, done, failed or cancelled");
}

bool store_job_list(struct store *store, const char *state, int64_t specimen, size_t limit,
                    const char *cursor, struct arena *keep, struct store_job_page *page, struct error *err)
{
    struct connection *connection;
    int64_t before;
    int step;

    memset(page, 0, sizeof *page);
    if (!limit_check(limit, err) || !cursor_parse(cursor, &before, err) || !check_state(state, err))
        return false;
    page->items = ARENA_NEW(keep, struct store_job, limit);
    if (!page->items)
        return arena_error(err);
    page->revision = store_revision(store);
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, list_sql[state != NULL][specimen != 0], err, "tkii",
                                        state, specimen, before ? before : INT64_MAX, (int64_t)limit + 1);
    while ((step = statement_step(connection, row, err)) == 1 && page->count < limit)
        take_job(store, row, keep, &page->items[page->count++]);
    if (step == 1)
        page->next = cursor_make(page->items[page->count - 1].id, keep);
    statement_end(row);
    bool ok = step >= 0
              && statement_value(connection, count_sql[state != NULL][specimen != 0], &page->total, NULL, err,
                                 "tk", state, specimen);
    read_end(store, connection);
    return ok && (!keep->failed || arena_error(err));
}

/* --- doing --- */

/* After a job changed: listeners, version and specimen. */
bool job_changed(struct write *write, int64_t job, struct error *err)
{
    static const char look[] = "SELECT specimen, version FROM job WHERE id = ?1";
    int64_t specimen = 0, version = 0;
    sqlite3_stmt *row = statement_begin(write->connection, look, err, "i", job);
    int step = statement_step(write->connection, row, err);
    if (step == 1) {
        specimen = column_id(row, 0);
        version = column_id(row, 1);
    }
    statement_end(row);
    if (step != 1)
        return step == 0 ? no_job(job, err) : false;
    write_note(write, STORE_CHANGED_JOB, job, specimen, version);
    return summary_touch_version(write, version, err) && summary_touch_specimen(write, specimen, false, err);
}

static bool cancel(struct write *write, int64_t id, struct error *err)
{
    static const char waiting[] =
        "UPDATE job SET state = 'cancelled', reason_code = 'cancelled', reason_text = ?4, ended = ?2,"
        " revision = ?3 WHERE id = ?1 AND state = 'queued'";
    static const char running[] =
        "UPDATE job SET cancel = 1, revision = ?2 WHERE id = ?1 AND state = 'running'";
    int64_t changed;

    if (!statement_run(write->connection, waiting, &changed, err, "itit", id, write->now, write->revision,
                       "the job was cancelled before it began"))
        return false;
    if (!changed && !statement_run(write->connection, running, &changed, err, "ii", id, write->revision))
        return false;
    return job_changed(write, id, err)
           && (changed || error_set(err, ERROR_CONFLICT, "the job has ended; there is nothing to cancel"));
}

bool store_job_cancel(struct store *store, int64_t id, struct error *err)
{
    struct write write;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = cancel(&write, id, err);
    return write_end(&write, ok, err);
}

static bool retry(struct write *write, int64_t id, struct error *err)
{
    static const char look[] =
        "SELECT state IN ('failed', 'cancelled'), (SELECT l.id FROM job l WHERE l.version = j.version"
        " AND l.against IS j.against AND l.state IN ('queued', 'running')) FROM job j WHERE j.id = ?1";
    static const char change[] =
        "UPDATE job SET state = 'queued', attempt = 0, cancel = 0, background = 0, reason_code = NULL,"
        " reason_text = NULL, reason_format = NULL, reason_line = NULL, reason_byte = NULL, started = NULL,"
        " ended = NULL, revision = ?2 WHERE id = ?1";
    sqlite3_stmt *row = statement_begin(write->connection, look, err, "i", id);
    int step = statement_step(write->connection, row, err);
    bool ok = step == 1;

    if (step == 0)
        no_job(id, err);
    if (ok && !column_id(row, 0))
        ok = error_set(err, ERROR_CONFLICT, "only a failed or cancelled job can be retried");
    if (ok && column_id(row, 1))
        ok = error_set(err, ERROR_CONFLICT, "job %lld already measures the same",
                       (long long)column_id(row, 1));
    statement_end(row);
    return ok && job_room(write->connection, write->store, err)
           && statement_run(write->connection, change, NULL, err, "ii", id, write->revision)
           && job_changed(write, id, err);
}

bool store_job_retry(struct store *store, int64_t id, struct error *err)
{
    struct write write;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = retry(&write, id, err);
    return write_end(&write, ok, err);
}
