/* blob.c - immutable files named by the SHA-256 of their bytes: published once, checked before they go out.
 */
#include "store/inside.h"
#include "store/upload.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define VERIFIED_SECONDS 600

/* "ab/cd/<64 digits>" */
#define BLOB_PATH_SIZE (6 + DIGEST_HEX_SIZE)
static void blob_path(const char *sha256, char path[BLOB_PATH_SIZE])
{
    snprintf(path, BLOB_PATH_SIZE, "%.2s/%.2s/%.64s", sha256, sha256 + 2, sha256);
}

int blob_open_unchecked(int blobs_fd, const char *sha256)
{
    char path[BLOB_PATH_SIZE];
    if (!digest_is_hex(sha256)) {
        errno = ENOENT;
        return -1;
    }
    blob_path(sha256, path);
    return openat(blobs_fd, path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
}

bool blob_hash(int fd, char sha256[DIGEST_HEX_SIZE], uint64_t *bytes)
{
    enum { PIECE = 1 << 18 };
    struct digest digest;
    off_t at = 0;
    ssize_t got;
    unsigned char *piece = malloc(PIECE);

    if (!piece)
        return false;
    digest_begin(&digest);
    posix_fadvise(fd, 0, 0, POSIX_FADV_SEQUENTIAL);
    while ((got = pread(fd, piece, PIECE, at)) > 0 || (got < 0 && errno == EINTR))
        if (got > 0) {
            digest_add(&digest, piece, (size_t)got);
            at += got;
        }
    int fault = errno;
    free(piece);
    errno = fault;
    digest_end(&digest, sha256);
    *bytes = (uint64_t)at;
    return got == 0;
}

/* --- in --- */

static bool sync_failed(struct store *store, struct error *err)
{
    return store_spoil(store, "a file could not be made durable; check the disk, then restart the server",
                       err);
}

/* Makes dir/name when missing and opens it; what was made is synced into its parent. */
static bool step_into(struct store *store, int dir, const char *name, int *fd, struct error *err)
{
    bool made = mkdirat(dir, name, 0750) == 0;
    if (!made && errno != EEXIST)
        return error_set(err, ERROR_MACHINE, "a blob folder cannot be made: %s", strerror(errno));
    *fd = openat(dir, name, O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
    if (*fd < 0)
        return error_set(err, ERROR_STORE, "a blob folder cannot be opened: %s", strerror(errno));
    /* also where it was there: who made it may have died before the sync */
    if (store->options.sync(dir) != 0)
        return sync_failed(store, err);
    return true;
}

/* The name is taken: by the same bytes, unless the disk has rotted, which the next read will tell. It may not
 * be durable yet. */
static bool join_existing(struct store *store, int dir, const char *sha256, uint64_t bytes, struct error *err)
{
    struct stat status;
    int fd = openat(dir, sha256, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    if (fd < 0)
        return error_set(err, ERROR_STORE, "a stored file cannot be opened: %s", strerror(errno));
    bool ok = fstat(fd, &status) == 0 && (uint64_t)status.st_size == bytes;
    if (!ok)
        error_set(err, ERROR_STORE, "the stored file with this checksum is damaged; run fettle verify");
    else if (store->options.sync(fd) != 0)
        ok = sync_failed(store, err);
    close(fd);
    return ok;
}

bool blob_publish(struct store *store, int fd, const char *name, const char *sha256, uint64_t bytes,
                  struct error *err)
{
    const char outer_name[3] = {sha256[0], sha256[1], '\0'}, inner_name[3] = {sha256[2], sha256[3], '\0'};
    int outer = -1, inner = -1;
    bool ok = false;

    if (fchmod(fd, 0440) != 0) {
        error_set(err, ERROR_MACHINE, "the mode of a file cannot be set: %s", strerror(errno));
        goto out;
    }
    if (store->options.sync(fd) != 0) {
        sync_failed(store, err);
        goto out;
    }
    if (!step_into(store, store->blobs_fd, outer_name, &outer, err)
        || !step_into(store, outer, inner_name, &inner, err))
        goto out;
    if (linkat(store->uploads_fd, name, inner, sha256, 0) != 0) {
        if (errno != EEXIST) {
            error_set(err, ERROR_MACHINE, "a file cannot be put in its place: %s", strerror(errno));
            goto out;
        }
        if (!join_existing(store, inner, sha256, bytes, err))
            goto out;
    }
    if (store->options.sync(inner) != 0) {
        sync_failed(store, err);
        goto out;
    }
    ok = true;
out:
    if (inner >= 0)
        close(inner);
    if (outer >= 0)
        close(outer);
    return ok;
}

bool blob_row(struct write *write, const char *sha256, uint64_t bytes, int64_t *id, struct error *err)
{
    static const char add[] = "INSERT INTO blob (sha256, bytes) VALUES (?1, ?2) ON CONFLICT DO NOTHING";
    static const char find[] = "SELECT id FROM blob WHERE sha256 = ?1 AND bytes = ?2";
    bool found;
    if (!statement_run(write->connection, add, NULL, err, "ti", sha256, (int64_t)bytes)
        || !statement_value(write->connection, find, id, &found, err, "ti", sha256, (int64_t)bytes))
        return false;
    return found || error_set(err, ERROR_STORE, "a stored file has another size than its row says");
}

/* --- out --- */

static bool is_verified(struct store *store, const char *sha256, const struct stat *status)
{
    bool found = false;
    pthread_mutex_lock(&store->state_lock);
    for (size_t i = 0; i < VERIFIED_MAX && !found; i++) {
        const struct verified_blob *blob = &store->verified[i];
        found = strcmp(blob->sha256, sha256) == 0 && blob->inode == status->st_ino
                && blob->bytes == (uint64_t)status->st_size && blob->changed.tv_sec == status->st_ctim.tv_sec
                && blob->changed.tv_nsec == status->st_ctim.tv_nsec
                && store_monotonic_s() - blob->checked_s < VERIFIED_SECONDS;
    }
    pthread_mutex_unlock(&store->state_lock);
    return found;
}

static void remember_verified(struct store *store, const char *sha256, const struct stat *status)
{
    pthread_mutex_lock(&store->state_lock);
    struct verified_blob *blob = &store->verified[store->verified_next++ % VERIFIED_MAX];
    snprintf(blob->sha256, sizeof blob->sha256, "%s", sha256);
    blob->inode = status->st_ino;
    blob->bytes = (uint64_t)status->st_size;
    blob->changed = status->st_ctim;
    blob->checked_s = store_monotonic_s();
    pthread_mutex_unlock(&store->state_lock);
}

bool store_blob_open(struct store *store, const char *sha256, int *out_fd, uint64_t *bytes, struct error *err)
{
    struct stat status;
    char found[DIGEST_HEX_SIZE] = "";
    int fd = blob_open_unchecked(store->blobs_fd, sha256);

    if (fd < 0)
        return error_set(err, ERROR_STORE,
                         "a stored file is missing; run fettle verify and restore a backup");
    if (fstat(fd, &status) != 0)
        goto damaged;
    *bytes = (uint64_t)status.st_size;
    if (!is_verified(store, sha256, &status)) {
        if (!blob_hash(fd, found, bytes) || strcmp(found, sha256) != 0)
            goto damaged;
        remember_verified(store, sha256, &status);
    }
    *out_fd = fd;
    return true;
damaged:
    close(fd);
    return error_set(err, ERROR_STORE, "a stored file is damaged; run fettle verify and restore a backup");
}

bool store_blob_open_unread(struct store *store, const char *sha256, int *fd, struct error *err)
{
    *fd = blob_open_unchecked(store->blobs_fd, sha256);
    return *fd >= 0
           || error_set(err, ERROR_STORE, "a stored file is missing; run fettle verify and restore a backup");
}

/* --- all of them --- */

static bool is_hex_pair(const char *name)
{
    return strspn(name, "0123456789abcdef") == 2 && name[2] == '\0';
}

typedef bool visitor(void *context, int dir_fd, const char *name);
struct walk {
    visitor *visit;
    void *context;
};

static bool each_entry(int at, const char *name, visitor *visit, void *context)
{
    bool ok = true;
    const struct dirent *entry;
    int fd = openat(at, name, O_RDONLY | O_DIRECTORY | O_CLOEXEC | O_NOFOLLOW);
    DIR *dir = fd >= 0 ? fdopendir(fd) : NULL;
    if (!dir) {
        if (fd >= 0)
            close(fd);
        return false;
    }
    while (ok && (entry = readdir(dir)))
        if (entry->d_name[0] != '.')
            ok = visit(context, fd, entry->d_name);
    closedir(dir);
    return ok;
}

static bool visit_inner(void *context, int dir_fd, const char *name)
{
    const struct walk *walk = context;
    return is_hex_pair(name) ? each_entry(dir_fd, name, walk->visit, walk->context)
                             : walk->visit(walk->context, dir_fd, name);
}

static bool visit_outer(void *context, int dir_fd, const char *name)
{
    const struct walk *walk = context;
    return is_hex_pair(name) ? each_entry(dir_fd, name, visit_inner, context)
                             : walk->visit(walk->context, dir_fd, name);
}

bool blob_each(int blobs_fd, visitor *visit, void *context)
{
    struct walk walk = {visit, context};
    return each_entry(blobs_fd, ".", visit_outer, &walk);
}

/* Under state_lock, so that no upload can take hold of the blob meanwhile; its row cannot appear either,
 * since the upload holds the blob until the row is there. */
static bool is_needed(struct store *store, const char *sha256)
{
    static const char find[] = "SELECT 1 FROM blob WHERE sha256 = ?1";
    struct connection *connection;
    int64_t one;
    bool found = true;
    if (upload_holds(store, sha256) || !read_begin(store, &connection, NULL))
        return true;
    if (!statement_value(connection, find, &one, &found, NULL, "t", sha256))
        found = true;
    read_end(store, connection);
    return found;
}

struct sweep {
    struct store *store;
    int64_t age_s;
};

static bool sweep_one(void *context, int dir_fd, const char *name)
{
    const struct sweep *sweep = context;
    struct store *store = sweep->store;
    struct stat status;
    if (!digest_is_hex(name) || fstatat(dir_fd, name, &status, AT_SYMLINK_NOFOLLOW) != 0
        || time(NULL) - status.st_ctime < sweep->age_s)
        return true;
    pthread_mutex_lock(&store->state_lock);
    bool go_on = !store->stopping;
    if (go_on && !is_needed(store, name))
        unlinkat(dir_fd, name, 0);
    pthread_mutex_unlock(&store->state_lock);
    return go_on;
}

void blob_sweep(struct store *store, int64_t age_s)
{
    struct sweep sweep = {store, age_s};
    blob_each(store->blobs_fd, sweep_one, &sweep);
}
