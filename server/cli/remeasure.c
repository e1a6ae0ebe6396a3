/* remeasure.c - fettle remeasure: queue a new run for every version whose run is not by today's definitions.
 */
#include "cli/commands.h"
#include "cli/data_command.h"
#include "job/control.h"
#include "job/scheduler.h"
#include "store/runs.h"

#include <stdio.h>

enum key { KEY_SPECIMEN = DATA_COMMAND_OWN, KEY_AGAIN };

static const struct option_spec specs[] = {
    DATA_COMMAND_SPECS,
    {"--specimen", true, false, KEY_SPECIMEN},
    {"--all", false, false, KEY_AGAIN},
};

static const char help[] =
    "usage: fettle remeasure --data DIR [--specimen N] [--all]\n"
    "\n"
    "Queues a run for every version that is not withdrawn and has none made with the definitions and\n"
    "settings of this program; old runs are kept. A running server begins at once, after what somebody\n"
    "waits for; without one, the next `fettle serve` does.\n"
    "\n"
    "  --specimen N   only this specimen, by its id\n"
    "  --all          also versions whose run is up to date\n"
    "\n"
    "Prints how many runs were queued.\n";

struct call {
    size_t specimen; /* 0: all */
    bool again;
};

static bool take_option(int key, const char *value, void *context, struct error *err)
{
    struct call *call = context;
    if (key == KEY_SPECIMEN)
        return option_integer("--specimen", value, 1, INT64_MAX, &call->specimen, err);
    call->again = true;
    return true;
}

static const struct data_command command = {.name = "remeasure",
                                            .help = help,
                                            .specs = specs,
                                            .spec_count = sizeof specs / sizeof specs[0],
                                            .take = take_option};

static bool remeasure_here(const char *data, const struct call *call, char *answer, size_t size,
                           struct error *err)
{
    struct store_options options = scheduler_store_options();
    struct store *store;
    int64_t queued;
    if (!store_open(data, false, &options, &store, err))
        return false;
    bool ok = store_remeasure(store, (int64_t)call->specimen, call->again, &queued, err);
    store_close(store);
    if (ok)
        snprintf(answer, size, "%lld", (long long)queued);
    return ok;
}

int cli_remeasure(int argc, char **argv)
{
    struct data_arguments arguments;
    struct call call = {0};
    struct error err;
    char request[64], answer[400];
    int status;

    if (!data_command_begin(&command, argc, argv, &arguments, &call, &status))
        return status;
    snprintf(request, sizeof request, "remeasure %zu %d", call.specimen, call.again);
    bool reached, ok = control_ask(arguments.data, request, -1, &reached, answer, sizeof answer, &err);
    if (!reached)
        ok = remeasure_here(arguments.data, &call, answer, sizeof answer, &err);
    if (!ok)
        return cli_fail(&err);
    printf("%s runs queued\n", answer);
    return cli_finish_output();
}
