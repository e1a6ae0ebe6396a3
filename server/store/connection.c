/* connection.c - opening SQLite the careful way, its statements, its faults as struct error. */
#include "store/inside.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* SQLite, "Defense Against The Dark Arts": what a file may not do to us. WAL with FULL syncs every commit.
 * Only the writer may checkpoint (see reliability: the WAL-reset race), so readers never do, not even when
 * they are closed last. */
static bool set_up(struct connection *connection, enum connection_use use, struct error *err)
{
    sqlite3 *db = connection->db;
    static const char both[] = "PRAGMA foreign_keys=ON; PRAGMA trusted_schema=OFF; PRAGMA cell_size_check=ON;"
                               "PRAGMA mmap_size=0; PRAGMA temp_store=MEMORY;";
    static const char writes[] = "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
                                 "PRAGMA wal_autocheckpoint=1000; PRAGMA journal_size_limit=67108864;";
    static const char reads[] = "PRAGMA wal_autocheckpoint=0; PRAGMA query_only=ON;";

    sqlite3_extended_result_codes(db, 1);
    sqlite3_db_config(db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    sqlite3_db_config(db, SQLITE_DBCONFIG_ENABLE_LOAD_EXTENSION, 0, NULL);
    sqlite3_limit(db, SQLITE_LIMIT_LENGTH, 512 << 20);
    sqlite3_limit(db, SQLITE_LIMIT_EXPR_DEPTH, 100);
    sqlite3_limit(db, SQLITE_LIMIT_ATTACHED, 1);
    if (use == CONNECTION_READS)
        sqlite3_db_config(db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
    return connection_exec(connection, both, err)
           && connection_exec(connection, use == CONNECTION_WRITES ? writes : reads, err);
}

bool connection_open(struct connection *connection, const char *path, enum connection_use use, int busy_ms,
                     struct error *err)
{
    int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_NOFOLLOW
                | (use == CONNECTION_WRITES ? SQLITE_OPEN_CREATE : 0);
    int rc = sqlite3_open_v2(path, &connection->db, flags, NULL);
    if (rc != SQLITE_OK) {
        connection_error(connection, rc, err);
        connection_close(connection);
        return false;
    }
    sqlite3_busy_timeout(connection->db, busy_ms);
    if (!set_up(connection, use, err)) {
        connection_close(connection);
        return false;
    }
    return true;
}

void connection_close(struct connection *connection)
{
    for (size_t i = 0; i < connection->statement_count; i++)
        sqlite3_finalize(connection->statements[i].statement);
    connection->statement_count = 0;
    sqlite3_close(connection->db);
    connection->db = NULL;
}

bool connection_error(struct connection *connection, int rc, struct error *err)
{
    int whole = connection->db ? sqlite3_extended_errcode(connection->db) : rc;
    if ((whole & 0xff) != (rc & 0xff))
        whole = rc;
    if (connection->damage
        && (whole == SQLITE_IOERR_FSYNC || whole == SQLITE_IOERR_DIR_FSYNC || (rc & 0xff) == SQLITE_CORRUPT
            || (rc & 0xff) == SQLITE_NOTADB))
        *connection->damage = whole;

    switch (rc & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return error_set(err, ERROR_BUSY, "the database is held by another process; try again in a moment");
    case SQLITE_FULL:
        return error_set(err, ERROR_MACHINE, "the disk is full: nothing was changed; free some space");
    case SQLITE_NOMEM:
        return error_set(err, ERROR_MACHINE, "out of memory: nothing was changed; try again");
    case SQLITE_IOERR:
        return error_set(err, ERROR_MACHINE, "the disk failed while the database was used (SQLite code %d)",
                         whole);
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        return error_set(err, ERROR_STORE, "the database is damaged; run fettle verify and restore a backup");
    case SQLITE_CONSTRAINT:
        return error_set(err, ERROR_CONFLICT, "the change contradicts what is stored");
    case SQLITE_CANTOPEN:
        return error_set(err, ERROR_STORE, "the database cannot be opened");
    default:
#if !defined(NDEBUG)
        if (rc == SQLITE_ERROR) /* most likely our own SQL */
            fprintf(stderr, "fettle: SQLite: %s\n", sqlite3_errmsg(connection->db));
#endif
        return error_set(err, ERROR_STORE, "the database refused (SQLite code %d)", whole);
    }
}

bool connection_exec(struct connection *connection, const char *sql, struct error *err)
{
    int rc = sqlite3_exec(connection->db, sql, NULL, NULL, NULL);
    return rc == SQLITE_OK || connection_error(connection, rc, err);
}

bool connection_number(struct connection *connection, const char *sql, int64_t *number, struct error *err)
{
    sqlite3_stmt *statement = NULL;
    int rc = sqlite3_prepare_v2(connection->db, sql, -1, &statement, NULL);
    if (rc == SQLITE_OK)
        rc = sqlite3_step(statement);
    if (rc == SQLITE_ROW)
        *number = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return rc == SQLITE_ROW || connection_error(connection, rc, err);
}

static sqlite3_stmt *find_or_prepare(struct connection *connection, const char *sql, struct error *err)
{
    for (size_t i = 0; i < connection->statement_count; i++)
        if (connection->statements[i].sql == sql)
            return connection->statements[i].statement;

    sqlite3_stmt *statement = NULL;
    if (connection->statement_count == CONNECTION_STATEMENTS_MAX) {
        error_set(err, ERROR_STORE, "too many kinds of statements");
        return NULL;
    }
    int rc = sqlite3_prepare_v3(connection->db, sql, -1, SQLITE_PREPARE_PERSISTENT, &statement, NULL);
    if (rc != SQLITE_OK) {
        connection_error(connection, rc, err);
        return NULL;
    }
    connection->statements[connection->statement_count].sql = sql;
    connection->statements[connection->statement_count++].statement = statement;
    return statement;
}

static int bind(sqlite3_stmt *statement, const char *types, va_list *values)
{
    int rc = SQLITE_OK;
    for (int i = 1; *types && rc == SQLITE_OK; types++, i++) {
        switch (*types) {
        case 'i':
            rc = sqlite3_bind_int64(statement, i, va_arg(*values, int64_t));
            break;
        case 'k': {
            int64_t id = va_arg(*values, int64_t);
            rc = id ? sqlite3_bind_int64(statement, i, id) : sqlite3_bind_null(statement, i);
            break;
        }
        case 't':
            rc = sqlite3_bind_text(statement, i, va_arg(*values, const char *), -1, SQLITE_STATIC);
            break;
        case 'r': {
            double value = va_arg(*values, double);
            rc = isnan(value) ? sqlite3_bind_null(statement, i) : sqlite3_bind_double(statement, i, value);
            break;
        }
        default: { /* 'b' */
            const void *bytes = va_arg(*values, const void *);
            size_t count = va_arg(*values, size_t);
            rc = sqlite3_bind_blob64(statement, i, bytes, count, SQLITE_STATIC);
        }
        }
    }
    return rc;
}

static sqlite3_stmt *begin(struct connection *connection, const char *sql, struct error *err,
                           const char *types, va_list *values)
{
    sqlite3_stmt *statement = find_or_prepare(connection, sql, err);
    if (!statement)
        return NULL;
    int rc = bind(statement, types, values);
    if (rc != SQLITE_OK) {
        statement_end(statement);
        connection_error(connection, rc, err);
        return NULL;
    }
    return statement;
}

sqlite3_stmt *statement_begin(struct connection *connection, const char *sql, struct error *err,
                              const char *types, ...)
{
    va_list values;
    va_start(values, types);
    sqlite3_stmt *statement = begin(connection, sql, err, types, &values);
    va_end(values);
    return statement;
}

int statement_step(struct connection *connection, sqlite3_stmt *statement, struct error *err)
{
    if (!statement)
        return -1;
    int rc = sqlite3_step(statement);
    if (rc == SQLITE_ROW)
        return 1;
    if (rc == SQLITE_DONE)
        return 0;
    connection_error(connection, rc, err);
    return -1;
}

void statement_end(sqlite3_stmt *statement)
{
    if (statement) {
        sqlite3_reset(statement);
        sqlite3_clear_bindings(statement);
    }
}

bool statement_run(struct connection *connection, const char *sql, int64_t *changed, struct error *err,
                   const char *types, ...)
{
    va_list values;
    va_start(values, types);
    sqlite3_stmt *statement = begin(connection, sql, err, types, &values);
    va_end(values);
    bool ok = statement_step(connection, statement, err) >= 0;
    if (ok && changed)
        *changed = sqlite3_changes64(connection->db);
    statement_end(statement);
    return ok;
}

bool statement_value(struct connection *connection, const char *sql, int64_t *value, bool *found,
                     struct error *err, const char *types, ...)
{
    va_list values;
    va_start(values, types);
    sqlite3_stmt *statement = begin(connection, sql, err, types, &values);
    va_end(values);
    int row = statement_step(connection, statement, err);
    *value = row == 1 ? sqlite3_column_int64(statement, 0) : 0;
    if (found)
        *found = row == 1;
    statement_end(statement);
    return row >= 0;
}

const char *column_text(sqlite3_stmt *statement, int column, struct arena *keep)
{
    const char *text = (const char *)sqlite3_column_text(statement, column);
    if (!text)
        return NULL;
    size_t size = (size_t)sqlite3_column_bytes(statement, column) + 1;
    char *copy = ARENA_NEW(keep, char, size);
    if (copy)
        memcpy(copy, text, size);
    return copy;
}

double column_real(sqlite3_stmt *statement, int column)
{
    return sqlite3_column_type(statement, column) == SQLITE_NULL ? NAN
                                                                 : sqlite3_column_double(statement, column);
}
