/* scratch.c - O_TMPFILE, or where the file system has it not, a file that loses its name at once. */
#include "cli/scratch.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

bool scratch_open(int *fd, struct error *err)
{
    const char *folder = getenv("TMPDIR");
    char path[PATH_MAX];
    if (!folder || !*folder)
        folder = "/tmp";
    *fd = open(folder, O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
    if (*fd < 0 && (size_t)snprintf(path, sizeof path, "%s/fettle-XXXXXX", folder) < sizeof path) {
        *fd = mkostemp(path, O_CLOEXEC);
        if (*fd >= 0)
            unlink(path);
    }
    return *fd >= 0
           || error_set(err, ERROR_MACHINE,
                        "no temporary file can be made in '%.80s': %s; name another folder with TMPDIR",
                        folder, strerror(errno));
}
