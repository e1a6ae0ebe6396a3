/* inputs.c - opening and measuring what the command line names. */
#include "cli/inputs.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

const char *path_last_part(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

static bool be_regular(const char *path, const struct stat *status, struct error *err)
{
    if (S_ISDIR(status->st_mode))
        return error_set(err, ERROR_NOT_FOUND, "'%s' is a folder; name the mesh file in it", path);
    if (!S_ISREG(status->st_mode))
        return error_set(err, ERROR_NOT_FOUND,
                         "'%s' is not a regular file; save what it gives to a file and name that", path);
    return true;
}

/* Looked at before it is opened, because opening a pipe waits for somebody who writes to it; and afterwards,
 * because it may be another file by then. */
bool input_open(const char *path, struct run_input *input, struct error *err)
{
    struct stat status;

    input->name = path_last_part(path);
    if (stat(path, &status) == 0 && !be_regular(path, &status, err))
        return false;
    input->fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
    if (input->fd < 0 || fstat(input->fd, &status) != 0)
        return error_set(err, ERROR_NOT_FOUND, "cannot read '%s': %s", path, strerror(errno));
    return be_regular(path, &status, err);
}

void input_close(struct run_input *input)
{
    if (input->fd >= 0)
        close(input->fd);
    input->fd = -1;
}

/* The line that tells how far a run is, on a terminal. */
struct progress_line {
    const char *stage;
    int percent;
};

static bool print_progress(void *context, const char *stage, double fraction)
{
    struct progress_line *line = context;
    int percent = (int)(100 * fraction);
    if (line->stage && strcmp(line->stage, stage) == 0 && line->percent == percent)
        return true;
    line->stage = stage;
    line->percent = percent;
    fprintf(stderr, "\r\033[K%s %d %%", stage, percent);
    return true;
}

bool input_measure(const struct run_input *subject, const struct run_input *reference,
                   const struct run_settings *settings, bool want_fields, struct run *run, struct error *err)
{
    struct progress_line line = {0};
    struct progress progress = {print_progress, &line};
    bool terminal = isatty(STDERR_FILENO);

    bool ok = run_measure(subject, reference, settings, want_fields, terminal ? &progress : NULL, run, err);
    if (terminal)
        fputs("\r\033[K", stderr);
    return ok;
}

static bool read_all(int fd, const char *path, char *bytes, size_t size, struct error *err)
{
    for (size_t done = 0; done < size;) {
        ssize_t got = read(fd, bytes + done, size - done);
        if (got < 0 && errno == EINTR)
            continue;
        if (got <= 0)
            return error_set(err, ERROR_MACHINE, "cannot read '%s': %s", path,
                             got ? strerror(errno) : "it became shorter");
        done += (size_t)got;
    }
    bytes[size] = '\0';
    return true;
}

bool input_read(const char *path, size_t most, char **bytes, size_t *size, struct error *err)
{
    struct run_input input = {.fd = -1};
    struct stat status;
    bool ok = false;

    *bytes = NULL;
    if (!input_open(path, &input, err))
        goto out;
    if (fstat(input.fd, &status) != 0 || (uint64_t)status.st_size > most) {
        error_set(err, ERROR_LIMIT, "'%s' has more than %zu bytes, which is not a file of this kind", path,
                  most);
        goto out;
    }
    *size = (size_t)status.st_size;
    *bytes = malloc(*size + 1);
    ok = *bytes ? read_all(input.fd, path, *bytes, *size, err)
                : error_set(err, ERROR_MACHINE, "memory is out while reading '%s'", path);

out:
    if (!ok) {
        free(*bytes);
        *bytes = NULL;
    }
    input_close(&input);
    return ok;
}
