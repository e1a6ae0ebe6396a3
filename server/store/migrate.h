/* migrate.h - the schema of schema/NNNN_*.sql, which the build turns into the table below. */
#ifndef STORE_MIGRATE_H
#define STORE_MIGRATE_H

#include "base/error.h"

struct store_migration {
    const char *name; /* "0001_store.sql" */
    const char *sql;
};
extern const struct store_migration store_migrations[]; /* number i + 1 at i */
extern const size_t store_migration_count;

struct connection;
/* Brings the database forward to the given number of migrations (<= count; tests stop early) in one
 * transaction. One that has a schema already is copied to backup_path before, which must not exist unless it
 * is such a copy. ERROR_STORE when the database is newer, or not ours. */
bool migrate(struct connection *connection, const struct store_migration *migrations, size_t count,
             const char *folder, struct error *err);

#endif
