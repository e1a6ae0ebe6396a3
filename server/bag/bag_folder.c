/* bag_folder.c - reading a folder: no link is followed, and only plain files are taken. */
#include "bag/bag.h"

#include "bag/name.h"
#include "bag/spool.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { DEPTH_MAX = 32, PIECE = 1 << 18 };

struct walk {
    struct spool spool;
    size_t most_files, room;
    struct arena *keep;
    struct bag *bag;
    char *piece;
    char path[BAG_PATH_MAX + 1];
    struct error *err;
};

static bool walk_folder(struct walk *walk, int fd, size_t path_size, size_t depth);

static bool fault(struct walk *walk, const char *what)
{
    return error_set(walk->err, ERROR_DATA, "'%.80s' %s", walk->path, what);
}

static struct bag_file *add_file(struct walk *walk)
{
    struct bag *bag = walk->bag;
    if (bag->count == walk->room) {
        size_t room = walk->room ? 2 * walk->room : 64;
        struct bag_file *grown = ARENA_ZERO(walk->keep, struct bag_file, room);
        if (!grown)
            return NULL;
        if (bag->count)
            memcpy(grown, bag->files, bag->count * sizeof *grown);
        bag->files = grown;
        walk->room = room;
    }
    size_t size = strlen(walk->path) + 1;
    char *path = ARENA_NEW(walk->keep, char, size);
    if (!path)
        return NULL;
    memcpy(path, walk->path, size);
    bag->files[bag->count] = (struct bag_file){.path = path};
    return &bag->files[bag->count++];
}

static bool copy(struct walk *walk, int fd)
{
    ssize_t got;
    while ((got = read(fd, walk->piece, PIECE)) != 0) {
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return error_set(walk->err, ERROR_MACHINE, "'%.80s' cannot be read: %s", walk->path,
                             strerror(errno));
        if (!spool_add(&walk->spool, walk->piece, (size_t)got, walk->err))
            return false;
    }
    return true;
}

static bool take_file(struct walk *walk, int fd, const struct stat *status)
{
    if (status->st_nlink > 1)
        return fault(walk, "has several names (hard links), so that it may change from elsewhere: copy the "
                           "folder and check the copy");
    if (walk->bag->count >= walk->most_files)
        return error_set(walk->err, ERROR_LIMIT,
                         "the bag has more than %zu files; raise --max-files where you trust it",
                         walk->most_files);
    struct bag_file *file = add_file(walk);
    if (!file)
        return arena_error(walk->err);
    spool_begin(&walk->spool, file);
    if (!copy(walk, fd))
        return false;
    spool_end(&walk->spool);
    return true;
}

/* Looked at before it is opened, because opening a pipe or a device may do something; and afterwards. */
static bool open_entry(struct walk *walk, int folder_fd, const char *name, int *fd, struct stat *status)
{
    *fd = -1;
    if (fstatat(folder_fd, name, status, AT_SYMLINK_NOFOLLOW) != 0)
        return error_set(walk->err, ERROR_MACHINE, "'%.80s' cannot be read: %s", walk->path, strerror(errno));
    if (S_ISLNK(status->st_mode))
        return fault(walk, "is a symbolic link, which a handoff never holds: ask for it anew");
    if (!S_ISREG(status->st_mode) && !S_ISDIR(status->st_mode))
        return fault(walk, "is neither a file nor a folder: ask for the handoff anew");
    *fd = openat(folder_fd, name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
    if (*fd < 0 || fstat(*fd, status) != 0)
        return error_set(walk->err, ERROR_MACHINE, "'%.80s' cannot be read: %s", walk->path, strerror(errno));
    return S_ISREG(status->st_mode) || S_ISDIR(status->st_mode) || fault(walk, "changed while it was read");
}

static bool take_entry(struct walk *walk, int folder_fd, const char *name, size_t path_size, size_t depth)
{
    struct stat status;
    int fd;
    int size =
        snprintf(walk->path + path_size, sizeof walk->path - path_size, "%s%s", path_size ? "/" : "", name);
    if (size < 0 || path_size + (size_t)size >= sizeof walk->path)
        return fault(walk, "has a longer path than 1,000 bytes");
    path_size += (size_t)size;
    if (!bag_path_check(walk->path, path_size, walk->err))
        return false;
    bool ok = open_entry(walk, folder_fd, name, &fd, &status);
    if (ok && S_ISDIR(status.st_mode))
        return walk_folder(walk, fd, path_size, depth + 1); /* closes fd */
    ok = ok && take_file(walk, fd, &status);
    if (fd >= 0)
        close(fd);
    return ok;
}

static bool walk_entries(struct walk *walk, DIR *folder, size_t path_size, size_t depth)
{
    const struct dirent *entry;
    while (errno = 0, (entry = readdir(folder)) != NULL) {
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        if (!take_entry(walk, dirfd(folder), entry->d_name, path_size, depth))
            return false;
        walk->path[path_size] = '\0';
    }
    return errno == 0
           || error_set(walk->err, ERROR_MACHINE, "a folder of the bag cannot be read: %s", strerror(errno));
}

static bool walk_folder(struct walk *walk, int fd, size_t path_size, size_t depth)
{
    DIR *folder = depth < DEPTH_MAX ? fdopendir(fd) : NULL;
    if (!folder) {
        close(fd);
        return depth < DEPTH_MAX ? error_set(walk->err, ERROR_MACHINE, "'%.80s' cannot be read: %s",
                                             walk->path, strerror(errno))
                                 : fault(walk, "lies more than 32 folders deep");
    }
    bool ok = walk_entries(walk, folder, path_size, depth);
    closedir(folder);
    return ok;
}

bool bag_open_folder(int folder_fd, int spool_fd, const struct bag_limits *limits, struct arena *keep,
                     struct bag *bag, struct error *err)
{
    struct walk walk = {.spool = {.fd = spool_fd, .most = limits->bytes},
                        .most_files = limits->files,
                        .keep = keep,
                        .bag = bag,
                        .err = err};
    *bag = (struct bag){.spool_fd = spool_fd, .name = ""};
    int fd = fcntl(folder_fd, F_DUPFD_CLOEXEC, 0);
    walk.piece = malloc(PIECE);
    if (fd < 0 || !walk.piece) {
        free(walk.piece);
        if (fd >= 0)
            close(fd);
        return error_set(err, ERROR_MACHINE, "the folder cannot be opened: %s", strerror(errno));
    }
    bool ok = walk_folder(&walk, fd, 0, 0) && bag_settle(bag, *keep, err);
    free(walk.piece);
    return ok;
}
