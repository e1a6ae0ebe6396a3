/* specs.c - adding and reading specs. */
#include "store/specs.h"

#include "store/inside.h"

#include <string.h>

#define SPEC_COLUMNS                                                                                         \
    "s.id, s.name, s.version, s.sha256, s.created, s.revision,"                                              \
    " NOT EXISTS (SELECT 1 FROM spec l WHERE l.name = s.name AND l.version > s.version),"                    \
    " (SELECT count(*) FROM audit a WHERE a.spec = s.id)"

static void take_spec(sqlite3_stmt *row, struct arena *keep, struct store_spec *spec)
{
    *spec = (struct store_spec){
        .id = column_id(row, 0),
        .name = column_text(row, 1, keep),
        .version = column_id(row, 2),
        .sha256 = column_text(row, 3, keep),
        .created = column_text(row, 4, keep),
        .revision = column_id(row, 5),
        .is_latest = column_id(row, 6) != 0,
        .audit_count = column_id(row, 7),
    };
}

static bool add(struct write *write, const struct store_spec_new *spec, int64_t *id, bool *created,
                struct error *err)
{
    static const char same[] = "SELECT id FROM spec WHERE sha256 = ?1";
    static const char latest[] = "SELECT max(version) FROM spec WHERE name = ?1";
    static const char insert[] = "INSERT INTO spec (name, version, sha256, body, created, revision)"
                                 " VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
    static const char log[] = STEP_INSERT
        "SELECT ?2, NULL, 'spec added', NULL, name || ' ' || version, 'spec', id FROM spec WHERE id = ?1";
    bool found;
    int64_t version = 0;
    *created = false;
    if (!statement_value(write->connection, same, id, &found, err, "t", spec->sha256))
        return false;
    if (found)
        return true;
    if (!statement_value(write->connection, latest, &version, NULL, err, "t", spec->name))
        return false;
    if (spec->version != version + 1)
        return error_set(err, ERROR_CONFLICT,
                         "the latest version of the spec \"%.60s\" is %lld; the next one is %lld", spec->name,
                         (long long)version, (long long)version + 1);
    *created = true;
    if (!statement_run(write->connection, insert, NULL, err, "tittti", spec->name, spec->version,
                       spec->sha256, spec->body, write->now, write->revision))
        return false;
    *id = sqlite3_last_insert_rowid(write->connection->db);
    return statement_run(write->connection, log, NULL, err, "it", *id, write->now);
}

bool store_spec_add(struct store *store, const struct store_spec_new *spec, int64_t *id, bool *created,
                    struct error *err)
{
    struct write write;
    if (!text_check("name of the spec", spec->name, STORE_SPEC_NAME_MAX, TEXT_LINE, false, err)
        || !write_begin(store, &write, err))
        return false;
    bool ok = add(&write, spec, id, created, err);
    return write_end(&write, ok, err);
}

bool store_spec_get(struct store *store, int64_t id, struct arena *keep, struct store_spec *spec,
                    struct error *err)
{
    static const char read[] = "SELECT " SPEC_COLUMNS ", s.body FROM spec s WHERE s.id = ?1";
    struct connection *connection;
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", id);
    int step = statement_step(connection, row, err);
    if (step == 1) {
        take_spec(row, keep, spec);
        spec->body = column_text(row, 8, keep);
    }
    statement_end(row);
    read_end(store, connection);
    if (step == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no spec %lld", (long long)id);
    return step == 1 && (!keep->failed || arena_error(err));
}

bool store_spec_latest(struct store *store, const char *name, struct arena *keep, struct store_spec *spec,
                       bool *found, struct error *err)
{
    static const char read[] = "SELECT id FROM spec WHERE name = ?1 ORDER BY version DESC LIMIT 1";
    struct connection *connection;
    int64_t id = 0;
    if (!read_begin(store, &connection, err))
        return false;
    bool ok = statement_value(connection, read, &id, found, err, "t", name);
    read_end(store, connection);
    return ok && (!*found || store_spec_get(store, id, keep, spec, err));
}

bool store_spec_list(struct store *store, struct arena *keep, struct store_spec_list *list, struct error *err)
{
    static const char read[] = "SELECT " SPEC_COLUMNS " FROM spec s ORDER BY s.name, s.version DESC";
    struct connection *connection;
    size_t room = 0;
    int step;
    memset(list, 0, sizeof *list);
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "");
    while ((step = statement_step(connection, row, err)) == 1) {
        list->items = arena_grow(keep, list->items, list->count, &room, sizeof *list->items);
        if (!list->items)
            break;
        take_spec(row, keep, &list->items[list->count++]);
    }
    statement_end(row);
    read_end(store, connection);
    return step >= 0 && (!keep->failed || arena_error(err));
}
