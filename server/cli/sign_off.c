/* sign_off.c - fettle sign-off: an audit signed off by a named person, by the running server where there is
 * one. */
#include "cli/commands.h"
#include "cli/data_command.h"
#include "job/control.h"
#include "job/scheduler.h"
#include "json/sign_off_text.h"

#include <stdio.h>
#include <stdlib.h>

enum key { KEY_AUDIT = DATA_COMMAND_OWN, KEY_BY, KEY_ROLE, KEY_NOTE };

static const struct option_spec specs[] = {
    DATA_COMMAND_SPECS,
    {"--audit", true, false, KEY_AUDIT},
    {"--by", true, false, KEY_BY},
    {"--role", true, false, KEY_ROLE},
    {"--note", true, false, KEY_NOTE},
};

static const char help[] =
    "usage: fettle sign-off --data DIR --audit A --by NAME [--role R] [--note N]\n"
    "\n"
    "Signs audit A off: states what was judged, by the digests of files, record, spec and audit, and signs\n"
    "that with the key of the data folder, which is made at the first need. A running server does it "
    "itself.\n"
    "Only an audit that conforms, of the newest run by the newest version of its spec, is signed off; a "
    "spec\n"
    "may ask for two persons.\n"
    "\n"
    "  --audit A   the audit, by its id\n"
    "  --by NAME   who signs; recorded as stated\n"
    "  --role R    in what role\n"
    "  --note N    what else is to be said\n"
    "\n"
    "Exit status: 0 it is signed, 2 it may not be, or wrong usage, 3 there is no such audit or folder, 5 a\n"
    "fault of the program or the machine.\n";

struct call {
    size_t audit; /* 0: not given */
    const char *by, *role, *note;
};

static bool take_option(int key, const char *value, void *context, struct error *err)
{
    struct call *call = context;
    if (key == KEY_AUDIT)
        return option_integer("--audit", value, 1, INT64_MAX, &call->audit, err);
    if (key == KEY_BY)
        call->by = value;
    else if (key == KEY_ROLE)
        call->role = value;
    else
        call->note = value;
    return true;
}

static const struct data_command command = {.name = "sign-off",
                                            .help = help,
                                            .specs = specs,
                                            .spec_count = sizeof specs / sizeof specs[0],
                                            .take = take_option};

/* No server runs: this process is the one that has the folder open. */
static bool sign_here(const char *data, const struct sign_off_request *request, char *answer, size_t size,
                      struct error *err)
{
    struct store_options options = scheduler_store_options();
    struct store *store;
    if (!store_open(data, false, &options, &store, err))
        return false;
    bool ok = sign_off_tell(store, request, answer, size, err);
    store_close(store);
    return ok;
}

static bool sign(const char *data, const struct sign_off_request *request, char *answer, size_t size,
                 struct error *err)
{
    bool reached;
    char *line;
    if (!sign_off_request_write(request, "sign-off ", &line, err))
        return false;
    bool ok = control_ask(data, line, -1, &reached, answer, size, err);
    free(line);
    return reached ? ok : sign_here(data, request, answer, size, err);
}

int cli_sign_off(int argc, char **argv)
{
    struct data_arguments arguments;
    struct call call = {0};
    struct error err;
    char answer[400];
    int status;

    if (!data_command_begin(&command, argc, argv, &arguments, &call, &status))
        return status;
    if (!call.audit || !call.by) {
        error_set(&err, ERROR_USAGE, "name the audit with --audit and who signs it with --by");
        return cli_fail_usage(command.name, &err);
    }
    const struct sign_off_request request = {
        .audit = (int64_t)call.audit, .by = call.by, .role = call.role, .note = call.note};
    if (!sign(arguments.data, &request, answer, sizeof answer, &err))
        return cli_fail(&err);
    printf("%s\n", answer);
    return cli_finish_output();
}
