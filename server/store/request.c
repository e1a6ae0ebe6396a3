/* request.c - asking for measurements: what makes two requests the same, finding the finished run, queueing.
 */
#include "spec/audit.h"
#include "store/inside.h"
#include "store/runs.h"
#include "store/settings.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void add_line(struct digest *digest, const char *text)
{
    digest_add(digest, text ? text : "", text ? strlen(text) : 0);
    digest_add(digest, "\n", 1); /* no stored name or setting holds a newline */
}

bool request_key(struct connection *connection, const struct store *store, const struct request *request,
                 uint8_t key[32], struct error *err)
{
    static const char look[] =
        "SELECT b.sha256, v.file_name, v.kind, s.units, rb.sha256, r.file_name,"
        " CASE WHEN ?2 IS NULL THEN '' ELSE coalesce(?3, s.tolerances) END FROM version v"
        " JOIN specimen s ON s.id = v.specimen JOIN blob b ON b.id = v.blob"
        " LEFT JOIN version r ON r.id = ?2 LEFT JOIN blob rb ON rb.id = r.blob WHERE v.id = ?1";
    struct digest digest;
    char definitions[24], settings[STORE_SETTINGS_TEXT];
    sqlite3_stmt *row = statement_begin(connection, look, err, "ikt", request->version, request->against,
                                        request->tolerances);
    int step = statement_step(connection, row, err);

    digest_begin(&digest);
    snprintf(definitions, sizeof definitions, "%d", store->options.definitions);
    add_line(&digest, definitions);
    store_settings_write(store->settings, request->certify, settings);
    add_line(&digest, settings);
    for (int i = 0; step == 1 && i < 6; i++)
        add_line(&digest, (const char *)sqlite3_column_text(row, i));
    if (step == 1 && *(const char *)sqlite3_column_text(row, 6))
        add_line(&digest, (const char *)sqlite3_column_text(row, 6));
    digest_end_raw(&digest, key);
    statement_end(row);
    if (step == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no version %lld", (long long)request->version);
    return step == 1;
}

bool request_find(struct connection *connection, const struct store *store, const struct request *request,
                  int64_t *run, struct error *err)
{
    static const char find[] = "SELECT id FROM run WHERE version = ?1 AND request_key = ?2";
    uint8_t key[32];
    return request_key(connection, store, request, key, err)
           && statement_value(connection, find, run, NULL, err, "ib", request->version, (const void *)key,
                              sizeof key);
}

bool job_room(struct connection *connection, const struct store *store, struct error *err)
{
    static const char count[] = "SELECT count(*) FROM job WHERE state = 'queued' AND background = 0";
    int64_t waiting;
    if (!statement_value(connection, count, &waiting, NULL, err, ""))
        return false;
    return waiting < (int64_t)store->options.queue_max
           || error_set(err, ERROR_BUSY, "the queue is full with %lld jobs; try again when some are done",
                        (long long)waiting);
}

/* A live job for the same measurement, made to serve this request too; *job 0: there is none. */
static bool join_job(struct write *write, const struct store_run_request *wanted, int64_t *job,
                     struct error *err)
{
    static const char live[] = "SELECT id, state, coalesce(certify, ?3) FROM job WHERE version = ?1"
                               " AND coalesce(against, 0) = ?2 AND state IN ('queued', 'running')";
    static const char refine[] = "UPDATE job SET certify = ?2 WHERE id = ?1 AND state = 'queued'";
    double own = store_settings_certify(write->store->settings);
    bool running = false, coarser = false;
    sqlite3_stmt *row =
        statement_begin(write->connection, live, err, "iir", wanted->version, wanted->against, own);
    int step = statement_step(write->connection, row, err);
    if (step == 1) {
        *job = column_id(row, 0);
        running = strcmp((const char *)sqlite3_column_text(row, 1), "running") == 0;
        coarser = wanted->certify > 0 && sqlite3_column_double(row, 2) > wanted->certify;
    }
    statement_end(row);
    if (step < 0 || !coarser)
        return step >= 0;
    if (running)
        return error_set(err, ERROR_CONFLICT,
                         "job %lld measures this just now with a wider interval; ask again when it has ended",
                         (long long)*job);
    return statement_run(write->connection, refine, NULL, err, "ir", *job, wanted->certify)
           && job_changed(write, *job, err);
}

bool job_add(struct write *write, int64_t specimen, const struct store_run_request *wanted, int64_t *job,
             struct error *err)
{
    static const char add[] = "INSERT INTO job (specimen, version, against, again, background, created,"
                              " revision, certify) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)";
    *job = 0;
    if (!join_job(write, wanted, job, err))
        return false;
    if (*job)
        return true;
    if (!statement_run(write->connection, add, NULL, err, "iikiitir", specimen, wanted->version,
                       wanted->against, (int64_t)wanted->again, (int64_t)wanted->background, write->now,
                       write->revision, wanted->certify > 0 ? wanted->certify : (double)NAN))
        return false;
    *job = sqlite3_last_insert_rowid(write->connection->db);
    write_note(write, STORE_CHANGED_JOB, *job, specimen, wanted->version);
    return summary_touch_version(write, wanted->version, err)
           && summary_touch_specimen(write, specimen, false, err);
}

/* Finer than the service's own, which every run has: that alone becomes 0. */
static bool settle_certify(const struct store *store, double *certify, struct error *err)
{
    double own = store_settings_certify(store->settings);
    if (!(*certify > 0) || *certify == own)
        *certify = 0;
    return !*certify || (*certify >= AUDIT_CERTIFY_LEAST && *certify < own)
           || error_set(err, ERROR_USAGE, "certify is a share from %g to %g, which every run is made with",
                        AUDIT_CERTIFY_LEAST, own);
}

static bool look_up(struct write *write, struct store_run_request *wanted, int64_t *specimen,
                    struct error *err)
{
    static const char look[] = "SELECT specimen, against FROM version WHERE id = ?1";
    sqlite3_stmt *row = statement_begin(write->connection, look, err, "i", wanted->version);
    int step = statement_step(write->connection, row, err);
    if (step == 1) {
        *specimen = column_id(row, 0);
        if (!wanted->against_given)
            wanted->against = column_id(row, 1);
    }
    statement_end(row);
    return step == 1
           || (step == 0
               && error_set(err, ERROR_NOT_FOUND, "there is no version %lld", (long long)wanted->version));
}

static bool request(struct write *write, struct store_run_request wanted, int64_t *run, int64_t *job,
                    struct error *err)
{
    int64_t specimen = 0;
    if (!look_up(write, &wanted, &specimen, err) || !settle_certify(write->store, &wanted.certify, err)
        || !version_check_relative(write->connection, specimen, wanted.against, true, "against", err))
        return false;
    if (wanted.against == wanted.version)
        return error_set(err, ERROR_USAGE, "against: a version is not measured against itself");
    const struct request key = {wanted.version, wanted.against, NULL, wanted.certify};
    if (!wanted.again && !request_find(write->connection, write->store, &key, run, err))
        return false;
    return *run
           || ((wanted.background || job_room(write->connection, write->store, err))
               && job_add(write, specimen, &wanted, job, err));
}

bool store_run_request(struct store *store, const struct store_run_request *wanted, int64_t *run,
                       int64_t *job, struct error *err)
{
    struct write write;
    *run = *job = 0;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = request(&write, *wanted, run, job, err);
    return write_end(&write, ok, err);
}

/* --- remeasuring --- */

#define BATCH 200

struct wanted {
    int64_t version, specimen, against;
};

/* The next versions after one, each with every reference it is measured against by the rule. */
static bool next_batch(struct connection *connection, int64_t specimen, int64_t after, struct wanted *batch,
                       size_t *count, struct error *err)
{
    static const char read[] =
        "SELECT v.id, v.specimen, p.alone, v.against FROM (SELECT 0 AS alone UNION ALL SELECT 1) p"
        " CROSS JOIN (SELECT * FROM version WHERE id > ?1 AND withdrawn_at IS NULL"
        "  AND (?2 IS NULL OR specimen = ?2) ORDER BY id LIMIT ?3) v"
        " WHERE CASE p.alone WHEN 1 THEN v.kind = 'scan' OR v.against IS NULL ELSE v.against IS NOT NULL END"
        " ORDER BY v.id";
    int step;
    sqlite3_stmt *row = statement_begin(connection, read, err, "iki", after, specimen, (int64_t)BATCH / 2);
    *count = 0;
    while ((step = statement_step(connection, row, err)) == 1 && *count < BATCH)
        batch[(*count)++] =
            (struct wanted){column_id(row, 0), column_id(row, 1), column_id(row, 2) ? 0 : column_id(row, 3)};
    statement_end(row);
    return step >= 0;
}

static bool queue_batch(struct write *write, const struct wanted *batch, size_t count, bool again,
                        int64_t *queued, struct error *err)
{
    for (size_t i = 0; i < count; i++) {
        const struct request key = {.version = batch[i].version, .against = batch[i].against};
        const struct store_run_request wanted = {
            .version = key.version, .against = key.against, .again = again, .background = true};
        int64_t run = 0, job;
        size_t before = write->change_count;
        if (!again && !request_find(write->connection, write->store, &key, &run, err))
            return false;
        if (run)
            continue;
        if (!job_add(write, batch[i].specimen, &wanted, &job, err))
            return false;
        *queued += write->change_count > before;
    }
    return true;
}

bool store_remeasure(struct store *store, int64_t specimen, bool again, int64_t *queued, struct error *err)
{
    static const char look[] = "SELECT 1 FROM specimen WHERE id = ?1";
    struct wanted batch[BATCH];
    struct write write;
    int64_t after = 0, one;
    size_t count = 0;
    bool found = true, ok;

    *queued = 0;
    do {
        if (!write_begin(store, &write, err))
            return false;
        ok = !specimen || statement_value(write.connection, look, &one, &found, err, "i", specimen);
        if (ok && !found)
            ok = error_set(err, ERROR_NOT_FOUND, "there is no specimen %lld", (long long)specimen);
        ok = ok && next_batch(write.connection, specimen, after, batch, &count, err)
             && queue_batch(&write, batch, count, again, queued, err);
        ok = write_end(&write, ok, err);
        if (ok && count)
            after = batch[count - 1].version;
    } while (ok && count);
    return ok;
}
