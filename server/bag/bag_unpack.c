/* bag_unpack.c - folders, then files. */
#include "bag/bag_unpack.h"

#include "bag/name.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool make_parents(int folder_fd, const char *path, struct error *err)
{
    char parent[BAG_PATH_MAX + 1];
    for (const char *slash = strchr(path, '/'); slash; slash = strchr(slash + 1, '/')) {
        snprintf(parent, sizeof parent, "%.*s", (int)(slash - path), path);
        if (mkdirat(folder_fd, parent, 0755) != 0 && errno != EEXIST)
            return error_set(err, ERROR_MACHINE, "the folder '%.80s' cannot be made: %s", parent,
                             strerror(errno));
    }
    return true;
}

static bool unpack_file(const struct bag *bag, const struct bag_file *file, int folder_fd, struct error *err)
{
    const struct timespec time = {.tv_sec = (time_t)bag->time_s}, times[2] = {time, time};
    if (!make_parents(folder_fd, file->path, err))
        return false;
    int fd = openat(folder_fd, file->path, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0644);
    if (fd < 0)
        return error_set(err, ERROR_MACHINE, "'%.80s' cannot be made: %s", file->path, strerror(errno));
    bool ok = bag_copy(bag, file, fd, err);
    if (ok && (futimens(fd, times) != 0 || fsync(fd) != 0))
        ok = error_set(err, ERROR_MACHINE, "'%.80s' cannot be written: %s", file->path, strerror(errno));
    close(fd);
    return ok;
}

bool bag_unpack(const struct bag *bag, int folder_fd, struct error *err)
{
    for (size_t f = 0; f < bag->count; f++)
        if (!unpack_file(bag, &bag->files[f], folder_fd, err))
            return false;
    return true;
}
