/* backup.c - fettle backup: a whole copy of a data folder, made by the running server where there is one. */
#include "store/backup.h"
#include "cli/commands.h"
#include "cli/data_command.h"
#include "job/control.h"
#include "job/scheduler.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char help[] =
    "usage: fettle backup --data DIR DEST\n"
    "\n"
    "Copies the data folder DIR into the folder DEST, which is made when it is not there. A running server\n"
    "does it itself and goes on serving. Into the same DEST again, only new files are copied. DEST can be\n"
    "served and verified like any data folder; use a copy of it, so that the backup stays one.\n";

static const struct option_spec specs[] = {DATA_COMMAND_SPECS};
static const struct data_command command = {.name = "backup",
                                            .help = help,
                                            .specs = specs,
                                            .spec_count = sizeof specs / sizeof specs[0],
                                            .operand = "destination"};

static bool open_destination(const char *dest, int *fd, struct error *err)
{
    assert(dest);
    if (mkdir(dest, 0750) != 0 && errno != EEXIST)
        return error_set(err, ERROR_MACHINE, "the destination cannot be made: %s", strerror(errno));
    *fd = open(dest, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    return *fd >= 0 || error_set(err, ERROR_MACHINE, "the destination cannot be opened: %s", strerror(errno));
}

/* No server runs: this process is the one that has the folder open. */
static bool back_up_here(const char *data, int dest_fd, char *answer, size_t size, struct error *err)
{
    struct store_options options = scheduler_store_options();
    struct store_backup_figures figures;
    struct store *store;
    if (!store_open(data, false, &options, &store, err))
        return false;
    bool ok = store_backup(store, dest_fd, &figures, err);
    store_close(store);
    if (ok)
        snprintf(answer, size, "%lld files copied (%llu bytes), %lld were there already",
                 (long long)figures.blobs_copied, (unsigned long long)figures.bytes_copied,
                 (long long)figures.blobs_present);
    return ok;
}

int cli_backup(int argc, char **argv)
{
    struct data_arguments arguments;
    struct error err;
    char answer[400];
    int dest_fd = -1, status;

    if (!data_command_begin(&command, argc, argv, &arguments, NULL, &status))
        return status;
    if (!open_destination(arguments.operand, &dest_fd, &err))
        return cli_fail(&err);
    bool reached, ok = control_ask(arguments.data, "backup", dest_fd, &reached, answer, sizeof answer, &err);
    if (!reached)
        ok = back_up_here(arguments.data, dest_fd, answer, sizeof answer, &err);
    close(dest_fd);
    if (!ok)
        return cli_fail(&err);
    printf("backed up: %s\n", answer);
    return cli_finish_output();
}
