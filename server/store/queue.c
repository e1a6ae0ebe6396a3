/* queue.c - the scheduler's side of the queue: claim, progress, done, failed, given back. */
#include "store/inside.h"
#include "store/jobs.h"
#include "store/settings.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* --- claiming --- */

bool store_job_peek(struct store *store, struct arena *keep, struct store_claim *claim, struct error *err)
{
    static const char read[] =
        "SELECT j.id, j.version, j.against, j.specimen, j.attempt, v.kind, s.units, v.file_name, b.sha256,"
        " b.bytes, a.file_name, ab.sha256, ab.bytes,"
        " (SELECT count(*) FROM (SELECT 1 FROM job WHERE state = 'queued' LIMIT 1000)),"
        " NOT EXISTS (SELECT 1 FROM picture p WHERE p.blob = v.blob),"
        " CASE WHEN j.against IS NULL THEN '' ELSE s.tolerances END, coalesce(j.certify, 0)"
        " FROM job j JOIN version v ON v.id = j.version"
        " JOIN specimen s ON s.id = j.specimen JOIN blob b ON b.id = v.blob"
        " LEFT JOIN version a ON a.id = j.against LEFT JOIN blob ab ON ab.id = a.blob"
        " WHERE j.state = 'queued' ORDER BY j.background, j.id LIMIT 1";
    struct connection *connection;

    memset(claim, 0, sizeof *claim);
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "");
    int step = statement_step(connection, row, err);
    if (step == 1)
        *claim = (struct store_claim){
            .job = column_id(row, 0),
            .version = column_id(row, 1),
            .against = column_id(row, 2),
            .specimen = column_id(row, 3),
            .attempt = column_id(row, 4) + 1,
            .kind = column_text(row, 5, keep),
            .units = column_text(row, 6, keep),
            .subject_name = column_text(row, 7, keep),
            .subject_sha256 = column_text(row, 8, keep),
            .subject_bytes = (uint64_t)column_id(row, 9),
            .reference_name = column_text(row, 10, keep),
            .reference_sha256 = column_text(row, 11, keep),
            .reference_bytes = (uint64_t)column_id(row, 12),
            .waiting = (uint64_t)column_id(row, 13),
            .needs_pictures = column_id(row, 14) != 0,
            .tolerances = column_text(row, 15, keep),
            .certify = column_real(row, 16),
        };
    statement_end(row);
    read_end(store, connection);
    return step >= 0 && (!keep->failed || arena_error(err));
}

static struct job_progress *find_progress(struct store *store, int64_t job)
{
    for (size_t i = 0; i < PROGRESS_MAX; i++)
        if (store->progress[i].job == job)
            return &store->progress[i];
    return NULL;
}

static void forget_progress(struct store *store, int64_t job)
{
    pthread_mutex_lock(&store->state_lock);
    struct job_progress *progress = find_progress(store, job);
    if (progress)
        memset(progress, 0, sizeof *progress);
    pthread_mutex_unlock(&store->state_lock);
}

static void begin_progress(struct store *store, int64_t job, int64_t specimen, int64_t version)
{
    pthread_mutex_lock(&store->state_lock);
    struct job_progress *progress = find_progress(store, 0);
    if (progress)
        *progress = (struct job_progress){.job = job, .specimen = specimen, .version = version};
    pthread_mutex_unlock(&store->state_lock);
}

bool store_job_claim(struct store *store, const struct store_claim *claim, bool *claimed, struct error *err)
{
    static const char take[] =
        "UPDATE job SET state = 'running', attempt = attempt + 1, start_id = ?2, started = ?3, revision = ?4,"
        " cancel = 0, tolerances = coalesce(?5, '') WHERE id = ?1 AND state = 'queued' RETURNING specimen, "
        "version";
    struct write write;
    int64_t job = claim->job, specimen = 0, version = 0;

    *claimed = false;
    if (!write_begin(store, &write, err))
        return false;
    sqlite3_stmt *row = statement_begin(write.connection, take, err, "ittit", job, store->start_id, write.now,
                                        write.revision, claim->tolerances);
    int step = statement_step(write.connection, row, err);
    if (step == 1) {
        specimen = column_id(row, 0);
        version = column_id(row, 1);
    }
    statement_end(row);
    bool ok = step == 0 || (step == 1 && job_changed(&write, job, err));
    if (ok && step == 1)
        begin_progress(store, job, specimen, version);
    ok = write_end(&write, ok, err);
    *claimed = ok && step == 1;
    if (!ok)
        forget_progress(store, job);
    return ok;
}

void store_job_progress(struct store *store, int64_t job, const char *stage, double fraction)
{
    struct store_change change = {.kind = STORE_CHANGED_JOB, .id = job};

    pthread_mutex_lock(&store->state_lock);
    struct job_progress *progress = find_progress(store, job);
    if (progress) {
        snprintf(progress->stage, sizeof progress->stage, "%s", stage);
        progress->fraction = fmin(fmax(fraction, 0), 1);
        progress->revision = ++store->revision;
        change.specimen = progress->specimen;
        change.version = progress->version;
        change.revision = progress->revision;
    }
    pthread_mutex_unlock(&store->state_lock);
    for (size_t i = 0; progress && i < store->listener_count; i++)
        store->listeners[i].call(store->listeners[i].context, &change);
}

bool store_job_cancelled(struct store *store, int64_t job)
{
    static const char look[] = "SELECT cancel FROM job WHERE id = ?1 AND state = 'running'";
    struct connection *connection;
    int64_t asked = 0;
    if (!read_begin(store, &connection, NULL))
        return false;
    bool ok = statement_value(connection, look, &asked, NULL, NULL, "i", job);
    read_end(store, connection);
    return ok && asked;
}

/* --- done --- */

static bool insert_engine(struct write *write, const struct store_run_new *run, double certify,
                          int64_t *engine, struct error *err)
{
    static const char add[] = "INSERT INTO engine (version, commit_id, definitions, settings)"
                              " VALUES (?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING";
    static const char find[] = "SELECT id FROM engine WHERE version = ?1 AND commit_id = ?2"
                               " AND definitions = ?3 AND settings = ?4";
    int64_t definitions = write->store->options.definitions;
    char settings[STORE_SETTINGS_TEXT];
    store_settings_write(write->store->settings, certify, settings);
    return statement_run(write->connection, add, NULL, err, "ttit", run->engine_version, run->engine_commit,
                         definitions, settings)
           && statement_value(write->connection, find, engine, NULL, err, "ttit", run->engine_version,
                              run->engine_commit, definitions, settings);
}

static bool insert_measures(struct write *write, int64_t id, const struct store_run_new *run,
                            struct error *err)
{
    static const char name[] = "INSERT INTO measure (path) VALUES (?1) ON CONFLICT DO NOTHING";
    static const char add[] = "INSERT INTO run_measure (run, measure, value)"
                              " SELECT ?1, id, ?3 FROM measure WHERE path = ?2 ON CONFLICT DO NOTHING";
    for (size_t i = 0; i < run->measure_count; i++)
        if (!statement_run(write->connection, name, NULL, err, "t", run->measures[i].path)
            || !statement_run(write->connection, add, NULL, err, "itr", id, run->measures[i].path,
                              run->measures[i].value))
            return false;
    return true;
}

static bool insert_fields(struct write *write, int64_t id, const struct store_run_new *run, struct error *err)
{
    static const char add[] = "INSERT INTO run_field (run, name, per_face, blob) VALUES (?1, ?2, ?3, ?4)";
    for (size_t i = 0; i < run->field_count; i++) {
        const struct store_field_new *field = &run->fields[i];
        int64_t blob;
        if (!blob_row(write, field->sha256, field->bytes, &blob, err)
            || !statement_run(write->connection, add, NULL, err, "itii", id, field->name,
                              (int64_t)field->per_face, blob))
            return false;
    }
    return true;
}

/* Those of an earlier job for the same bytes stay. */
static bool insert_pictures(struct write *write, int64_t version, const struct store_pictures_new *pictures,
                            struct error *err)
{
    static const char add[] = "INSERT INTO picture (blob, surface, thumbnail)"
                              " SELECT blob, ?2, ?3 FROM version WHERE id = ?1 ON CONFLICT DO NOTHING";
    int64_t surface, thumbnail;

    return !pictures
           || (blob_row(write, pictures->surface_sha256, pictures->surface_bytes, &surface, err)
               && blob_row(write, pictures->thumbnail_sha256, pictures->thumbnail_bytes, &thumbnail, err)
               && statement_run(write->connection, add, NULL, err, "iii", version, surface, thumbnail));
}

struct job_row {
    int64_t version, against, specimen;
    bool again;
    double certify; /* 0: the service's own */
    char tolerances[STORE_TOLERANCES_TEXT];
};

static bool insert_run(struct write *write, const struct job_row *job, const struct store_run_new *run,
                       const struct packed_record *packed, int64_t base, const uint8_t key[32], int64_t *id,
                       struct error *err)
{
    static const char replace[] = "UPDATE run SET request_key = NULL WHERE version = ?1 AND request_key = ?2";
    static const char add[] = "INSERT INTO run (version, against, engine, created, request_key)"
                              " VALUES (?1, ?2, ?3, ?4, ?5)";
    static const char add_record[] =
        "INSERT INTO run_record (run, bytes, sha256, packed, base) VALUES (?1, ?2, ?3, ?4, ?5)";
    int64_t engine;

    if (!insert_engine(write, run, job->certify, &engine, err)
        || !statement_run(write->connection, replace, NULL, err, "ib", job->version, (const void *)key,
                          (size_t)32)
        || !statement_run(write->connection, add, NULL, err, "ikitb", job->version, job->against, engine,
                          write->now, (const void *)key, (size_t)32))
        return false;
    *id = sqlite3_last_insert_rowid(write->connection->db);
    write_note(write, STORE_CHANGED_RUN, *id, job->specimen, job->version);
    return statement_run(write->connection, add_record, NULL, err, "iibbk", *id, (int64_t)run->record_bytes,
                         (const void *)packed->sha256, sizeof packed->sha256, (const void *)packed->bytes,
                         packed->count, base)
           && insert_measures(write, *id, run, err) && insert_fields(write, *id, run, err);
}

/* A row that runs here; ERROR_CONFLICT for any other. */
static bool running_job(struct write *write, int64_t id, struct job_row *job, struct error *err)
{
    static const char look[] = "SELECT version, against, specimen, again, tolerances,"
                               " coalesce(certify, 0) FROM job"
                               " WHERE id = ?1 AND state = 'running' AND start_id = ?2";
    sqlite3_stmt *row = statement_begin(write->connection, look, err, "it", id, write->store->start_id);
    int step = statement_step(write->connection, row, err);
    if (step == 1) {
        *job = (struct job_row){column_id(row, 0),      column_id(row, 1),   column_id(row, 2),
                                column_id(row, 3) != 0, column_real(row, 5), ""};
        snprintf(job->tolerances, sizeof job->tolerances, "%s", (const char *)sqlite3_column_text(row, 4));
    }
    statement_end(row);
    return step == 1
           || (step == 0 && error_set(err, ERROR_CONFLICT, "job %lld does not run here", (long long)id));
}

/* The key of its request, and (unless it was asked for again) the finished run that has it. */
static bool key_of(struct write *write, const struct job_row *job, uint8_t key[32], int64_t *run,
                   struct error *err)
{
    const struct request request = {job->version, job->against, job->tolerances, job->certify};
    return request_key(write->connection, write->store, &request, key, err)
           && (job->again || request_find(write->connection, write->store, &request, run, err));
}

static bool done(struct write *write, int64_t id, const struct store_run_new *run,
                 const struct packed_record *packed, int64_t base, int64_t *run_id, struct error *err)
{
    static const char learn[] = "UPDATE version SET format = ?2 WHERE id = ?1";
    static const char finish[] = "UPDATE job SET state = 'done', run = ?2, start_id = NULL, cancel = 0,"
                                 " ended = ?3, revision = ?4 WHERE id = ?1 AND state = 'running'";
    struct job_row job = {0};
    uint8_t key[32];

    *run_id = 0;
    if (!running_job(write, id, &job, err) || !key_of(write, &job, key, run_id, err))
        return false;
    return (*run_id || insert_run(write, &job, run, packed, base, key, run_id, err))
           && insert_pictures(write, job.version, run->pictures, err)
           && statement_run(write->connection, learn, NULL, err, "it", job.version, run->subject_format)
           && statement_run(write->connection, finish, NULL, err, "iiti", id, *run_id, write->now,
                            write->revision)
           && job_changed(write, id, err) && summary_refresh(write, job.specimen, job.version, err);
}

/* Before the transaction, because it takes some milliseconds. Records are never taken away, so the base
 * stays. */
static bool pack_for_job(struct store *store, int64_t job, const struct store_run_new *run, int64_t *base,
                         struct packed_record *packed, struct error *err)
{
    static const char look[] = "SELECT specimen, coalesce(against, version) FROM job WHERE id = ?1";
    struct connection *connection;
    struct arena arena = {0};
    const char *text = NULL;
    size_t bytes = 0;
    int64_t specimen = 0, like = 0;

    *base = 0;
    if (!arena_open(&arena, (size_t)16 << 20, err))
        return false;
    bool ok = read_begin(store, &connection, err);
    if (ok) {
        sqlite3_stmt *row = statement_begin(connection, look, err, "i", job);
        ok = statement_step(connection, row, err) >= 0;
        specimen = ok ? column_id(row, 0) : 0;
        like = ok ? column_id(row, 1) : 0;
        statement_end(row);
        ok = ok && record_choose_base(connection, specimen, like, base, err);
        /* one that cannot be read is not built upon; verify will tell of it */
        if (ok && *base && !record_read(connection, *base, true, &arena, &text, &bytes, NULL))
            *base = 0;
        read_end(store, connection);
    }
    ok = ok && record_pack(text, *base ? bytes : 0, run->record, run->record_bytes, packed, err);
    arena_close(&arena);
    return ok;
}

bool store_job_done(struct store *store, int64_t job, const struct store_run_new *run, int64_t *run_id,
                    struct error *err)
{
    struct packed_record packed = {0};
    struct write write;
    int64_t base;
    bool ok = pack_for_job(store, job, run, &base, &packed, err) && write_begin(store, &write, err);
    if (ok) {
        ok = done(&write, job, run, &packed, base, run_id, err);
        ok = write_end(&write, ok, err);
    }
    if (ok)
        forget_progress(store, job);
    free(packed.bytes);
    return ok;
}

/* --- not done --- */

static const char give_back[] = "UPDATE job SET state = 'queued', start_id = NULL, started = NULL,"
                                " attempt = attempt - ?3, revision = ?2 WHERE id = ?1 AND state = 'running'";

static bool end_without_run(struct write *write, int64_t job, const struct store_reason *reason,
                            struct error *err)
{
    static const char finish[] =
        "UPDATE job SET state = CASE ?2 WHEN 'cancelled' THEN 'cancelled' ELSE 'failed' END,"
        " start_id = NULL, cancel = 0, reason_code = ?2, reason_text = ?3, reason_format = ?4,"
        " reason_line = ?5, reason_byte = CASE WHEN ?6 THEN ?7 END, ended = ?8, revision = ?9"
        " WHERE id = ?1 AND state = 'running'";
    return statement_run(write->connection, finish, NULL, err, "itttkiiti", job, reason->code, reason->text,
                         reason->format, reason->line, (int64_t)reason->has_byte, reason->byte, write->now,
                         write->revision)
           && job_changed(write, job, err);
}

static bool fail(struct write *write, int64_t job, const struct store_reason *reason, bool requeue,
                 struct error *err)
{
    static const char look[] = "SELECT attempt FROM job WHERE id = ?1";
    struct job_row row;
    int64_t attempt;
    if (!running_job(write, job, &row, err)
        || !statement_value(write->connection, look, &attempt, NULL, err, "i", job))
        return false;
    if (!requeue || attempt >= STORE_ATTEMPTS_MAX)
        return end_without_run(write, job, reason, err);
    return statement_run(write->connection, give_back, NULL, err, "iii", job, write->revision, (int64_t)0)
           && job_changed(write, job, err);
}

bool store_job_fail(struct store *store, int64_t job, const struct store_reason *reason, bool requeue,
                    struct error *err)
{
    struct write write;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = fail(&write, job, reason, requeue, err);
    ok = write_end(&write, ok, err);
    if (ok)
        forget_progress(store, job);
    return ok;
}

bool store_job_release(struct store *store, int64_t job, struct error *err)
{
    struct write write;
    struct job_row row;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = running_job(&write, job, &row, err)
              && statement_run(write.connection, give_back, NULL, err, "iii", job, write.revision, (int64_t)1)
              && job_changed(&write, job, err);
    ok = write_end(&write, ok, err);
    if (ok)
        forget_progress(store, job);
    return ok;
}

/* Any of another start; one at a time, there are at most as many as a server had workers. */
static bool recover_one(struct write *write, bool *more, int64_t *requeued, int64_t *failed,
                        struct error *err)
{
    static const char find[] =
        "SELECT id, attempt FROM job WHERE state = 'running' AND start_id <> ?1 LIMIT 1";
    static const struct store_reason twice = {
        .code = "crashed",
        .text = "the server stopped twice while this was being measured",
    };
    int64_t job = 0, attempt = 0;
    sqlite3_stmt *row = statement_begin(write->connection, find, err, "t", write->store->start_id);
    int step = statement_step(write->connection, row, err);
    if (step == 1) {
        job = column_id(row, 0);
        attempt = column_id(row, 1);
    }
    statement_end(row);
    *more = step == 1;
    if (step != 1)
        return step == 0;
    if (attempt >= STORE_ATTEMPTS_MAX) {
        ++*failed;
        return end_without_run(write, job, &twice, err);
    }
    ++*requeued;
    return statement_run(write->connection, give_back, NULL, err, "iii", job, write->revision, (int64_t)0)
           && job_changed(write, job, err);
}

bool store_job_recover(struct store *store, int64_t *requeued, int64_t *failed, struct error *err)
{
    struct write write;
    bool ok = true, more = true;
    *requeued = *failed = 0;
    if (!write_begin(store, &write, err))
        return false;
    while (ok && more)
        ok = recover_one(&write, &more, requeued, failed, err);
    return write_end(&write, ok, err);
}
