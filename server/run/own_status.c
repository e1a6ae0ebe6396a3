/* own_status.c - reading /proc/self/status, by a descriptor held open where opening is no longer allowed. */
#include "run/own_status.h"

#include <errno.h>
#include <fcntl.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static atomic_int held_fd = -1;

static int open_status(void)
{
    return open("/proc/self/status", O_RDONLY | O_CLOEXEC);
}

bool own_status_hold(struct error *err)
{
    int fd = open_status();
    if (fd < 0)
        return error_set(err, ERROR_MACHINE, "/proc cannot be read: %s", strerror(errno));
    held_fd = fd;
    return true;
}

/* The KiB after "Name:" at the start of a line, as bytes. */
static size_t bytes_after(const char *text, const char *name)
{
    const char *at = strstr(text, name);
    return at ? (size_t)strtoull(at + strlen(name), NULL, 10) << 10 : 0;
}

struct own_status own_status_read(void)
{
    char text[4096];
    int held = held_fd, fd = held >= 0 ? held : open_status();
    ssize_t got = fd >= 0 ? pread(fd, text, sizeof text - 1, 0) : 0;

    if (fd >= 0 && held < 0)
        close(fd);
    text[got > 0 ? got : 0] = '\0';
    return (struct own_status){
        .address_space_bytes = bytes_after(text, "\nVmSize:"),
        .peak_resident_mib = (double)bytes_after(text, "\nVmHWM:") / (1 << 20),
        .anonymous_mib = (double)bytes_after(text, "\nRssAnon:") / (1 << 20),
    };
}
