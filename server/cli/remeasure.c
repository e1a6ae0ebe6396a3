/* remeasure.c - fettle remeasure: queue a new run for every version whose run is not by today's definitions.
 */
#include "cli/commands.h"
#include "cli/options.h"
#include "job/control.h"
#include "job/scheduler.h"
#include "store/runs.h"

#include <stdio.h>

enum key { KEY_DATA = 1, KEY_SPECIMEN, KEY_AGAIN, KEY_HELP };

static const struct option_spec specs[] = {
    {"--data", true, false, KEY_DATA},  {"--specimen", true, false, KEY_SPECIMEN},
    {"--all", false, false, KEY_AGAIN}, {"--help", false, true, KEY_HELP},
    {"-h", false, true, KEY_HELP},
};

struct call {
    const char *data;
    size_t specimen; /* 0: all */
    bool again, help;
};

static void print_help(void)
{
    fputs(
        "usage: fettle remeasure --data DIR [--specimen N] [--all]\n"
        "\n"
        "Queues a run for every version that is not withdrawn and has none made with the definitions and\n"
        "settings of this program; old runs are kept. A running server begins at once, after what somebody\n"
        "waits for; without one, the next `fettle serve` does.\n"
        "\n"
        "  --specimen N   only this specimen, by its id\n"
        "  --all          also versions whose run is up to date\n"
        "\n"
        "Prints how many runs were queued.\n",
        stdout);
}

static bool read_arguments(int argc, char **argv, struct call *call, struct error *err)
{
    struct options options = options_begin(specs, sizeof specs / sizeof specs[0], argc, argv);
    const char *value;
    *call = (struct call){0};
    for (int key; (key = options_next(&options, &value, err)) != OPTION_END;) {
        if (key == KEY_DATA)
            call->data = value;
        else if (key == KEY_HELP)
            call->help = true;
        else if (key == KEY_AGAIN)
            call->again = true;
        else if (key == KEY_SPECIMEN) {
            if (!option_integer("--specimen", value, 1, INT64_MAX, &call->specimen, err))
                return false;
        } else if (key == OPTION_OPERAND)
            return error_set(err, ERROR_USAGE, "remeasure takes no operand, but got '%s'", value);
        else
            return false;
    }
    return call->data || call->help || error_set(err, ERROR_USAGE, "--data DIR is missing");
}

static bool remeasure_here(const struct call *call, char *answer, size_t size, struct error *err)
{
    struct store_options options = scheduler_store_options();
    struct store *store;
    int64_t queued;
    if (!store_open(call->data, false, &options, &store, err))
        return false;
    bool ok = store_remeasure(store, (int64_t)call->specimen, call->again, &queued, err);
    store_close(store);
    if (ok)
        snprintf(answer, size, "%lld", (long long)queued);
    return ok;
}

int cli_remeasure(int argc, char **argv)
{
    struct call call;
    struct error err;
    char request[64], answer[400];

    if (!read_arguments(argc, argv, &call, &err))
        return cli_fail_usage("remeasure", &err);
    if (call.help) {
        print_help();
        return cli_finish_output();
    }
    snprintf(request, sizeof request, "remeasure %zu %d", call.specimen, call.again);
    bool reached, ok = control_ask(call.data, request, -1, &reached, answer, sizeof answer, &err);
    if (!reached)
        ok = remeasure_here(&call, answer, sizeof answer, &err);
    if (!ok)
        return cli_fail(&err);
    printf("%s runs queued\n", answer);
    return cli_finish_output();
}
