/* bag.c - the spool, and what is had of it. */
#include "bag/bag.h"

#include "bag/name.h"
#include "bag/spool.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct bag_limits bag_limits_default(void)
{
    return (struct bag_limits){.files = 10000, .bytes = (uint64_t)64 << 30, .ratio = 200};
}

/* --- the spool --- */

void spool_begin(struct spool *spool, struct bag_file *file)
{
    spool->file = file;
    file->offset = spool->at;
    file->bytes = 0;
    digest_begin(&spool->sha256);
    sha512_begin(&spool->sha512);
}

static bool write_at(int fd, uint64_t at, const void *bytes, size_t count, struct error *err)
{
    const char *from = bytes;
    while (count) {
        ssize_t put = pwrite(fd, from, count, (off_t)at);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return error_set(err, ERROR_MACHINE,
                             "the bag cannot be copied to the temporary folder: %s; make room there, or name "
                             "another with TMPDIR",
                             strerror(errno));
        from += put;
        at += (uint64_t)put;
        count -= (size_t)put;
    }
    return true;
}

bool spool_add(struct spool *spool, const void *bytes, size_t count, struct error *err)
{
    if (count > spool->most - spool->at)
        return error_set(err, ERROR_LIMIT,
                         "the bag has more than %llu bytes unpacked; raise --max-bytes where you trust it",
                         (unsigned long long)spool->most);
    digest_add(&spool->sha256, bytes, count);
    sha512_add(&spool->sha512, bytes, count);
    if (!write_at(spool->fd, spool->at, bytes, count, err))
        return false;
    spool->at += count;
    spool->file->bytes += count;
    return true;
}

void spool_end(struct spool *spool)
{
    digest_end(&spool->sha256, spool->file->sha256);
    sha512_end(&spool->sha512, spool->file->sha512);
}

/* --- names --- */

static int compare_paths(const void *a, const void *b)
{
    return strcmp(((const struct bag_file *)a)->path, ((const struct bag_file *)b)->path);
}

static int compare_folded(const void *a, const void *b)
{
    return bag_path_compare_folded(*(const char *const *)a, *(const char *const *)b);
}

static bool be_unlike(const char **paths, size_t count, struct error *err)
{
    qsort(paths, count, sizeof *paths, compare_folded);
    for (size_t i = 1; i < count; i++)
        if (bag_path_compare_folded(paths[i - 1], paths[i]) == 0)
            return error_set(
                err, ERROR_DATA, "'%.70s' stands in the bag twice%s; ask for the handoff anew", paths[i],
                strcmp(paths[i - 1], paths[i]) == 0 ? "" : ", told apart by the case of letters only");
    return true;
}

/* No file may be a folder of another one, in whatever case. */
static bool be_no_folder(const char **paths, size_t count, struct arena scratch, struct error *err)
{
    char *parent = ARENA_NEW(&scratch, char, BAG_PATH_MAX + 1);
    if (!parent)
        return arena_error(err);
    for (size_t i = 0; i < count; i++)
        for (const char *slash = strchr(paths[i], '/'); slash; slash = strchr(slash + 1, '/')) {
            size_t size = (size_t)(slash - paths[i]);
            memcpy(parent, paths[i], size);
            parent[size] = '\0';
            if (bsearch(&parent, paths, count, sizeof *paths, compare_folded))
                return error_set(err, ERROR_DATA,
                                 "'%.70s' stands in the bag as a file and as a folder; ask for it anew",
                                 parent);
        }
    return true;
}

bool bag_settle(struct bag *bag, struct arena scratch, struct error *err)
{
    const char **paths = ARENA_NEW(&scratch, const char *, bag->count);
    if (!paths)
        return arena_error(err);
    qsort(bag->files, bag->count, sizeof *bag->files, compare_paths);
    for (size_t i = 0; i < bag->count; i++)
        paths[i] = bag->files[i].path;
    return be_unlike(paths, bag->count, err) && be_no_folder(paths, bag->count, scratch, err);
}

/* --- reading --- */

const struct bag_file *bag_find(const struct bag *bag, const char *path)
{
    const struct bag_file key = {.path = path};
    return bag->count ? bsearch(&key, bag->files, bag->count, sizeof key, compare_paths) : NULL;
}

static bool read_at(int fd, uint64_t at, char *bytes, size_t count, struct error *err)
{
    while (count) {
        ssize_t got = pread(fd, bytes, count, (off_t)at);
        if (got < 0 && errno == EINTR)
            continue;
        if (got <= 0)
            return error_set(err, ERROR_MACHINE, "the copy of the bag cannot be read: %s",
                             got ? strerror(errno) : "it became shorter");
        bytes += got;
        at += (uint64_t)got;
        count -= (size_t)got;
    }
    return true;
}

bool bag_read(const struct bag *bag, const struct bag_file *file, uint64_t most, struct arena *keep,
              const char **bytes, struct error *err)
{
    if (file->bytes > most)
        return error_set(err, ERROR_LIMIT, "'%.100s' has %llu bytes; a file of its kind has at most %llu",
                         file->path, (unsigned long long)file->bytes, (unsigned long long)most);
    char *into = ARENA_NEW(keep, char, (size_t)file->bytes + 1);
    if (!into)
        return arena_error(err);
    into[file->bytes] = '\0';
    *bytes = into;
    return read_at(bag->spool_fd, file->offset, into, (size_t)file->bytes, err);
}

bool bag_copy(const struct bag *bag, const struct bag_file *file, int fd, struct error *err)
{
    enum { PIECE = 1 << 18 };
    char *piece = malloc(PIECE);
    bool ok = piece && ftruncate(fd, 0) == 0;
    if (!ok)
        error_set(err, ERROR_MACHINE, "a file of the bag cannot be copied: %s", strerror(errno));
    for (uint64_t at = 0; ok && at < file->bytes; at += PIECE) {
        size_t count = file->bytes - at < PIECE ? (size_t)(file->bytes - at) : PIECE;
        ok = read_at(bag->spool_fd, file->offset + at, piece, count, err)
             && write_at(fd, at, piece, count, err);
    }
    free(piece);
    return ok;
}
