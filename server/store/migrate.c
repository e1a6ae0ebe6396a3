/* migrate.c - bringing a database forward, or refusing one that is newer or not ours. */
#include "store/migrate.h"

#include "store/inside.h"

#include <stdio.h>
#include <unistd.h>

#define APPLICATION_ID 1718973804 /* "ftl" and 0x6c: ours, written into every database */

static bool read_state(struct connection *connection, int64_t *at, bool *empty, struct error *err)
{
    int64_t application, tables;
    if (!connection_number(connection, "PRAGMA user_version", at, err)
        || !connection_number(connection, "PRAGMA application_id", &application, err)
        || !connection_number(connection, "SELECT count(*) FROM sqlite_schema", &tables, err))
        return false;
    *empty = tables == 0 && *at == 0;
    if (!*empty && application != APPLICATION_ID)
        return error_set(err, ERROR_STORE, "fettle.db is not a database of fettle; name another folder");
    return true;
}

/* A whole copy beside the database, so that an upgrade can be undone by hand. */
static bool back_up(struct connection *connection, const char *folder, int64_t at, struct error *err)
{
    static const char copy[] = "VACUUM INTO ?1";
    char path[4200];
    snprintf(path, sizeof path, "%s/fettle-before-%04lld.db", folder, (long long)at + 1);
    unlink(path); /* of an earlier attempt that did not come to its end */
    return statement_run(connection, copy, NULL, err, "t", path);
}

static bool apply(struct connection *connection, const struct store_migration *migrations, size_t count,
                  int64_t at, struct error *err)
{
    char pragma[64];
    if (!connection_exec(connection, "BEGIN IMMEDIATE", err))
        return false;
    for (size_t i = (size_t)at; i < count; i++)
        if (!connection_exec(connection, migrations[i].sql, err))
            goto undo;
    snprintf(pragma, sizeof pragma, "PRAGMA user_version = %zu", count);
    if (!connection_exec(connection, pragma, err))
        goto undo;
    snprintf(pragma, sizeof pragma, "PRAGMA application_id = %d", APPLICATION_ID);
    if (connection_exec(connection, pragma, err) && connection_exec(connection, "COMMIT", err))
        return true;
undo:
    sqlite3_exec(connection->db, "ROLLBACK", NULL, NULL, NULL);
    return false;
}

bool migrate(struct connection *connection, const struct store_migration *migrations, size_t count,
             const char *folder, struct error *err)
{
    int64_t at;
    bool empty;
    if (!read_state(connection, &at, &empty, err))
        return false;
    if (at > (int64_t)count)
        return error_set(
            err, ERROR_STORE,
            "the data folder was written by a newer fettle (schema %lld, this one knows %zu); use "
            "the newer program",
            (long long)at, count);
    if (at == (int64_t)count)
        return true;
    return (empty || back_up(connection, folder, at, err)) && apply(connection, migrations, count, at, err);
}
