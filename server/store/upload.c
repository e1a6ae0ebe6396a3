/* upload.c - bytes arriving: a private file, hashed while written, that becomes a blob when whole. */
#include "store/upload.h"

#include "store/inside.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <sys/statvfs.h>
#include <unistd.h>

#define LOOK_EVERY ((uint64_t)32 << 20) /* bytes between looks at the free disk */

struct store_upload {
    struct store *store;
    struct store_upload *next; /* list of open ones, under state_lock */
    int fd;
    char name[40]; /* in uploads/ */
    struct digest digest;
    uint64_t bytes, looked_at;
    char sha256[DIGEST_HEX_SIZE]; /* "" until finished; set under state_lock */
    bool finished;
};

bool disk_has_room(const struct store *store, uint64_t bytes, struct error *err)
{
    struct statvfs disk;
    if (fstatvfs(store->uploads_fd, &disk) != 0)
        return error_set(err, ERROR_MACHINE, "the disk cannot be asked for its free space");
    uint64_t free_bytes = (uint64_t)disk.f_bavail * disk.f_frsize;
    if (free_bytes < store->options.reserve_bytes || free_bytes - store->options.reserve_bytes < bytes)
        return error_set(err, ERROR_MACHINE,
                         "not enough free disk for this file; tell the keeper of the machine");
    return true;
}

static bool open_file(struct store_upload *upload, struct error *err)
{
    uint64_t number[2];
    if (getrandom(number, sizeof number, 0) != (ssize_t)sizeof number)
        return error_set(err, ERROR_MACHINE, "the system gives no random numbers");
    snprintf(upload->name, sizeof upload->name, "raw-%016llx%016llx", (unsigned long long)number[0],
             (unsigned long long)number[1]);
    upload->fd = openat(upload->store->uploads_fd, upload->name,
                        O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
    return upload->fd >= 0
           || error_set(err, ERROR_MACHINE, "a file for the upload cannot be made: %s", strerror(errno));
}

static void enlist(struct store_upload *upload)
{
    struct store *store = upload->store;
    pthread_mutex_lock(&store->state_lock);
    upload->next = store->uploads;
    store->uploads = upload;
    pthread_mutex_unlock(&store->state_lock);
}

bool store_upload_begin(struct store *store, uint64_t declared_bytes, struct store_upload **out,
                        struct error *err)
{
    if (!store_writable(store, err) || !disk_has_room(store, declared_bytes, err))
        return false;
    struct store_upload *upload = calloc(1, sizeof *upload);
    if (!upload)
        return error_set(err, ERROR_MACHINE, "out of memory");
    upload->store = store;
    if (!open_file(upload, err)) {
        free(upload);
        return false;
    }
    digest_begin(&upload->digest);
    enlist(upload);
    *out = upload;
    return true;
}

bool upload_adopt(struct store *store, int fd, const char *name, const char *sha256, uint64_t bytes,
                  struct store_upload **out, struct error *err)
{
    struct store_upload *upload = calloc(1, sizeof *upload);
    if (!upload) {
        close(fd);
        return error_set(err, ERROR_MACHINE, "out of memory");
    }
    upload->store = store;
    upload->fd = fd;
    upload->bytes = bytes;
    upload->finished = true; /* so that the name stays */
    memcpy(upload->sha256, sha256, sizeof upload->sha256);
    enlist(upload); /* from here on the sweep leaves the blob alone */
    *out = upload;
    return blob_publish(store, fd, name, sha256, bytes, err);
}

bool upload_look(struct store *store, int fd, uint64_t bytes, uint64_t *looked_at, struct error *err)
{
    if (bytes - *looked_at < LOOK_EVERY)
        return true;
    sync_file_range(fd, (off_t)*looked_at, (off_t)(bytes - *looked_at), SYNC_FILE_RANGE_WRITE);
    *looked_at = bytes;
    return disk_has_room(store, 0, err);
}

bool store_upload_write(struct store_upload *upload, const void *bytes, size_t count, struct error *err)
{
    const unsigned char *at = bytes;
    digest_add(&upload->digest, bytes, count);
    while (count) {
        ssize_t put = write(upload->fd, at, count);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return error_set(err, ERROR_MACHINE, "the upload cannot be written: %s", strerror(errno));
        at += put;
        count -= (size_t)put;
        upload->bytes += (uint64_t)put;
    }
    return upload_look(upload->store, upload->fd, upload->bytes, &upload->looked_at, err);
}

uint64_t store_upload_bytes(const struct store_upload *upload)
{
    return upload->bytes;
}

int store_upload_fd(const struct store_upload *upload)
{
    return upload->fd;
}

bool store_upload_finish(struct store_upload *upload, char sha256[DIGEST_HEX_SIZE], struct error *err)
{
    struct store *store = upload->store;
    char hash[DIGEST_HEX_SIZE];

    if (upload->bytes == 0)
        return error_set(err, ERROR_EMPTY, "the file is empty; choose a file that holds a mesh");
    if (!store_writable(store, err))
        return false;
    digest_end(&upload->digest, hash);
    pthread_mutex_lock(&store->state_lock); /* from here on the sweep leaves the blob alone */
    memcpy(upload->sha256, hash, sizeof hash);
    pthread_mutex_unlock(&store->state_lock);
    if (!blob_publish(store, upload->fd, upload->name, hash, upload->bytes, err))
        return false;
    unlinkat(store->uploads_fd, upload->name, 0);
    upload->finished = true;
    if (sha256)
        memcpy(sha256, hash, sizeof hash);
    return true;
}

const char *store_upload_sha256(const struct store_upload *upload)
{
    return upload->finished ? upload->sha256 : NULL;
}

void store_upload_close(struct store_upload *upload)
{
    if (!upload)
        return;
    struct store *store = upload->store;
    pthread_mutex_lock(&store->state_lock);
    for (struct store_upload **link = &store->uploads; *link; link = &(*link)->next)
        if (*link == upload) {
            *link = upload->next;
            break;
        }
    pthread_mutex_unlock(&store->state_lock);
    if (!upload->finished)
        unlinkat(store->uploads_fd, upload->name, 0);
    close(upload->fd);
    free(upload);
}

bool upload_holds(const struct store *store, const char *sha256)
{
    for (const struct store_upload *upload = store->uploads; upload; upload = upload->next)
        if (strcmp(upload->sha256, sha256) == 0)
            return true;
    return false;
}
