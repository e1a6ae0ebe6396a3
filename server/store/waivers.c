/* waivers.c - adding, withdrawing and reading waivers. */
#include "store/waivers.h"

#include "store/inside.h"

#include <string.h>

#define WAIVER_COLUMNS                                                                                       \
    "w.id, w.specimen, w.revision, w.spec_name, w.rule, w.reason, w.author, w.expires, w.created,"           \
    " w.withdrawn_at"

static void take_waiver(sqlite3_stmt *row, struct arena *keep, struct store_waiver *waiver)
{
    *waiver = (struct store_waiver){
        .id = column_id(row, 0),
        .specimen = column_id(row, 1),
        .revision = column_id(row, 2),
        .spec_name = column_text(row, 3, keep),
        .rule = column_text(row, 4, keep),
        .reason = column_text(row, 5, keep),
        .author = column_text(row, 6, keep),
        .expires = column_text(row, 7, keep),
        .created = column_text(row, 8, keep),
        .withdrawn_at = column_text(row, 9, keep),
    };
}

bool specimen_exists(struct connection *connection, int64_t specimen, struct error *err)
{
    static const char look[] = "SELECT id FROM specimen WHERE id = ?1";
    int64_t id;
    bool found;
    return statement_value(connection, look, &id, &found, err, "i", specimen)
           && (found || error_set(err, ERROR_NOT_FOUND, "there is no specimen %lld", (long long)specimen));
}

bool store_waiver_add(struct store *store, const struct store_waiver *waiver, int64_t *id, struct error *err)
{
    static const char insert[] =
        "INSERT INTO waiver (specimen, spec_name, rule, reason, author, expires, created,"
        " revision) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)";
    static const char log[] = STEP_INSERT
        "SELECT ?2, specimen, 'waiver added', author, rule || ' of ' || spec_name || ' until ' || expires ||"
        " ': ' || reason, 'waiver', id FROM waiver WHERE id = ?1";
    struct write write;
    if (!text_check("reason", waiver->reason, STORE_REASON_MAX, TEXT_LINES, false, err)
        || !text_check("author", waiver->author, STORE_AUTHOR_MAX, TEXT_LINE, false, err)
        || !text_check("rule", waiver->rule, STORE_RULE_MAX, TEXT_LINE, false, err)
        || !write_begin(store, &write, err))
        return false;
    bool ok = specimen_exists(write.connection, waiver->specimen, err)
              && statement_run(write.connection, insert, NULL, err, "itttttti", waiver->specimen,
                               waiver->spec_name, waiver->rule, waiver->reason, waiver->author,
                               waiver->expires, write.now, write.revision);
    if (ok) {
        *id = sqlite3_last_insert_rowid(write.connection->db);
        ok = statement_run(write.connection, log, NULL, err, "it", *id, write.now)
             && summary_touch_specimen(&write, waiver->specimen, false, err);
    }
    return write_end(&write, ok, err);
}

bool store_waiver_withdraw(struct store *store, int64_t id, struct error *err)
{
    static const char look[] = "SELECT specimen FROM waiver WHERE id = ?1";
    static const char log[] =
        STEP_INSERT "SELECT ?2, specimen, 'waiver withdrawn', NULL, rule || ' of ' || spec_name, 'waiver', id"
                    " FROM waiver WHERE id = ?1 AND withdrawn_at IS NULL";
    static const char change[] = "UPDATE waiver SET withdrawn_at = coalesce(withdrawn_at, ?2), revision = ?3"
                                 " WHERE id = ?1";
    struct write write;
    int64_t specimen;
    bool found;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = statement_value(write.connection, look, &specimen, &found, err, "i", id);
    if (ok && !found)
        ok = error_set(err, ERROR_NOT_FOUND, "there is no waiver %lld", (long long)id);
    ok = ok && statement_run(write.connection, log, NULL, err, "it", id, write.now)
         && statement_run(write.connection, change, NULL, err, "iti", id, write.now, write.revision)
         && summary_touch_specimen(&write, specimen, false, err);
    return write_end(&write, ok, err);
}

bool store_waiver_get(struct store *store, int64_t id, struct arena *keep, struct store_waiver *waiver,
                      struct error *err)
{
    static const char read[] = "SELECT " WAIVER_COLUMNS " FROM waiver w WHERE w.id = ?1";
    struct connection *connection;
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", id);
    int step = statement_step(connection, row, err);
    if (step == 1)
        take_waiver(row, keep, waiver);
    statement_end(row);
    read_end(store, connection);
    if (step == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no waiver %lld", (long long)id);
    return step == 1 && (!keep->failed || arena_error(err));
}

bool store_waiver_list(struct store *store, int64_t specimen, const char *spec_name, struct arena *keep,
                       struct store_waiver_list *list, struct error *err)
{
    static const char read[] =
        "SELECT " WAIVER_COLUMNS " FROM waiver w WHERE w.specimen = ?1"
        " AND (?2 IS NULL OR (w.spec_name = ?2 AND w.withdrawn_at IS NULL)) ORDER BY w.id";
    struct connection *connection;
    size_t room = 0;
    int step = -1;
    memset(list, 0, sizeof *list);
    if (!read_begin(store, &connection, err))
        return false;
    if (specimen_exists(connection, specimen, err)) {
        sqlite3_stmt *row = statement_begin(connection, read, err, "it", specimen, spec_name);
        while ((step = statement_step(connection, row, err)) == 1) {
            list->items = arena_grow(keep, list->items, list->count, &room, sizeof *list->items);
            if (!list->items)
                break;
            take_waiver(row, keep, &list->items[list->count++]);
        }
        statement_end(row);
    }
    read_end(store, connection);
    return step >= 0 && (!keep->failed || arena_error(err));
}
