/* backup.c - a whole copy of the data folder while it is in use.
 *
 * The order makes it whole: first the blobs of one state of the database and the key that its sign-offs were
 * made with, then that very state. Blobs are immutable, so one that is there by name and size is the same. */
#include "store/backup.h"

#include "seal/key_file.h"
#include "store/inside.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define NEW_NAME "fettle.db.new"

static bool machine(struct error *err, const char *what)
{
    return error_set(err, ERROR_MACHINE, "%s: %s", what, strerror(errno));
}

/* A snapshot of the database in dest/fettle.db.new, in one piece without a WAL. */
static bool copy_database(struct connection *source, const char *dest, struct error *err)
{
    char path[PATH_MAX + 32];
    sqlite3 *copy = NULL;
    int rc;

    snprintf(path, sizeof path, "%s/" NEW_NAME, dest);
    rc =
        sqlite3_open_v2(path, &copy, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOFOLLOW, NULL);
    sqlite3_backup *backup = rc == SQLITE_OK ? sqlite3_backup_init(copy, "main", source->db, "main") : NULL;
    if (backup) {
        rc = sqlite3_backup_step(backup, -1);
        int end = sqlite3_backup_finish(backup);
        rc = rc == SQLITE_DONE ? end : rc;
        if (rc == SQLITE_OK)
            rc = sqlite3_exec(copy, "PRAGMA journal_mode=DELETE", NULL, NULL, NULL);
    } else if (rc == SQLITE_OK)
        rc = sqlite3_errcode(copy);
    sqlite3_close(copy);
    if (rc == SQLITE_OK)
        return true;
    if ((rc & 0xff) == SQLITE_FULL)
        return error_set(err, ERROR_MACHINE, "the disk of the backup is full");
    return error_set(err, ERROR_MACHINE, "the database could not be copied (SQLite code %d)", rc);
}

static bool copy_bytes(int from, int to, uint64_t *bytes, struct error *err)
{
    ssize_t put;
    while ((put = copy_file_range(from, NULL, to, NULL, (size_t)1 << 30, 0)) > 0)
        *bytes += (uint64_t)put;
    if (put == 0)
        return true;
    if (errno != EXDEV && errno != EINVAL && errno != ENOSYS && errno != EOPNOTSUPP)
        return machine(err, "a file could not be copied");
    enum { PIECE = 1 << 18 };
    char *piece = malloc(PIECE);
    ssize_t got = piece ? 0 : -1;
    while (piece && (got = read(from, piece, PIECE)) > 0)
        for (ssize_t at = 0; at < got; at += put) {
            put = write(to, piece + at, (size_t)(got - at));
            if (put <= 0) {
                free(piece);
                return machine(err, "a file could not be copied");
            }
            *bytes += (uint64_t)put;
        }
    free(piece);
    return got == 0 || machine(err, "a file could not be copied");
}

static bool open_folder(int at, const char *name, int *fd, struct error *err)
{
    if (mkdirat(at, name, 0750) != 0 && errno != EEXIST)
        return machine(err, "a folder of the backup cannot be made");
    *fd = openat(at, name, O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
    return *fd >= 0 || machine(err, "a folder of the backup cannot be opened");
}

/* Copies under another name, syncs and renames, so that a name is never half a file. */
static bool copy_into(int source, int folder, const char *sha256, struct store_backup_figures *figures,
                      struct error *err)
{
    bool ok = false;
    int copy = openat(folder, "new", O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (copy < 0)
        return machine(err, "a file of the backup cannot be made");
    if (copy_bytes(source, copy, &figures->bytes_copied, err)) {
        ok = fchmod(copy, 0440) == 0 && fsync(copy) == 0 && renameat(folder, "new", folder, sha256) == 0
             && fsync(folder) == 0;
        if (!ok)
            machine(err, "a file of the backup cannot be made durable");
    }
    close(copy);
    if (!ok)
        unlinkat(folder, "new", 0);
    else
        figures->blobs_copied++;
    return ok;
}

static bool copy_blob(struct store *store, int dest_blobs, const char *sha256, uint64_t bytes,
                      struct store_backup_figures *figures, struct error *err)
{
    const char outer_name[3] = {sha256[0], sha256[1], '\0'}, inner_name[3] = {sha256[2], sha256[3], '\0'};
    int outer = -1, inner = -1, source = -1;
    struct stat status;
    bool ok = open_folder(dest_blobs, outer_name, &outer, err) && open_folder(outer, inner_name, &inner, err);

    if (ok && fstatat(inner, sha256, &status, AT_SYMLINK_NOFOLLOW) == 0
        && (uint64_t)status.st_size == bytes) {
        figures->blobs_present++;
        goto out;
    }
    if (ok && (source = blob_open_unchecked(store->blobs_fd, sha256)) < 0)
        ok = error_set(err, ERROR_STORE, "a stored file is missing; run fettle verify");
    ok = ok && copy_into(source, inner, sha256, figures, err) && (fsync(outer) == 0 || machine(err, "fsync"));
out:
    if (source >= 0)
        close(source);
    if (inner >= 0)
        close(inner);
    if (outer >= 0)
        close(outer);
    return ok;
}

static bool copy_blobs(struct store *store, struct connection *connection, int dest_fd,
                       struct store_backup_figures *figures, struct error *err)
{
    static const char read[] = "SELECT sha256, bytes FROM blob ORDER BY sha256";
    int step = -1, dest_blobs = -1;
    bool ok = open_folder(dest_fd, "blobs", &dest_blobs, err);
    sqlite3_stmt *row = ok ? statement_begin(connection, read, err, "") : NULL;
    while (ok && (step = statement_step(connection, row, err)) == 1)
        ok = copy_blob(store, dest_blobs, (const char *)sqlite3_column_text(row, 0),
                       (uint64_t)column_id(row, 1), figures, err);
    statement_end(row);
    if (dest_blobs >= 0)
        close(dest_blobs);
    return ok && step == 0;
}

static bool put_database_in_place(int dest_fd, struct error *err)
{
    int fd = openat(dest_fd, NEW_NAME, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    bool ok = fd >= 0 && fsync(fd) == 0 && renameat(dest_fd, NEW_NAME, dest_fd, "fettle.db") == 0
              && fsync(dest_fd) == 0;
    if (!ok)
        machine(err, "the backup cannot be made durable");
    if (fd >= 0)
        close(fd);
    return ok;
}

bool store_backup(struct store *store, int dest_fd, struct store_backup_figures *figures, struct error *err)
{
    struct connection *connection;
    char link[32], dest[PATH_MAX];
    struct stat own, other;

    memset(figures, 0, sizeof *figures);
    snprintf(link, sizeof link, "/proc/self/fd/%d", dest_fd);
    ssize_t length = readlink(link, dest, sizeof dest - 1);
    if (length < 0 || fstat(dest_fd, &other) != 0 || fstat(store->folder_fd, &own) != 0)
        return machine(err, "the destination cannot be opened");
    dest[length] = '\0';
    if (own.st_dev == other.st_dev && own.st_ino == other.st_ino)
        return error_set(err, ERROR_USAGE, "the destination is the data folder itself; name another folder");
    if (faccessat(dest_fd, "fettle.lock", F_OK, 0) == 0)
        return error_set(err, ERROR_USAGE, "the destination is a data folder in use; name another folder");
    unlinkat(dest_fd, NEW_NAME, 0);
    if (!read_begin(store, &connection, err))
        return false;
    bool ok = copy_blobs(store, connection, dest_fd, figures, err)
              && seal_file_copy(store->folder_fd, dest_fd, err) && copy_database(connection, dest, err)
              && put_database_in_place(dest_fd, err);
    read_end(store, connection);
    if (!ok)
        unlinkat(dest_fd, NEW_NAME, 0);
    return ok;
}
