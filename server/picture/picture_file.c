/* picture_file.c - whole writes, whatever the system takes at once. */
#include "picture/picture_file.h"

#include <errno.h>
#include <string.h>
#include <unistd.h>

bool picture_write_at(int fd, const void *bytes, size_t count, uint64_t offset, struct error *err)
{
    const char *at = bytes;

    while (count) {
        ssize_t put = pwrite(fd, at, count, (off_t)offset);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return error_set(err, ERROR_MACHINE, "the picture cannot be written: %s",
                             put < 0 ? strerror(errno) : "no room");
        at += put;
        offset += (uint64_t)put;
        count -= (size_t)put;
    }
    return true;
}

bool picture_write_end(int fd, uint64_t offset, struct error *err)
{
    const char zeros[8] = {0};

    return picture_write_at(fd, zeros, sizeof zeros, offset - sizeof zeros, err);
}
