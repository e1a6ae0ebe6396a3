/* runs.c - reading finished runs: what lists say of them, their record, their fields. */
#include "store/runs.h"

#include "store/inside.h"

#include <string.h>

/* The settings ?2, or those with a finer certify (store/settings.h). */
#define AS_FINE                                                                                              \
    "(e.settings = ?2 OR (e.settings LIKE 'certify=%' AND ?2 LIKE 'certify=%'"                               \
    " AND substr(e.settings, instr(e.settings, ' ')) = substr(?2, instr(?2, ' '))"                           \
    " AND CAST(substr(e.settings, 9) AS REAL) < CAST(substr(?2, 9) AS REAL)))"
#define RUN_COLUMNS                                                                                                                             \
    "r.id, r.version, r.against, v.specimen, v.kind, v.number, r.created, e.definitions, e.version,"                                            \
    " e.settings, b.sha256, ab.sha256, r.request_key IS NOT NULL AND e.definitions = ?1"                                                        \
    " AND " AS_FINE                                                                                                                             \
    ", " RUN_VALUE("r.id", MEASURE_OPEN_EDGES) ", " RUN_VALUE("r.id", MEASURE_LOST) ", " RUN_VALUE("r.id", MEASURE_INVENTED) ", " RUN_VALUE(    \
        "r.id",                                                                                                                                 \
        MEASURE_HAUSDORFF) ", " RUN_VALUE("r."                                                                                                  \
                                          "i"                                                                                                   \
                                          "d",                                                                                                  \
                                          MEASURE_FAULTS) ", " RUN_VALUE("r.id",                                                                \
                                                                         MEASURE_WARNINGS) ", " RUN_VALUE("r.id",                               \
                                                                                                          MEASURE_GENUS) ", " RUN_VALUE("r.id", \
                                                                                                                                        MEASURE_SHELLS)
#define RUN_TABLES                                                                                           \
    "run r JOIN version v ON v.id = r.version JOIN blob b ON b.id = v.blob JOIN engine e ON e.id = r.engine" \
    " LEFT JOIN version a ON a.id = r.against LEFT JOIN blob ab ON ab.id = a.blob"

static void take_run(sqlite3_stmt *row, struct arena *keep, struct store_run *run)
{
    *run = (struct store_run){
        .id = column_id(row, 0),
        .version = column_id(row, 1),
        .against = column_id(row, 2),
        .specimen = column_id(row, 3),
        .kind = column_text(row, 4, keep),
        .number = column_id(row, 5),
        .created = column_text(row, 6, keep),
        .definitions = (int)column_id(row, 7),
        .engine_version = column_text(row, 8, keep),
        .settings = column_text(row, 9, keep),
        .subject_sha256 = column_text(row, 10, keep),
        .reference_sha256 = column_text(row, 11, keep),
        .current = column_id(row, 12) != 0,
        .open_edges = column_real(row, 13),
        .lost = column_real(row, 14),
        .invented = column_real(row, 15),
        .hausdorff = column_real(row, 16),
        .faults = column_real(row, 17),
        .warnings = column_real(row, 18),
        .genus = column_real(row, 19),
        .shells = column_real(row, 20),
    };
}

static bool no_run(int64_t id, struct error *err)
{
    return error_set(err, ERROR_NOT_FOUND, "there is no run %lld", (long long)id);
}

bool store_run_get(struct store *store, int64_t id, struct arena *keep, struct store_run *run,
                   struct error *err)
{
    static const char read[] = "SELECT " RUN_COLUMNS " FROM " RUN_TABLES " WHERE r.id = ?3";
    struct connection *connection;

    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "iti", (int64_t)store->options.definitions,
                                        store->settings, id);
    int step = statement_step(connection, row, err);
    if (step == 1)
        take_run(row, keep, run);
    statement_end(row);
    read_end(store, connection);
    if (step == 0)
        return no_run(id, err);
    return step == 1 && (!keep->failed || arena_error(err));
}

/* NULL with err on failure; the caller ends it. */
static sqlite3_stmt *begin_list(struct connection *connection, const struct store *store, int64_t version,
                                int64_t before, size_t limit, struct error *err)
{
    static const char of_version[] = "SELECT " RUN_COLUMNS " FROM " RUN_TABLES
                                     " WHERE r.version = ?5 AND r.id < ?3 ORDER BY r.id DESC LIMIT ?4";
    static const char of_all[] =
        "SELECT " RUN_COLUMNS " FROM " RUN_TABLES " WHERE r.id < ?3 ORDER BY r.id DESC LIMIT ?4";
    int64_t definitions = store->options.definitions, rows = (int64_t)limit + 1;
    return version
               ? statement_begin(connection, of_version, err, "itiii", definitions, store->settings, before,
                                 rows, version)
               : statement_begin(connection, of_all, err, "itii", definitions, store->settings, before, rows);
}

static bool read_page(struct connection *connection, const struct store *store, int64_t version, size_t limit,
                      int64_t before, struct arena *keep, struct store_run_page *page, struct error *err)
{
    int step;

    page->items = ARENA_NEW(keep, struct store_run, limit);
    if (!page->items)
        return arena_error(err);
    sqlite3_stmt *row = begin_list(connection, store, version, before, limit, err);
    while ((step = statement_step(connection, row, err)) == 1 && page->count < limit)
        take_run(row, keep, &page->items[page->count++]);
    if (step == 1)
        page->next = cursor_make(page->items[page->count - 1].id, keep);
    statement_end(row);
    return step >= 0 && (!keep->failed || arena_error(err));
}

bool store_run_list(struct store *store, int64_t version, size_t limit, const char *cursor,
                    struct arena *keep, struct store_run_page *page, struct error *err)
{
    static const char look[] = "SELECT 1 FROM version WHERE id = ?1";
    static const char count_of_version[] = "SELECT count(*) FROM run WHERE version = ?1";
    static const char count_all[] = "SELECT count(*) FROM run WHERE ?1 IS NULL";
    struct connection *connection;
    int64_t before, one;
    bool found = true;

    memset(page, 0, sizeof *page);
    if (!limit_check(limit, err) || !cursor_parse(cursor, &before, err))
        return false;
    page->revision = store_revision(store);
    if (!read_begin(store, &connection, err))
        return false;
    bool ok = !version || statement_value(connection, look, &one, &found, err, "i", version);
    if (ok && !found)
        ok = error_set(err, ERROR_NOT_FOUND, "there is no version %lld", (long long)version);
    ok = ok
         && statement_value(connection, version ? count_of_version : count_all, &page->total, NULL, err, "k",
                            version)
         && read_page(connection, store, version, limit, before ? before : INT64_MAX, keep, page, err);
    read_end(store, connection);
    return ok;
}

bool store_run_latest_ids(struct store *store, size_t most, struct arena *keep, int64_t **ids, size_t *count,
                          struct error *err)
{
    static const char read[] = "SELECT latest_run FROM version WHERE latest_run IS NOT NULL"
                               " AND withdrawn_at IS NULL ORDER BY latest_run DESC LIMIT ?1";
    struct connection *connection;
    int step;
    *count = 0;
    *ids = ARENA_NEW(keep, int64_t, most);
    if (!*ids)
        return arena_error(err);
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", (int64_t)most);
    while ((step = statement_step(connection, row, err)) == 1)
        (*ids)[(*count)++] = column_id(row, 0);
    statement_end(row);
    read_end(store, connection);
    return step >= 0;
}

/* --- the record --- */

bool store_run_record(struct store *store, int64_t id, struct arena *keep, const char **bytes, size_t *count,
                      struct error *err)
{
    struct connection *connection;
    if (!read_begin(store, &connection, err))
        return false;
    bool ok = record_read(connection, id, false, keep, bytes, count, err);
    read_end(store, connection);
    return ok;
}

/* --- fields --- */

bool store_run_field_open(struct store *store, int64_t id, const char *name, int *fd, uint64_t *bytes,
                          bool *per_face, struct error *err)
{
    static const char read[] = "SELECT b.sha256, f.per_face FROM run r LEFT JOIN run_field f"
                               " ON f.run = r.id AND f.name = ?2 LEFT JOIN blob b ON b.id = f.blob"
                               " WHERE r.id = ?1";
    struct connection *connection;
    char sha256[DIGEST_HEX_SIZE] = "";

    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "it", id, name);
    int step = statement_step(connection, row, err);
    if (step == 1 && sqlite3_column_type(row, 0) != SQLITE_NULL) {
        memcpy(sha256, sqlite3_column_text(row, 0), DIGEST_HEX_SIZE);
        *per_face = column_id(row, 1) != 0;
    }
    statement_end(row);
    read_end(store, connection);
    if (step == 0)
        return no_run(id, err);
    if (step == 1 && !sha256[0])
        return error_set(err, ERROR_NOT_FOUND, "the run has no such field");
    return step == 1 && store_blob_open(store, sha256, fd, bytes, err);
}
