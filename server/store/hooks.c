/* hooks.c - hooks and the outbox of their deliveries; what is told of is put there by triggers of the
 * schema. */
#include "store/hooks.h"

#include "store/inside.h"

#include <string.h>

enum { DELIVERIES_KEPT = 500 }; /* of those that have ended, for each hook */

int64_t store_now_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* --- hooks --- */

#define DELIVERIES_IN(state) "(SELECT count(*) FROM delivery d WHERE d.hook = h.id AND d.state = '" state "')"
#define HOOK_COLUMNS                                                                                         \
    "h.id, h.revision, h.url, h.events, h.created, h.failing_since, h.disabled_at, "                         \
    "h.disabled_reason, " DELIVERIES_IN("waiting") ", " DELIVERIES_IN("delivered") ", " DELIVERIES_IN(       \
        "failed")

static void take_hook(sqlite3_stmt *row, struct arena *keep, struct store_hook *hook)
{
    *hook = (struct store_hook){
        .id = column_id(row, 0),
        .revision = column_id(row, 1),
        .url = column_text(row, 2, keep),
        .events = column_text(row, 3, keep),
        .created = column_text(row, 4, keep),
        .failing_since = column_text(row, 5, keep),
        .disabled_at = column_text(row, 6, keep),
        .disabled_reason = column_text(row, 7, keep),
        .waiting = column_id(row, 8),
        .delivered = column_id(row, 9),
        .failed = column_id(row, 10),
    };
}

static bool add_hook(struct write *write, const struct store_hook_new *hook, int64_t *id, struct error *err)
{
    static const char many[] = "SELECT count(*) FROM hook WHERE withdrawn_at IS NULL";
    static const char insert[] =
        "INSERT INTO hook (url, events, secret, created, revision) VALUES (?1, ?2, ?3, ?4, ?5)";
    int64_t count;
    if (!statement_value(write->connection, many, &count, NULL, err, ""))
        return false;
    if (count >= STORE_HOOKS_MAX)
        return error_set(err, ERROR_CONFLICT, "there are %d hooks already; withdraw one first",
                         STORE_HOOKS_MAX);
    if (!statement_run(write->connection, insert, NULL, err, "tttti", hook->url, hook->events, hook->secret,
                       write->now, write->revision))
        return false;
    *id = sqlite3_last_insert_rowid(write->connection->db);
    return true;
}

bool store_hook_add(struct store *store, const struct store_hook_new *hook, int64_t *id, struct error *err)
{
    struct write write;
    if (!text_check("url", hook->url, STORE_URL_MAX, TEXT_LINE, false, err)
        || !text_check("secret", hook->secret, STORE_SECRET_MAX, TEXT_LINE, false, err)
        || !write_begin(store, &write, err))
        return false;
    bool ok = add_hook(&write, hook, id, err);
    return write_end(&write, ok, err);
}

/* What waits for a hook is not sent any more. */
static bool give_up(struct write *write, int64_t hook, const char *why, struct error *err)
{
    static const char end[] = "UPDATE delivery SET state = 'failed', ended = ?2, last_error ="
                              " coalesce(last_error || '; ', '') || ?3 WHERE hook = ?1 AND state = 'waiting'";
    return statement_run(write->connection, end, NULL, err, "itt", hook, write->now, why);
}

static bool withdraw(struct write *write, int64_t id, struct error *err)
{
    static const char look[] = "SELECT withdrawn_at IS NOT NULL FROM hook WHERE id = ?1";
    static const char end[] = "UPDATE hook SET withdrawn_at = ?2, secret = 'forgotten', revision = ?3"
                              " WHERE id = ?1";
    int64_t withdrawn;
    bool found;
    if (!statement_value(write->connection, look, &withdrawn, &found, err, "i", id))
        return false;
    if (!found)
        return error_set(err, ERROR_NOT_FOUND, "there is no hook %lld", (long long)id);
    return withdrawn
           || (statement_run(write->connection, end, NULL, err, "iti", id, write->now, write->revision)
               && give_up(write, id, "the hook was withdrawn", err));
}

bool store_hook_withdraw(struct store *store, int64_t id, struct error *err)
{
    struct write write;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = withdraw(&write, id, err);
    return write_end(&write, ok, err);
}

bool store_hook_get(struct store *store, int64_t id, struct arena *keep, struct store_hook *hook,
                    struct error *err)
{
    static const char read[] =
        "SELECT " HOOK_COLUMNS " FROM hook h WHERE h.id = ?1 AND h.withdrawn_at IS NULL";
    struct connection *connection;
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", id);
    int step = statement_step(connection, row, err);
    if (step == 1)
        take_hook(row, keep, hook);
    statement_end(row);
    read_end(store, connection);
    if (step == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no hook %lld", (long long)id);
    return step == 1 && (!keep->failed || arena_error(err));
}

bool store_hook_list(struct store *store, struct arena *keep, struct store_hook_list *list, struct error *err)
{
    static const char read[] =
        "SELECT " HOOK_COLUMNS " FROM hook h WHERE h.withdrawn_at IS NULL ORDER BY h.id";
    struct connection *connection;
    int step;
    *list = (struct store_hook_list){0, ARENA_NEW(keep, struct store_hook, STORE_HOOKS_MAX)};
    if (!list->items)
        return arena_error(err);
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "");
    while ((step = statement_step(connection, row, err)) == 1 && list->count < STORE_HOOKS_MAX)
        take_hook(row, keep, &list->items[list->count++]);
    statement_end(row);
    read_end(store, connection);
    return step >= 0 && (!keep->failed || arena_error(err));
}

static bool add_test(struct write *write, int64_t hook, int64_t *delivery, struct error *err)
{
    static const char add[] = "INSERT INTO delivery (hook, uid, event, due_ms, created)"
                              " SELECT h.id, lower(hex(randomblob(16))), 'test', 0, ?2 FROM hook h"
                              " WHERE h.id = ?1 AND h.withdrawn_at IS NULL";
    int64_t added;
    if (!statement_run(write->connection, add, &added, err, "it", hook, write->now))
        return false;
    if (!added)
        return error_set(err, ERROR_NOT_FOUND, "there is no hook %lld", (long long)hook);
    *delivery = sqlite3_last_insert_rowid(write->connection->db);
    write_note(write, STORE_CHANGED_HOOK, *delivery, 0, 0);
    return true;
}

bool store_hook_test(struct store *store, int64_t id, int64_t *delivery, struct error *err)
{
    struct write write;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = add_test(&write, id, delivery, err);
    return write_end(&write, ok, err);
}

/* --- deliveries --- */

#define DELIVERY_COLUMNS                                                                                     \
    "d.id, d.hook, d.attempts, d.due_ms, d.last_status, d.uid, d.event, d.state, d.created, d.ended,"        \
    " d.last_error, d.last_answer"

static void take_delivery(sqlite3_stmt *row, struct arena *keep, struct store_delivery *delivery)
{
    *delivery = (struct store_delivery){
        .id = column_id(row, 0),
        .hook = column_id(row, 1),
        .attempts = column_id(row, 2),
        .due_ms = column_id(row, 3),
        .last_status = column_id(row, 4),
        .uid = column_text(row, 5, keep),
        .event = column_text(row, 6, keep),
        .state = column_text(row, 7, keep),
        .created = column_text(row, 8, keep),
        .ended = column_text(row, 9, keep),
        .last_error = column_text(row, 10, keep),
        .last_answer = column_text(row, 11, keep),
    };
}

static bool read_deliveries(struct connection *connection, int64_t hook, size_t limit, int64_t before,
                            struct arena *keep, struct store_delivery_page *page, struct error *err)
{
    static const char read[] = "SELECT " DELIVERY_COLUMNS " FROM delivery d WHERE d.hook = ?1 AND d.id < ?2"
                               " ORDER BY d.id DESC LIMIT ?3";
    int step;
    page->items = ARENA_NEW(keep, struct store_delivery, limit);
    if (!page->items)
        return arena_error(err);
    sqlite3_stmt *row = statement_begin(connection, read, err, "iii", hook, before, (int64_t)limit + 1);
    while ((step = statement_step(connection, row, err)) == 1 && page->count < limit)
        take_delivery(row, keep, &page->items[page->count++]);
    if (step == 1)
        page->next = cursor_make(page->items[page->count - 1].id, keep);
    statement_end(row);
    return step >= 0 && (!keep->failed || arena_error(err));
}

bool store_delivery_list(struct store *store, int64_t hook, size_t limit, const char *cursor,
                         struct arena *keep, struct store_delivery_page *page, struct error *err)
{
    static const char count[] = "SELECT count(*) FROM delivery WHERE hook = ?1";
    struct connection *connection;
    int64_t before;
    memset(page, 0, sizeof *page);
    if (!limit_check(limit, err) || !cursor_parse(cursor, &before, err)
        || !read_begin(store, &connection, err))
        return false;
    bool ok = statement_value(connection, count, &page->total, NULL, err, "i", hook)
              && read_deliveries(connection, hook, limit, before ? before : INT64_MAX, keep, page, err);
    read_end(store, connection);
    return ok;
}

/* What a delivery says, from rows that are never changed but for a specimen's title. */
#define SPECIMEN_JSON                                                                                        \
    "'specimen', json_object('id', CAST(c.id AS TEXT), 'catalogue_number', c.catalogue_number,"              \
    " 'title', c.title, 'url', '/api/v1/specimens/' || c.id)"
#define HOLDS_JSON                                                                                           \
    "json((SELECT json_group_array(json_object('rule', o.rule, 'name', o.name, 'outcome', o.outcome,"        \
    " 'waived', json(iif(o.waived, 'true', 'false'))))"                                                      \
    " FROM (SELECT * FROM audit_hold WHERE audit = a.id ORDER BY place) o))"
#define AUDIT_BODY                                                                                           \
    "(SELECT json_object('event', d.event, 'created', t.created, " SPECIMEN_JSON                             \
    ", 'version', json_object('id', CAST(v.id AS TEXT), 'kind', v.kind, 'number', v.number),"                \
    " 'run', CAST(a.run AS TEXT),"                                                                           \
    " 'spec', json_object('id', CAST(s.id AS TEXT), 'name', s.name, 'version', s.version),"                  \
    " 'audit', json_object('id', CAST(a.id AS TEXT), 'outcome', a.outcome, 'waived', a.waived,"              \
    " 'sha256', a.sha256, 'url', '/api/v1/audits/' || a.id), 'holds', " HOLDS_JSON                           \
    ") FROM audit a JOIN spec s ON s.id = a.spec JOIN run r ON r.id = a.run"                                 \
    " JOIN version v ON v.id = r.version JOIN specimen c ON c.id = v.specimen WHERE a.id = t.about_id)"
#define OTHER_BODY                                                                                           \
    "(SELECT json_object('event', d.event, 'created', t.created, " SPECIMEN_JSON                             \
    ", 'id', CAST(t.about_id AS TEXT), 'who', t.who, 'text', t.text) FROM specimen c"                        \
    " WHERE c.id = t.specimen)"
#define DELIVERY_BODY                                                                                        \
    "CASE d.event WHEN 'test' THEN json_object('event', 'test', 'created', d.created)"                       \
    " WHEN 'audit' THEN " AUDIT_BODY " ELSE " OTHER_BODY " END"

bool store_delivery_due(struct store *store, int64_t now_ms, struct arena *keep,
                        struct store_delivery *delivery, bool *found, int64_t *next_ms, struct error *err)
{
    static const char read[] =
        "SELECT " DELIVERY_COLUMNS ", " DELIVERY_BODY ", h.url, h.secret FROM delivery d"
        " JOIN hook h ON h.id = d.hook LEFT JOIN step t ON t.id = d.step"
        " WHERE d.state = 'waiting' ORDER BY d.due_ms, d.id LIMIT 1";
    struct connection *connection;
    *found = false;
    *next_ms = 0;
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "");
    int step = statement_step(connection, row, err);
    if (step == 1) {
        take_delivery(row, keep, delivery);
        delivery->body = column_text(row, 12, keep);
        delivery->url = column_text(row, 13, keep);
        delivery->secret = column_text(row, 14, keep);
        *next_ms = delivery->due_ms;
        *found = delivery->due_ms <= now_ms;
    }
    statement_end(row);
    read_end(store, connection);
    return step >= 0 && (!keep->failed || arena_error(err));
}

/* Whether a hook has failed for so long that it is disabled now. */
static bool disable_if_long(struct write *write, int64_t hook, int64_t after_s, struct error *err)
{
    static const char disable[] =
        "UPDATE hook SET disabled_at = ?2, disabled_reason = 'nothing was accepted since ' || failing_since,"
        " revision = ?4 WHERE id = ?1 AND disabled_at IS NULL"
        " AND unixepoch(?2) - unixepoch(failing_since) >= ?3";
    int64_t disabled;
    return statement_run(write->connection, disable, &disabled, err, "itii", hook, write->now, after_s,
                         write->revision)
           && (!disabled || give_up(write, hook, "the hook was disabled", err));
}

static bool note_failure(struct write *write, const struct store_delivery *delivery,
                         const struct store_attempt *attempt, struct error *err)
{
    static const char failing[] =
        "UPDATE hook SET failing_since = coalesce(failing_since, ?2), revision = ?3 WHERE id = ?1";
    if (strcmp(delivery->event, "test") == 0)
        return true;
    return statement_run(write->connection, failing, NULL, err, "iti", delivery->hook, write->now,
                         write->revision)
           && disable_if_long(write, delivery->hook, attempt->disable_after_s, err);
}

static bool note_success(struct write *write, const struct store_delivery *delivery, struct error *err)
{
    static const char well[] = "UPDATE hook SET failing_since = NULL, disabled_at = NULL,"
                               " disabled_reason = NULL, revision = ?2 WHERE id = ?1";
    static const char forget[] =
        "DELETE FROM delivery WHERE hook = ?1 AND state <> 'waiting' AND id <="
        " (SELECT id FROM delivery WHERE hook = ?1 ORDER BY id DESC LIMIT 1 OFFSET ?2)";
    return statement_run(write->connection, well, NULL, err, "ii", delivery->hook, write->revision)
           && statement_run(write->connection, forget, NULL, err, "ii", delivery->hook,
                            (int64_t)DELIVERIES_KEPT);
}

bool store_delivery_tried(struct store *store, const struct store_delivery *delivery,
                          const struct store_attempt *attempt, struct error *err)
{
    static const char note[] =
        "UPDATE delivery SET attempts = attempts + 1, last_status = nullif(?2, 0), last_error = ?3,"
        " last_answer = ?4, due_ms = ?5, state = ?6, ended = iif(?6 = 'waiting', NULL, ?7)"
        " WHERE id = ?1 AND state = 'waiting'";
    const char *state = attempt->accepted                      ? "delivered"
                        : strcmp(delivery->event, "test") == 0 ? "failed"
                                                               : "waiting";
    struct write write;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = statement_run(write.connection, note, NULL, err, "iittitt", delivery->id, attempt->status,
                            attempt->error, attempt->answer, attempt->again_ms, state, write.now)
              && (attempt->accepted ? note_success(&write, delivery, err)
                                    : note_failure(&write, delivery, attempt, err));
    return write_end(&write, ok, err);
}

/* --- what feeds tell --- */

#define TOLD(where)                                                                                          \
    "SELECT t.specimen, t.about_id, t.created, t.kind, t.who, t.text, t.about, c.catalogue_number"           \
    " FROM step t JOIN specimen c ON c.id = t.specimen WHERE " where                                         \
    " t.kind IN ('audit made', 'signed off', 'handed over') ORDER BY t.id DESC LIMIT ?1"

bool store_told_list(struct store *store, int64_t specimen, size_t limit, struct arena *keep,
                     struct store_told_list *list, struct error *err)
{
    static const char all[] = TOLD("?2 IS NULL AND"), of_one[] = TOLD("t.specimen = ?2 AND");
    struct connection *connection;
    int step;
    *list = (struct store_told_list){0, ARENA_NEW(keep, struct store_told, limit)};
    if (!list->items)
        return arena_error(err);
    if (!limit_check(limit, err) || !read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row =
        statement_begin(connection, specimen ? of_one : all, err, "ik", (int64_t)limit, specimen);
    while ((step = statement_step(connection, row, err)) == 1 && list->count < limit)
        list->items[list->count++] = (struct store_told){
            .specimen = column_id(row, 0),
            .about_id = column_id(row, 1),
            .created = column_text(row, 2, keep),
            .kind = column_text(row, 3, keep),
            .who = column_text(row, 4, keep),
            .text = column_text(row, 5, keep),
            .about = column_text(row, 6, keep),
            .catalogue_number = column_text(row, 7, keep),
        };
    statement_end(row);
    read_end(store, connection);
    return step >= 0 && (!keep->failed || arena_error(err));
}

/* --- the collection itself --- */

bool store_collection_uuid(struct store *store, struct arena *keep, const char **uuid, struct error *err)
{
    static const char read[] = "SELECT uuid FROM collection";
    struct connection *connection;
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "");
    int step = statement_step(connection, row, err);
    *uuid = step == 1 ? column_text(row, 0, keep) : NULL;
    statement_end(row);
    read_end(store, connection);
    if (step == 0)
        return error_set(err, ERROR_STORE, "the collection has lost its name; run fettle verify");
    return step == 1 && (*uuid || arena_error(err));
}
