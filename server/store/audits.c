/* audits.c - keeping and reading audits. */
#include "store/audits.h"

#include "store/inside.h"

#include <string.h>

#define AUDIT_COLUMNS                                                                                        \
    "a.id, a.run, a.spec, v.specimen, v.id, v.number, s.version, a.waived, a.revision, v.kind,"              \
    " c.catalogue_number, s.name, a.outcome, a.sha256, a.created,"                                           \
    " (SELECT count(*) FROM signoff o WHERE o.audit = a.id)"
#define AUDIT_TABLES                                                                                         \
    "audit a JOIN run r ON r.id = a.run JOIN version v ON v.id = r.version JOIN specimen c"                  \
    " ON c.id = v.specimen JOIN spec s ON s.id = a.spec"

static void take_audit(sqlite3_stmt *row, struct arena *keep, struct store_audit *audit)
{
    *audit = (struct store_audit){
        .id = column_id(row, 0),
        .run = column_id(row, 1),
        .spec = column_id(row, 2),
        .specimen = column_id(row, 3),
        .version = column_id(row, 4),
        .number = column_id(row, 5),
        .spec_version = column_id(row, 6),
        .waived = column_id(row, 7),
        .revision = column_id(row, 8),
        .kind = column_text(row, 9, keep),
        .catalogue_number = column_text(row, 10, keep),
        .spec_name = column_text(row, 11, keep),
        .outcome = column_text(row, 12, keep),
        .sha256 = column_text(row, 13, keep),
        .created = column_text(row, 14, keep),
        .sign_off_count = column_id(row, 15),
    };
}

static bool add(struct write *write, const struct store_audit_new *audit, int64_t *id, bool *created,
                struct error *err)
{
    static const char same[] = "SELECT id FROM audit WHERE sha256 = ?3 AND id ="
                               " (SELECT max(id) FROM audit WHERE run = ?1 AND spec = ?2)";
    static const char owner[] =
        "SELECT v.specimen FROM run r JOIN version v ON v.id = r.version WHERE r.id = ?1";
    static const char insert[] =
        "INSERT INTO audit (run, spec, outcome, waived, sha256, body, created, revision)"
        " VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)";
    static const char log[] = STEP_INSERT
        "SELECT ?2, v.specimen, 'audit made', NULL, v.kind || ' ' || v.number || ' by ' || s.name || ' ' ||"
        " s.version || ': ' || a.outcome, 'audit', a.id FROM " AUDIT_TABLES " WHERE a.id = ?1";
    bool found;
    int64_t specimen = 0;
    *created = false;
    if (!statement_value(write->connection, same, id, &found, err, "iit", audit->run, audit->spec,
                         audit->sha256))
        return false;
    if (found)
        return true;
    *created = true;
    if (!statement_value(write->connection, owner, &specimen, &found, err, "i", audit->run)
        || !statement_run(write->connection, insert, NULL, err, "iitittti", audit->run, audit->spec,
                          audit->outcome, audit->waived, audit->sha256, audit->body, write->now,
                          write->revision))
        return false;
    *id = sqlite3_last_insert_rowid(write->connection->db);
    return statement_run(write->connection, log, NULL, err, "it", *id, write->now)
           && summary_touch_specimen(write, specimen, false, err);
}

bool store_audit_add(struct store *store, const struct store_audit_new *audit, int64_t *id, bool *created,
                     struct error *err)
{
    struct write write;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = add(&write, audit, id, created, err);
    return write_end(&write, ok, err);
}

bool store_audit_get(struct store *store, int64_t id, struct arena *keep, struct store_audit *audit,
                     struct error *err)
{
    static const char read[] = "SELECT " AUDIT_COLUMNS ", a.body FROM " AUDIT_TABLES " WHERE a.id = ?1";
    struct connection *connection;
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", id);
    int step = statement_step(connection, row, err);
    if (step == 1) {
        take_audit(row, keep, audit);
        audit->body = column_text(row, 16, keep);
    }
    statement_end(row);
    read_end(store, connection);
    if (step == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no audit %lld", (long long)id);
    return step == 1 && (!keep->failed || arena_error(err));
}

#define MATCHES                                                                                              \
    "(?1 IS NULL OR v.specimen = ?1) AND (?2 IS NULL OR a.run = ?2) AND (?3 IS NULL OR a.spec = ?3)"

static bool read_page(struct connection *connection, const struct store_audit_query *query, int64_t before,
                      struct arena *keep, struct store_audit_page *page, struct error *err)
{
    static const char read[] = "SELECT " AUDIT_COLUMNS " FROM " AUDIT_TABLES " WHERE " MATCHES
                               " AND a.id < ?4 ORDER BY a.id DESC LIMIT ?5";
    int step;
    page->items = ARENA_NEW(keep, struct store_audit, query->limit);
    if (!page->items)
        return arena_error(err);
    sqlite3_stmt *row = statement_begin(connection, read, err, "kkkii", query->specimen, query->run,
                                        query->spec, before, (int64_t)query->limit + 1);
    while ((step = statement_step(connection, row, err)) == 1 && page->count < query->limit)
        take_audit(row, keep, &page->items[page->count++]);
    if (step == 1)
        page->next = cursor_make(page->items[page->count - 1].id, keep);
    statement_end(row);
    return step >= 0 && (!keep->failed || arena_error(err));
}

bool store_audit_list(struct store *store, const struct store_audit_query *query, struct arena *keep,
                      struct store_audit_page *page, struct error *err)
{
    static const char count[] = "SELECT count(*) FROM " AUDIT_TABLES " WHERE " MATCHES;
    struct connection *connection;
    int64_t before;
    memset(page, 0, sizeof *page);
    if (!limit_check(query->limit, err) || !cursor_parse(query->cursor, &before, err)
        || !read_begin(store, &connection, err))
        return false;
    bool ok = statement_value(connection, count, &page->total, NULL, err, "kkk", query->specimen, query->run,
                              query->spec)
              && read_page(connection, query, before ? before : INT64_MAX, keep, page, err);
    read_end(store, connection);
    return ok;
}
