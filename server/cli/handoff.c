/* handoff.c - fettle handoff: a signed audit with everything it rests on, as a zip or a folder. */
#include "bag/bag_unpack.h"
#include "cli/commands.h"
#include "cli/data_command.h"
#include "cli/scratch.h"
#include "handoff/handoff_make.h"
#include "job/control.h"
#include "job/scheduler.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum key { KEY_AUDIT = DATA_COMMAND_OWN, KEY_OUT, KEY_BY };

static const struct option_spec specs[] = {
    DATA_COMMAND_SPECS,
    {"--audit", true, false, KEY_AUDIT},
    {"--out", true, false, KEY_OUT},
    {"--by", true, false, KEY_BY},
};

static const char help[] =
    "usage: fettle handoff --audit A --data DIR --out PATH|PATH.zip [--by NAME]\n"
    "\n"
    "Hands over what audit A is about: the files, the run record, audit, spec, report, sign-offs and how "
    "they\n"
    "came to be, as a bag (BagIt 1.0, RFC 8493) sealed with the service's key. The audit must conform and "
    "be\n"
    "signed off by as many persons as its spec wants. The specimen is then handed over, and the handoff is\n"
    "kept in the data folder. Works while a server uses the folder, and without one.\n"
    "\n"
    "  --out PATH       a folder that is made; where it ends with .zip, a zip\n"
    "  --by NAME        who hands over, recorded as stated (default: command line)\n"
    "\n"
    "Whoever gets it checks it by: fettle verify-handoff PATH\n"
    "\n"
    "Exit status: 0 done, 2 wrong usage or not allowed, 3 no such audit or folder, 5 a fault of the program "
    "or\n"
    "the machine.\n";

struct call {
    size_t audit;
    const char *out, *by;
};

static bool take_option(int key, const char *value, void *context, struct error *err)
{
    struct call *call = context;
    if (key == KEY_AUDIT)
        return option_integer("--audit", value, 1, INT64_MAX, &call->audit, err);
    if (key == KEY_OUT)
        call->out = value;
    else
        call->by = value;
    return *value || error_set(err, ERROR_USAGE, "%s needs a value", key == KEY_OUT ? "--out" : "--by");
}

static const struct data_command command = {.name = "handoff",
                                            .help = help,
                                            .specs = specs,
                                            .spec_count = sizeof specs / sizeof specs[0],
                                            .take = take_option};

static bool hand_over_here(const char *data, const struct call *call, int fd, char *answer, size_t size,
                           struct error *err)
{
    struct store_options options = scheduler_store_options();
    struct measure_list measures;
    struct store *store;
    int64_t id;
    if (!store_open(data, false, &options, &store, err))
        return false;
    bool ok = measures_open(&measures, err);
    if (ok) {
        ok = handoff_make(store, &measures, (int64_t)call->audit, call->by, &id, err)
             && handoff_export(store, id, fd, err);
        measures_close(&measures);
    }
    store_close(store);
    if (ok)
        snprintf(answer, size, "%lld", (long long)id);
    return ok;
}

/* Asks the server that runs, else does it itself. The zip comes into fd. */
static bool hand_over(const char *data, const struct call *call, int fd, char *answer, size_t size,
                      struct error *err)
{
    char request[360];
    bool reached;
    if (strlen(call->by) > STORE_BY_MAX)
        return error_set(err, ERROR_USAGE, "--by has at most %d bytes", STORE_BY_MAX);
    snprintf(request, sizeof request, "handoff %zu %s", call->audit, call->by);
    bool ok = control_ask(data, request, fd, &reached, answer, size, err);
    return reached ? ok : hand_over_here(data, call, fd, answer, size, err);
}

static bool ends_with_zip(const char *path)
{
    size_t size = strlen(path);
    return size > 4 && strcmp(path + size - 4, ".zip") == 0;
}

static bool write_zip(const char *data, const struct call *call, char *answer, size_t size, struct error *err)
{
    int fd = open(call->out, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
    if (fd < 0)
        return error_set(err, ERROR_USAGE, "'%.80s' cannot be made: %s", call->out, strerror(errno));
    bool ok = hand_over(data, call, fd, answer, size, err);
    close(fd);
    if (!ok)
        unlink(call->out);
    return ok;
}

static bool unpack(int zip_fd, int spool_fd, int folder_fd, struct error *err)
{
    struct bag_limits limits = {.files = 10000, .bytes = UINT64_MAX / 2, .ratio = 1};
    struct arena arena;
    struct bag bag;
    if (!arena_open(&arena, (size_t)64 << 20, err))
        return false;
    bool ok = bag_open_zip(zip_fd, spool_fd, &limits, &arena, &bag, err) && bag_unpack(&bag, folder_fd, err);
    arena_close(&arena);
    return ok;
}

static bool write_folder(const char *data, const struct call *call, char *answer, size_t size,
                         struct error *err)
{
    int zip_fd = -1, spool_fd = -1;
    if (mkdir(call->out, 0755) != 0)
        return error_set(err, ERROR_USAGE, "'%.80s' cannot be made: %s", call->out, strerror(errno));
    int folder_fd = open(call->out, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    bool ok = folder_fd >= 0 || error_set(err, ERROR_MACHINE, "the folder cannot be opened");
    ok = ok && scratch_open(&zip_fd, err) && scratch_open(&spool_fd, err)
         && hand_over(data, call, zip_fd, answer, size, err) && unpack(zip_fd, spool_fd, folder_fd, err);
    if (folder_fd >= 0)
        close(folder_fd);
    if (zip_fd >= 0)
        close(zip_fd);
    if (spool_fd >= 0)
        close(spool_fd);
    if (!ok)
        rmdir(call->out); /* where nothing came of it */
    return ok;
}

int cli_handoff(int argc, char **argv)
{
    struct data_arguments arguments;
    struct call call = {.by = "command line"};
    struct error err = {0};
    char answer[400];
    int status;

    if (!data_command_begin(&command, argc, argv, &arguments, &call, &status))
        return status;
    if (!call.audit || !call.out) {
        error_set(&err, ERROR_USAGE, "name the audit with --audit A and where to write with --out PATH");
        return cli_fail_usage("handoff", &err);
    }
    bool ok = ends_with_zip(call.out) ? write_zip(arguments.data, &call, answer, sizeof answer, &err)
                                      : write_folder(arguments.data, &call, answer, sizeof answer, &err);
    if (!ok)
        return cli_fail(&err);
    printf("handoff %s of audit %zu: %s\n", answer, call.audit, call.out);
    return cli_finish_output();
}
