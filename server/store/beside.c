/* beside.c - a connection of its own that only reads. */
#include "store/beside.h"

#include "store/inside.h"
#include "store/migrate.h"

#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

bool connection_open_beside(struct connection *connection, const char *folder, struct error *err)
{
    char path[PATH_MAX + 16];
    int64_t version;
    char *whole = realpath(folder, NULL);
    if (!whole)
        return error_set(err, ERROR_NOT_FOUND, "the data folder cannot be opened: %s", strerror(errno));
    snprintf(path, sizeof path, "%s/fettle.db", whole);
    free(whole);
    if (access(path, F_OK) != 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no fettle.db in the data folder");
    if (!connection_open(connection, path, CONNECTION_READS, 5000, err)
        || !connection_number(connection, "PRAGMA user_version", &version, err))
        return false;
    return version == (int64_t)store_migration_count
           || error_set(err, ERROR_USAGE,
                        "the data folder has schema %lld, this program knows %zu: start the server once to "
                        "bring it forward, or use the newer program",
                        (long long)version, store_migration_count);
}

bool store_record_beside(const char *folder, int64_t run, struct arena *keep, const char **bytes,
                         size_t *count, struct error *err)
{
    struct connection connection = {0};
    bool ok = connection_open_beside(&connection, folder, err)
              && record_read(&connection, run, false, keep, bytes, count, err);
    connection_close(&connection);
    return ok;
}
