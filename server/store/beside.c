/* beside.c - connections of its own that only read, and a store made of them. */
#include "store/beside.h"

#include "store/inside.h"
#include "store/migrate.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { BESIDE_BUSY_MS = 5000 };

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
    if (!connection_open(connection, path, CONNECTION_READS, BESIDE_BUSY_MS, err)
        || !connection_number(connection, "PRAGMA user_version", &version, err))
        return false;
    return version == (int64_t)store_migration_count
           || error_set(err, ERROR_USAGE,
                        "the data folder has schema %lld, this program knows %zu: start the server once to "
                        "bring it forward, or use the newer program",
                        (long long)version, store_migration_count);
}

/* Two readers, for functions that read while they read. */
enum { BESIDE_READERS = 2 };

static bool open_inside(struct store *store, const char *folder, struct error *err)
{
    store->folder_fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (store->folder_fd < 0)
        return error_set(err, ERROR_NOT_FOUND, "the data folder cannot be opened: %s", strerror(errno));
    store->folder = realpath(folder, NULL);
    store->settings = strdup("");
    store->readers = calloc(BESIDE_READERS, sizeof *store->readers);
    if (!store->folder || !store->settings || !store->readers)
        return error_set(err, ERROR_MACHINE, "out of memory");
    for (; store->reader_count < BESIDE_READERS; store->reader_count++)
        if (!connection_open_beside(&store->readers[store->reader_count], folder, err)) {
            connection_close(&store->readers[store->reader_count]);
            return false;
        }
    store->blobs_fd = openat(store->folder_fd, "blobs", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    return store->blobs_fd >= 0
           || error_set(err, ERROR_NOT_FOUND, "the data folder has no folder blobs: %s", strerror(errno));
}

bool store_open_beside(const char *folder, struct store **out, struct error *err)
{
    struct store *store = store_new(err);

    if (!store)
        return false;
    store->options.busy_ms = BESIDE_BUSY_MS;
    store->read_only = true;
    snprintf(store->trouble, sizeof store->trouble, "it was opened beside its owner");
    if (!open_inside(store, folder, err)) {
        store_close(store);
        return false;
    }
    *out = store;
    return true;
}
