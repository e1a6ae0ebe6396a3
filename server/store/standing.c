/* standing.c - the facts of every specimen by one walk over the collection. */
#include "store/standing.h"

#include "store/inside.h"

#include <string.h>

/* Parameters: ?1 the version of the spec, ?2 its name, ?3 and ?4 whether it is for scans and cages, ?5 a LIKE
 * pattern, ?6 one specimen. Every part below is found by an index, for one specimen at a time. */
#define NEWEST_VERSION                                                                                       \
    "(SELECT max(v.id) FROM version v WHERE v.specimen = s.id"                                               \
    " AND ((?3 AND v.kind = 'scan') OR (?4 AND v.kind = 'cage'))"                                            \
    " AND v.withdrawn_at IS NULL AND v.latest_run IS NOT NULL)"
#define OF_NAME "IN (SELECT p.id FROM spec p WHERE p.name = ?2)"
#define STANDING_OF(audit)                                                                                   \
    "CASE WHEN " audit ".outcome = 'conforms' AND " audit ".waived > 0 THEN 'waived' ELSE " audit            \
    ".outcome END"
/* The last audit before that was another standing. One of a run that was not the newest by then, as audits of
 * newer ones before it tell, does not count; nor does one of the same run and version, which differs in its
 * waivers alone. */
#define LAST_OTHER                                                                                           \
    "coalesce((SELECT max(c.id) FROM audit c WHERE c.specimen = s.id AND c.id < a.id AND c.run <= a.run"     \
    " AND (c.run <> a.run OR c.spec <> a.spec) AND c.spec " OF_NAME                                          \
    " AND " STANDING_OF("c") " <> " STANDING_OF(                                                             \
        "a") " AND NOT EXISTS (SELECT 1 FROM audit d WHERE d.specimen = s.id AND d.id < c.id AND d.run > "   \
             "c.run)), 0)"
#define SERIES                                                                                               \
    "(SELECT b.created FROM audit b WHERE b.specimen = s.id AND b.id <= a.id AND b.run <= a.run"             \
    " AND b.spec " OF_NAME " AND b.id > " LAST_OTHER " ORDER BY b.id LIMIT 1)"
#define HAS_OLDER                                                                                            \
    "(a.id IS NULL AND EXISTS (SELECT 1 FROM audit o WHERE o.run = r.id AND o.spec " OF_NAME "))"
#define HAS_WAIVERS                                                                                          \
    "(a.id IS NOT NULL AND EXISTS (SELECT 1 FROM waiver w WHERE w.specimen = s.id AND w.spec_name = ?2))"

#define STANDING_SELECT                                                                                      \
    "SELECT s.id, v.id, v.number, r.id, a.id, v.kind, s.catalogue_number, s.title, s.created, r.created,"    \
    " q.created, a.outcome, " HAS_OLDER ", CASE WHEN a.id IS NOT NULL THEN " SERIES                          \
    " END, a.created, " HAS_WAIVERS                                                                          \
    " FROM specimen s JOIN spec q ON q.id = ?1 LEFT JOIN version v ON v.id = " NEWEST_VERSION                \
    " LEFT JOIN run r ON r.id = v.latest_run"                                                                \
    " LEFT JOIN audit a INDEXED BY audit_newest ON a.run = r.id AND a.spec = ?1"                             \
    " AND a.id = (SELECT max(n.id) FROM audit n WHERE n.run = r.id AND n.spec = ?1)"

static const char list_sql[] =
    STANDING_SELECT " WHERE s.state <> 'retired' AND (?5 IS NULL OR s.catalogue_number LIKE ?5 ESCAPE '\\'"
                    " OR s.title LIKE ?5 ESCAPE '\\') AND ?6 IS NULL ORDER BY s.catalogue_number";
static const char one_sql[] = STANDING_SELECT " WHERE s.id = ?6 AND ?5 IS NULL";

/* --- the holds of an audit, and the waivers of their rules --- */

#define WAIVERS(w)                                                                                           \
    "waiver " w " WHERE " w ".specimen = a.specimen AND " w ".spec_name = p.name AND " w ".rule = h.rule"
#define END_OF(w) "min(coalesce(" w ".withdrawn_at, '9'), date(" w ".expires, '+1 day') || 'T00:00:00Z')"
/* Since when, and to when, the rule is or was waived without a break, the last time. */
#define WAIVED_SINCE                                                                                         \
    "(SELECT max(w.created) FROM " WAIVERS("w") " AND NOT EXISTS (SELECT 1 FROM " WAIVERS(                   \
        "x") " AND (x.created, x.id) < (w.created, w.id) AND " END_OF("x") " >= w.created))"
#define WAIVED_UNTIL "(SELECT max(" END_OF("w") ") FROM " WAIVERS("w") ")"

static void take_hold(sqlite3_stmt *row, const char *now, struct arena *keep, struct standing_hold *hold)
{
    const char *since = column_text(row, 4, keep), *until = column_text(row, 5, keep);
    *hold = (struct standing_hold){.rule = column_text(row, 0, keep),
                                   .name = column_text(row, 1, keep),
                                   .outcome = column_text(row, 2, keep),
                                   .was_waived = column_id(row, 3) != 0,
                                   .waived = until && strcmp(until, now) > 0};
    hold->turned = hold->waived ? since : until;
    hold->waived_until = hold->waived ? until : NULL;
}

static bool read_holds(struct connection *connection, const char *now, struct store_standing *item,
                       struct arena *keep, struct error *err)
{
    static const char read[] =
        "SELECT h.rule, h.name, h.outcome, h.waived, " WAIVED_SINCE ", " WAIVED_UNTIL
        " FROM audit_hold h JOIN audit a ON a.id = h.audit JOIN spec p ON p.id = a.spec"
        " WHERE h.audit = ?1 ORDER BY h.place";
    struct standing_hold *holds = NULL;
    size_t count = 0, room = 0;
    int step;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", item->audit);
    while ((step = statement_step(connection, row, err)) == 1) {
        holds = arena_grow(keep, holds, count, &room, sizeof *holds);
        if (!holds)
            break;
        take_hold(row, now, keep, &holds[count++]);
    }
    statement_end(row);
    item->facts.holds = holds;
    item->facts.hold_count = holds ? count : 0;
    return step >= 0 && (!keep->failed || arena_error(err));
}

/* --- the list --- */

static bool take_standing(struct connection *connection, sqlite3_stmt *row, const char *now,
                          struct arena *keep, struct store_standing *item, struct error *err)
{
    *item = (struct store_standing){
        .specimen = column_id(row, 0),
        .version = column_id(row, 1),
        .number = column_id(row, 2),
        .run = column_id(row, 3),
        .audit = column_id(row, 4),
        .kind = column_text(row, 5, keep),
        .catalogue_number = column_text(row, 6, keep),
        .title = column_text(row, 7, keep),
        .facts = {.specimen_created = column_text(row, 8, keep),
                  .run_created = column_text(row, 9, keep),
                  .spec_created = column_text(row, 10, keep),
                  .outcome = column_text(row, 11, keep),
                  .has_older = column_id(row, 12) != 0,
                  .series_created = column_text(row, 13, keep)},
        .audit_created = column_text(row, 14, keep),
    };
    if (keep->failed)
        return arena_error(err);
    if (column_id(row, 15) && !read_holds(connection, now, item, keep, err))
        return false;
    item->state = standing_of(&item->facts);
    return true;
}

static bool read_list(struct connection *connection, const struct store_standing_query *query,
                      const char *name, struct arena *keep, struct store_standing_list *list,
                      struct error *err)
{
    char now[STORE_TIME_SIZE];
    size_t room = 0;
    int step = 0;
    bool ok = true;
    const char *pattern = query->text ? text_pattern(query->text, keep) : NULL;
    store_time_now(now);
    sqlite3_stmt *row =
        statement_begin(connection, query->specimen ? one_sql : list_sql, err, "itiitk", query->spec, name,
                        (int64_t)query->for_scan, (int64_t)query->for_cage, pattern, query->specimen);
    while (ok && (step = statement_step(connection, row, err)) == 1) {
        list->items = arena_grow(keep, list->items, list->count, &room, sizeof *list->items);
        ok = list->items ? take_standing(connection, row, now, keep, &list->items[list->count++], err)
                         : arena_error(err);
    }
    statement_end(row);
    return ok && step >= 0;
}

bool store_standing_list(struct store *store, const struct store_standing_query *query, struct arena *keep,
                         struct store_standing_list *list, struct error *err)
{
    static const char named[] = "SELECT name FROM spec WHERE id = ?1";
    struct connection *connection;
    memset(list, 0, sizeof *list);
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, named, err, "i", query->spec);
    int step = statement_step(connection, row, err);
    const char *name = step == 1 ? column_text(row, 0, keep) : NULL;
    statement_end(row);
    if (step == 0)
        error_set(err, ERROR_NOT_FOUND, "there is no spec %lld", (long long)query->spec);
    bool ok = step == 1 && read_list(connection, query, name, keep, list, err);
    read_end(store, connection);
    return ok;
}

static bool read_signatures(struct connection *connection, struct store_standing *item, struct arena *keep,
                            struct error *err)
{
    static const char read[] = "SELECT count(*), max(created), (SELECT max(h.created) FROM handoff h"
                               " WHERE h.audit = ?1) FROM signoff WHERE audit = ?1";
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", item->audit);
    int step = statement_step(connection, row, err);
    if (step == 1) {
        item->signer_count = column_id(row, 0);
        item->signed_at = column_text(row, 1, keep);
        item->handed_over = column_text(row, 2, keep);
    }
    statement_end(row);
    return step >= 0 && (!keep->failed || arena_error(err));
}

bool store_standing_holds(struct store *store, struct store_standing *const *items, size_t count,
                          struct arena *keep, struct error *err)
{
    struct connection *connection;
    char now[STORE_TIME_SIZE];
    bool ok = true;
    if (!read_begin(store, &connection, err))
        return false;
    store_time_now(now);
    for (size_t i = 0; ok && i < count; i++)
        ok = !items[i]->audit
             || (read_holds(connection, now, items[i], keep, err)
                 && read_signatures(connection, items[i], keep, err));
    read_end(store, connection);
    return ok;
}
