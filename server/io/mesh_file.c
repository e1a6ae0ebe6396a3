/* mesh_file.c - a file descriptor becomes mapped bytes with a digest, and these a mesh (mesh_bytes.h). */
#include "io/mesh_file.h"

#include "io/format.h"
#include "io/mesh_bytes.h"

#include <errno.h>
#include <pthread.h>
#include <stdatomic.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>

/* Bytes hashed between two looks at the listener. */
enum { PIECE = 4 << 20 };
/* A smaller file is hashed before it is read: a thread would cost more than it saves. */
enum { BESIDE_BYTES = 1 << 20 };

/* Passes progress on, and stops the reader when the file shrank under its mapping, where reading on would
 * end the process with SIGBUS. (A shrinking between two calls still does: the store's blobs never change.) */
struct watch {
    int fd;
    struct stat first;
    const struct progress *outer;
    atomic_bool changed, stopped;
};

static bool is_unchanged(struct watch *watch)
{
    struct stat now;
    if (fstat(watch->fd, &now) != 0 || now.st_size != watch->first.st_size
        || now.st_mtim.tv_sec != watch->first.st_mtim.tv_sec
        || now.st_mtim.tv_nsec != watch->first.st_mtim.tv_nsec)
        watch->changed = true;
    return !watch->changed;
}

static bool tell_watched(void *context, const char *stage, double fraction)
{
    struct watch *watch = context;
    return progress_tell(watch->outer, stage, fraction) && is_unchanged(watch);
}

static bool hash(const char *begin, size_t bytes, const struct progress *progress, char hex[DIGEST_HEX_SIZE],
                 struct error *err)
{
    struct digest digest;
    digest_begin(&digest);
    for (size_t at = 0; at < bytes; at += PIECE) {
        if (!progress_tell(progress, "read", 0.2 * (double)at / (double)bytes))
            return error_set(err, ERROR_CANCELLED, "cancelled while reading the file");
        digest_add(&digest, begin + at, bytes - at < PIECE ? bytes - at : PIECE);
    }
    digest_end(&digest, hex);
    return true;
}

/* The digest made beside the reading. */
struct hashing {
    struct watch *watch;
    const char *begin;
    size_t bytes;
    char *hex;
};

static bool tell_hashing(void *context, const char *stage, double fraction)
{
    struct watch *watch = context;
    (void)stage, (void)fraction;
    return !watch->stopped && is_unchanged(watch);
}

static void *hash_beside(void *context)
{
    struct hashing *hashing = context;
    struct progress progress = {tell_hashing, hashing->watch};
    struct error err;
    return hash(hashing->begin, hashing->bytes, &progress, hashing->hex, &err) ? hashing : NULL;
}

/* How many of the threads read beside the one that hashes. Text takes several times as long as its digest, so
 * that all read; a PLY may take less. 0 where the digest comes first: merging the corners of STL begins with
 * it, and what is compressed may be one. */
static size_t threads_beside(const char *begin, size_t bytes, const char *name, size_t threads)
{
    enum format format;
    struct error err;
    if (threads < 2 || bytes < BESIDE_BYTES || !format_detect(begin, bytes, name, &format, &err))
        return 0;
    return format == FORMAT_OBJ || format == FORMAT_OFF ? threads : format == FORMAT_PLY ? threads - 1 : 0;
}

static bool read_bytes(const char *begin, size_t bytes, const char *name, size_t threads, struct watch *watch,
                       struct mesh *mesh, struct mesh_file *file, struct arena *keep, struct arena scratch,
                       struct error *err)
{
    struct progress watched = {tell_watched, watch};
    char hex[DIGEST_HEX_SIZE];
    struct hashing hashing = {watch, begin, bytes, hex};
    size_t readers = threads_beside(begin, bytes, name, threads);
    pthread_t beside;
    void *hashed;

    if (readers == 0 || pthread_create(&beside, NULL, hash_beside, &hashing) != 0)
        return hash(begin, bytes, &watched, file->sha256, err)
               && mesh_bytes_read(begin, bytes, name, threads, &watched, mesh, file, keep, scratch, err);

    bool ok = mesh_bytes_read(begin, bytes, name, readers, &watched, mesh, file, keep, scratch, err);
    watch->stopped = !ok;
    pthread_join(beside, &hashed);
    if (hashed)
        memcpy(file->sha256, hex, sizeof hex);
    return ok && hashed;
}

bool mesh_file_read(int fd, const char *name, size_t threads, const struct progress *progress,
                    struct mesh *mesh, struct mesh_file *file, struct arena *keep, struct arena scratch,
                    struct error *err)
{
    struct watch watch = {.fd = fd, .outer = progress};
    const char *begin = "";
    size_t bytes = 0;
    bool ok = false;

    memset(file, 0, sizeof *file);
    if (fstat(fd, &watch.first) != 0)
        return error_set(err, ERROR_MACHINE, "the file cannot be examined: %s", strerror(errno));
    if (!S_ISREG(watch.first.st_mode))
        return error_set_byte(err, ERROR_TYPE, "file", 0, "not a regular file; name a mesh file");
    bytes = (size_t)watch.first.st_size;
    if (bytes) {
        void *map = mmap(NULL, bytes, PROT_READ, MAP_PRIVATE, fd, 0);
        if (map == MAP_FAILED)
            return error_set(err, ERROR_MACHINE, "the file cannot be mapped: %s", strerror(errno));
        begin = map;
    }
    ok = read_bytes(begin, bytes, name, threads, &watch, mesh, file, keep, scratch, err)
         && is_unchanged(&watch);
    if (watch.changed)
        ok = error_set_byte(err, ERROR_DATA, "file", 0,
                            "the file changed while it was read; wait until its export has ended");
    if (bytes)
        munmap((void *)(uintptr_t)begin, bytes);
    return ok;
}
