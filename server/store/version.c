/* version.c - making and reading versions, their reference and their withdrawal. */
#include "store/version.h"

#include "store/inside.h"
#include "store/specimen.h"

#include <math.h>
#include <string.h>

static bool is_scan(const char *kind)
{
    return strcmp(kind, "scan") == 0;
}

/* --- what may be stored --- */

bool version_check_relative(struct connection *connection, int64_t specimen, int64_t relative,
                            bool must_be_scan, const char *what, struct error *err)
{
    static const char look[] = "SELECT specimen = ?2, kind = 'scan' FROM version WHERE id = ?1";
    bool ok = false;
    if (!relative)
        return true;
    sqlite3_stmt *row = statement_begin(connection, look, err, "ii", relative, specimen);
    int step = statement_step(connection, row, err);
    if (step == 0 || (step == 1 && !column_id(row, 0)))
        error_set(err, ERROR_USAGE, "%s: the specimen has no version %lld", what, (long long)relative);
    else if (step == 1 && must_be_scan && !column_id(row, 1))
        error_set(err, ERROR_USAGE, "%s: version %lld is not a scan; a reference is always a scan", what,
                  (long long)relative);
    else
        ok = step == 1;
    statement_end(row);
    return ok;
}

static bool check_specimen(struct connection *connection, int64_t specimen, struct error *err)
{
    static const char look[] = "SELECT state = 'retired' FROM specimen WHERE id = ?1";
    int64_t retired;
    bool found;
    if (!statement_value(connection, look, &retired, &found, err, "i", specimen))
        return false;
    if (!found)
        return error_set(err, ERROR_NOT_FOUND, "there is no specimen %lld", (long long)specimen);
    return !retired
           || error_set(err, ERROR_CONFLICT, "the specimen is retired; set its state before adding versions");
}

static bool check_new(struct connection *connection, const struct store *store,
                      const struct store_version_new *version, struct error *err)
{
    if (!version->kind || (!is_scan(version->kind) && strcmp(version->kind, "cage") != 0))
        return error_set(err, ERROR_USAGE, "the kind must be scan or cage");
    return text_check("file name", version->file_name, STORE_NAME_MAX, TEXT_LINE, false, err)
           && text_check("name of the uploader", version->by, STORE_NAME_MAX, TEXT_LINE, true, err)
           && text_check("note", version->note, STORE_NOTE_MAX, TEXT_LINES, true, err)
           && check_specimen(connection, version->specimen, err)
           && version_check_relative(connection, version->specimen, version->made_from, false, "made_from",
                                     err)
           && version_check_relative(connection, version->specimen,
                                     version->against_given ? version->against : 0, true, "against", err)
           && job_room(connection, store, err);
}

bool store_version_check(struct store *store, const struct store_version_new *version, struct error *err)
{
    struct connection *connection;
    if (!read_begin(store, &connection, err))
        return false;
    bool ok = check_new(connection, store, version, err);
    read_end(store, connection);
    return ok;
}

/* --- making --- */

/* The rule of version.h. */
static bool default_against(struct connection *connection, const struct store_version_new *version,
                            int64_t *against, struct error *err)
{
    static const char of_origin[] = "SELECT CASE kind WHEN 'scan' THEN id ELSE against END FROM version"
                                    " WHERE id = ?1";
    static const char latest_scan[] = "SELECT latest_scan FROM specimen WHERE id = ?1";
    *against = version->against;
    if (version->against_given)
        return true;
    if (version->made_from)
        return statement_value(connection, of_origin, against, NULL, err, "i", version->made_from);
    *against = 0;
    return is_scan(version->kind)
           || statement_value(connection, latest_scan, against, NULL, err, "i", version->specimen);
}

static const char *last_component(const char *name)
{
    for (const char *at = name; *at; at++)
        if ((*at == '/' || *at == '\\') && at[1])
            name = at + 1;
    return name;
}

static double positive(double value)
{
    return value > 0 ? value : NAN;
}

static bool insert_version(struct write *write, const struct store_version_new *version, int64_t blob,
                           int64_t against, int64_t *id, struct error *err)
{
    static const char add[] =
        "INSERT INTO version (specimen, kind, number, blob, made_from, against, face_size, face_size_share,"
        " file_name, uploader, note, created, revision) VALUES (?1, ?2, (SELECT coalesce(max(number), 0) + 1"
        " FROM version WHERE specimen = ?1 AND kind = ?2), ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)";
    if (!statement_run(write->connection, add, NULL, err, "itikkrrtttti", version->specimen, version->kind,
                       blob, version->made_from, against, positive(version->face_size),
                       positive(version->face_size_share), last_component(version->file_name),
                       version->by ? version->by : "", version->note ? version->note : "", write->now,
                       write->revision))
        return false;
    *id = sqlite3_last_insert_rowid(write->connection->db);
    return true;
}

static bool add_first_jobs(struct write *write, const struct store_version_new *version, int64_t id,
                           int64_t against, struct error *err)
{
    const struct store_run_request alone = {.version = id}, beside = {.version = id, .against = against};
    int64_t job;
    if (is_scan(version->kind) || !against)
        if (!job_add(write, version->specimen, &alone, &job, err))
            return false;
    return !against || job_add(write, version->specimen, &beside, &job, err);
}

bool version_create(struct write *write, const struct store_version_new *version,
                    const struct store_upload *upload, int64_t *id, bool *created, struct error *err)
{
    static const char same[] = "SELECT id FROM version WHERE specimen = ?1 AND kind = ?2 AND blob = ?3";
    static const char begin_work[] = "UPDATE specimen SET state = 'in work' WHERE id = ?1 AND state = 'new'";
    static const char log[] = STEP_INSERT
        "SELECT ?2, specimen, 'file added', nullif(uploader, ''), kind || ' ' || number || ': ' || file_name,"
        " 'version', id FROM version WHERE id = ?1";
    struct connection *connection = write->connection;
    int64_t blob, against;
    bool found;

    if (!blob_row(write, store_upload_sha256(upload), store_upload_bytes(upload), &blob, err)
        || !statement_value(connection, same, id, &found, err, "iti", version->specimen, version->kind, blob))
        return false;
    *created = !found;
    if (found)
        return true;
    return check_new(connection, write->store, version, err)
           && default_against(connection, version, &against, err)
           && insert_version(write, version, blob, against, id, err)
           && statement_run(connection, begin_work, NULL, err, "i", version->specimen)
           && statement_run(connection, log, NULL, err, "it", *id, write->now)
           && add_first_jobs(write, version, *id, against, err)
           && summary_refresh(write, version->specimen, *id, err);
}

bool store_version_create(struct store *store, const struct store_version_new *version,
                          const struct store_upload *upload, int64_t *id, bool *created, struct error *err)
{
    struct write write;
    if (!store_upload_sha256(upload))
        return error_set(err, ERROR_USAGE, "the upload is not finished");
    if (!version->kind || !write_begin(store, &write, err))
        return version->kind ? false : error_set(err, ERROR_USAGE, "the kind must be scan or cage");
    bool ok = version_create(&write, version, upload, id, created, err);
    return write_end(&write, ok, err);
}

/* --- reading --- */

/* The length from the share or the share from the length, once the reference is measured. */
#define REFERENCE_DIAGONAL RUN_VALUE("a.latest_run", MEASURE_DIAGONAL)
#define VERSION_COLUMNS                                                                                      \
    "v.id, v.specimen, v.number, v.revision, v.kind, v.made_from, v.against,"                                \
    " coalesce(v.face_size, v.face_size_share * " REFERENCE_DIAGONAL "),"                                    \
    " coalesce(v.face_size_share, v.face_size / " REFERENCE_DIAGONAL "),"                                    \
    " v.file_name, b.sha256, b.bytes, v.format, v.uploader, v.note, v.created, v.withdrawn_at,"              \
    " v.withdrawn_reason, v.withdrawn_by, v.latest_run,"                                                     \
    " EXISTS (SELECT 1 FROM picture p WHERE p.blob = v.blob), v.intake_device, v.intake_operator,"           \
    " v.intake_date, v.intake_resolution, v.intake_uncertainty"
#define VERSION_TABLES "version v JOIN blob b ON b.id = v.blob LEFT JOIN version a ON a.id = v.against"

static void take_version(sqlite3_stmt *row, struct arena *keep, struct store_version *version)
{
    *version = (struct store_version){
        .id = column_id(row, 0),
        .specimen = column_id(row, 1),
        .number = column_id(row, 2),
        .revision = column_id(row, 3),
        .kind = column_text(row, 4, keep),
        .made_from = column_id(row, 5),
        .against = column_id(row, 6),
        .face_size = column_real(row, 7),
        .face_size_share = column_real(row, 8),
        .file_name = column_text(row, 9, keep),
        .sha256 = column_text(row, 10, keep),
        .bytes = (uint64_t)column_id(row, 11),
        .format = column_text(row, 12, keep),
        .by = column_text(row, 13, keep),
        .note = column_text(row, 14, keep),
        .created = column_text(row, 15, keep),
        .withdrawn_at = column_text(row, 16, keep),
        .withdrawn_reason = column_text(row, 17, keep),
        .withdrawn_by = column_text(row, 18, keep),
        .latest_run = column_id(row, 19),
        .has_pictures = column_id(row, 20) != 0,
        .intake = {.device = column_text(row, 21, keep),
                   .operator_name = column_text(row, 22, keep),
                   .date = column_text(row, 23, keep),
                   .resolution = column_text(row, 24, keep),
                   .uncertainty = column_text(row, 25, keep)},
    };
    version->withdrawn = version->withdrawn_at != NULL;
}

static bool read_ids(struct connection *connection, const char *sql, int64_t version, struct arena *keep,
                     int64_t **ids, size_t *count, struct error *err)
{
    size_t room = 0;
    int step;
    sqlite3_stmt *row = statement_begin(connection, sql, err, "i", version);
    while ((step = statement_step(connection, row, err)) == 1) {
        *ids = arena_grow(keep, *ids, *count, &room, sizeof **ids);
        if (!*ids)
            break;
        (*ids)[(*count)++] = column_id(row, 0);
    }
    statement_end(row);
    return step == 0 || (step == 1 && arena_error(err));
}

static bool read_lists(struct connection *connection, struct arena *keep, struct store_version *version,
                       struct error *err)
{
    static const char runs[] = "SELECT id FROM run WHERE version = ?1 ORDER BY id DESC";
    static const char jobs[] = "SELECT id FROM job WHERE version = ?1 ORDER BY id DESC";
    return read_ids(connection, runs, version->id, keep, &version->runs, &version->run_count, err)
           && read_ids(connection, jobs, version->id, keep, &version->jobs, &version->job_count, err)
           && (!keep->failed || arena_error(err));
}

bool store_version_get(struct store *store, int64_t id, struct arena *keep, struct store_version *version,
                       struct error *err)
{
    static const char read[] = "SELECT " VERSION_COLUMNS " FROM " VERSION_TABLES " WHERE v.id = ?1";
    struct connection *connection;

    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", id);
    int step = statement_step(connection, row, err);
    if (step == 1)
        take_version(row, keep, version);
    statement_end(row);
    if (step == 0)
        error_set(err, ERROR_NOT_FOUND, "there is no version %lld", (long long)id);
    bool ok = step == 1 && read_lists(connection, keep, version, err);
    read_end(store, connection);
    return ok;
}

bool store_version_picture_open(struct store *store, int64_t id, enum store_picture which,
                                char sha256[DIGEST_HEX_SIZE], int *fd, uint64_t *bytes, struct error *err)
{
    static const char read[] =
        "SELECT b.sha256 FROM version v LEFT JOIN picture p ON p.blob = v.blob"
        " LEFT JOIN blob b ON b.id = CASE ?2 WHEN 0 THEN p.surface ELSE p.thumbnail END"
        " WHERE v.id = ?1";
    struct connection *connection;

    sha256[0] = '\0';
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row =
        statement_begin(connection, read, err, "ii", id, (int64_t)(which == PICTURE_THUMBNAIL));
    int step = statement_step(connection, row, err);
    if (step == 1 && sqlite3_column_type(row, 0) != SQLITE_NULL)
        memcpy(sha256, sqlite3_column_text(row, 0), DIGEST_HEX_SIZE);
    statement_end(row);
    read_end(store, connection);
    if (step == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no version %lld", (long long)id);
    if (step == 1 && !sha256[0])
        return error_set(err, ERROR_NOT_FOUND,
                         "version %lld has no picture yet; it gets one when it is measured next",
                         (long long)id);
    return step == 1 && store_blob_open(store, sha256, fd, bytes, err);
}

static bool read_page(struct connection *connection, int64_t specimen, size_t limit, int64_t after,
                      struct arena *keep, struct store_version_page *page, struct error *err)
{
    static const char read[] = "SELECT " VERSION_COLUMNS " FROM " VERSION_TABLES
                               " WHERE v.specimen = ?1 AND v.id > ?2 ORDER BY v.id LIMIT ?3";
    int step;
    page->items = ARENA_NEW(keep, struct store_version, limit);
    if (!page->items)
        return arena_error(err);
    sqlite3_stmt *row = statement_begin(connection, read, err, "iii", specimen, after, (int64_t)limit + 1);
    while ((step = statement_step(connection, row, err)) == 1 && page->count < limit)
        take_version(row, keep, &page->items[page->count++]);
    if (step == 1)
        page->next = cursor_make(page->items[page->count - 1].id, keep);
    statement_end(row);
    for (size_t i = 0; step >= 0 && i < page->count; i++)
        if (!read_lists(connection, keep, &page->items[i], err))
            return false;
    return step >= 0;
}

bool store_version_list(struct store *store, int64_t specimen, size_t limit, const char *cursor,
                        struct arena *keep, struct store_version_page *page, struct error *err)
{
    static const char count[] = "SELECT scan_count + cage_count FROM specimen WHERE id = ?1";
    struct connection *connection;
    int64_t after;
    bool found;

    memset(page, 0, sizeof *page);
    if (!limit_check(limit, err) || !cursor_parse(cursor, &after, err))
        return false;
    page->revision = store_revision(store);
    if (!read_begin(store, &connection, err))
        return false;
    bool ok = statement_value(connection, count, &page->total, &found, err, "i", specimen);
    if (ok && !found)
        ok = error_set(err, ERROR_NOT_FOUND, "there is no specimen %lld", (long long)specimen);
    ok = ok && read_page(connection, specimen, limit, after, keep, page, err);
    read_end(store, connection);
    return ok;
}

static void take_holder(sqlite3_stmt *row, struct arena *keep, struct store_holder *holder)
{
    *holder = (struct store_holder){.version = column_id(row, 0),
                                    .specimen = column_id(row, 1),
                                    .number = column_id(row, 2),
                                    .catalogue_number = column_text(row, 3, keep),
                                    .kind = column_text(row, 4, keep),
                                    .file_name = column_text(row, 5, keep),
                                    .created = column_text(row, 6, keep),
                                    .withdrawn = column_id(row, 7) != 0};
}

static bool read_holders(struct connection *connection, const char *sha256, size_t limit, int64_t after,
                         struct arena *keep, struct store_holder_page *page, struct error *err)
{
    static const char read[] =
        "SELECT v.id, v.specimen, v.number, s.catalogue_number, v.kind, v.file_name, v.created,"
        " v.withdrawn_at IS NOT NULL FROM blob b JOIN version v ON v.blob = b.id"
        " JOIN specimen s ON s.id = v.specimen WHERE b.sha256 = ?1 AND v.id > ?2 ORDER BY v.id LIMIT ?3";
    int step;
    page->items = ARENA_NEW(keep, struct store_holder, limit);
    if (!page->items)
        return arena_error(err);
    sqlite3_stmt *row = statement_begin(connection, read, err, "tii", sha256, after, (int64_t)limit + 1);
    while ((step = statement_step(connection, row, err)) == 1 && page->count < limit)
        take_holder(row, keep, &page->items[page->count++]);
    if (step == 1)
        page->next = cursor_make(page->items[page->count - 1].version, keep);
    statement_end(row);
    return step >= 0 && (!keep->failed || arena_error(err));
}

bool store_version_find(struct store *store, const char *sha256, size_t limit, const char *cursor,
                        struct arena *keep, struct store_holder_page *page, struct error *err)
{
    static const char count[] =
        "SELECT count(*) FROM version v JOIN blob b ON b.id = v.blob WHERE b.sha256 = ?1";
    struct connection *connection;
    int64_t after;

    memset(page, 0, sizeof *page);
    if (!digest_is_hex(sha256))
        return error_set(err, ERROR_USAGE, "sha256 must be 64 hexadecimal digits in lower case");
    if (!limit_check(limit, err) || !cursor_parse(cursor, &after, err)
        || !read_begin(store, &connection, err))
        return false;
    bool ok = read_holders(connection, sha256, limit, after, keep, page, err)
              && statement_value(connection, count, &page->total, NULL, err, "t", sha256);
    read_end(store, connection);
    return ok;
}

/* --- changing --- */

/* The specimen of a version that the caller has seen as it is. */
static bool look_up(struct write *write, int64_t id, int64_t if_revision, bool *stale, int64_t *specimen,
                    bool *withdrawn, struct error *err)
{
    static const char look[] =
        "SELECT specimen, revision, withdrawn_at IS NOT NULL FROM version WHERE id = ?1";
    sqlite3_stmt *row = statement_begin(write->connection, look, err, "i", id);
    int step = statement_step(write->connection, row, err);
    bool ok = step == 1;

    if (step == 0)
        error_set(err, ERROR_NOT_FOUND, "there is no version %lld", (long long)id);
    if (ok && if_revision && column_id(row, 1) != if_revision) {
        *stale = true;
        ok = error_set(err, ERROR_CONFLICT, "the version was changed meanwhile; read it again");
    }
    if (ok) {
        *specimen = column_id(row, 0);
        *withdrawn = column_id(row, 2) != 0;
    }
    statement_end(row);
    return ok;
}

static bool set_against(struct write *write, int64_t id, int64_t against, int64_t if_revision, bool *stale,
                        struct error *err)
{
    static const char change[] = "UPDATE version SET against = ?2 WHERE id = ?1";
    const struct request key = {.version = id, .against = against};
    const struct store_run_request wanted = {.version = id, .against = against};
    int64_t specimen, run, job;
    bool withdrawn;

    if (!look_up(write, id, if_revision, stale, &specimen, &withdrawn, err)
        || !version_check_relative(write->connection, specimen, against, true, "against", err))
        return false;
    if (against == id)
        return error_set(err, ERROR_USAGE, "against: a version is not measured against itself");
    return statement_run(write->connection, change, NULL, err, "ik", id, against)
           && request_find(write->connection, write->store, &key, &run, err)
           && (run
               || (job_room(write->connection, write->store, err)
                   && job_add(write, specimen, &wanted, &job, err)))
           && summary_refresh(write, specimen, id, err);
}

bool store_version_set_against(struct store *store, int64_t id, int64_t against, int64_t if_revision,
                               bool *stale, struct error *err)
{
    struct write write;
    *stale = false;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = set_against(&write, id, against, if_revision, stale, err);
    return write_end(&write, ok, err);
}

static bool check_intake(const struct store_intake *intake, struct error *err)
{
    return text_check("device", intake->device, STORE_NAME_MAX, TEXT_LINE, true, err)
           && text_check("operator", intake->operator_name, STORE_NAME_MAX, TEXT_LINE, true, err)
           && text_check("date", intake->date, STORE_NAME_MAX, TEXT_LINE, true, err)
           && text_check("resolution", intake->resolution, STORE_NAME_MAX, TEXT_LINE, true, err)
           && text_check("uncertainty", intake->uncertainty, STORE_NAME_MAX, TEXT_LINE, true, err);
}

static const char *or_empty(const char *text)
{
    return text ? text : "";
}

static bool set_intake(struct write *write, int64_t id, const struct store_intake *intake, const char *by,
                       int64_t if_revision, bool *stale, struct error *err)
{
    static const char change[] =
        "UPDATE version SET intake_device = ?2, intake_operator = ?3, intake_date = ?4,"
        " intake_resolution = ?5, intake_uncertainty = ?6 WHERE id = ?1";
    static const char log[] =
        STEP_INSERT "SELECT ?2, specimen, 'intake stated', nullif(?3, ''), kind || ' ' || number, 'version',"
                    " id FROM version WHERE id = ?1";
    int64_t specimen;
    bool withdrawn;
    return look_up(write, id, if_revision, stale, &specimen, &withdrawn, err)
           && statement_run(write->connection, change, NULL, err, "ittttt", id, or_empty(intake->device),
                            or_empty(intake->operator_name), or_empty(intake->date),
                            or_empty(intake->resolution), or_empty(intake->uncertainty))
           && statement_run(write->connection, log, NULL, err, "itt", id, write->now, or_empty(by))
           && summary_touch_version(write, id, err) && summary_touch_specimen(write, specimen, false, err);
}

bool store_version_set_intake(struct store *store, int64_t id, const struct store_intake *intake,
                              const char *by, int64_t if_revision, bool *stale, struct error *err)
{
    struct write write;
    *stale = false;
    if (!check_intake(intake, err)
        || !text_check("name of who states it", by, STORE_NAME_MAX, TEXT_LINE, true, err)
        || !write_begin(store, &write, err))
        return false;
    bool ok = set_intake(&write, id, intake, by, if_revision, stale, err);
    return write_end(&write, ok, err);
}

static bool withdraw(struct write *write, int64_t id, const char *reason, const char *by, int64_t if_revision,
                     bool *stale, struct error *err)
{
    static const char change[] = "UPDATE version SET withdrawn_reason = ?2, withdrawn_by = ?3,"
                                 " withdrawn_at = ?4 WHERE id = ?1";
    static const char log[] = STEP_INSERT
        "SELECT ?2, specimen, 'version withdrawn', nullif(withdrawn_by, ''), kind || ' ' || number || ': ' ||"
        " withdrawn_reason, 'version', id FROM version WHERE id = ?1";
    int64_t specimen;
    bool withdrawn;
    if (!look_up(write, id, if_revision, stale, &specimen, &withdrawn, err))
        return false;
    if (withdrawn)
        return error_set(err, ERROR_CONFLICT, "the version is withdrawn already");
    return statement_run(write->connection, change, NULL, err, "ittt", id, reason, by ? by : "", write->now)
           && statement_run(write->connection, log, NULL, err, "it", id, write->now)
           && summary_refresh(write, specimen, id, err);
}

bool store_version_withdraw(struct store *store, int64_t id, const char *reason, const char *by,
                            int64_t if_revision, bool *stale, struct error *err)
{
    struct write write;
    *stale = false;
    if (!text_check("reason", reason, STORE_NOTE_MAX, TEXT_LINES, false, err)
        || !text_check("name of who withdraws", by, STORE_NAME_MAX, TEXT_LINE, true, err)
        || !write_begin(store, &write, err))
        return false;
    bool ok = withdraw(&write, id, reason, by, if_revision, stale, err);
    return write_end(&write, ok, err);
}
