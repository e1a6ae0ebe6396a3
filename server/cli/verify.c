/* verify.c - fettle verify: is everything in a data folder, and is it what it was? */
#include "cli/commands.h"
#include "cli/options.h"
#include "store/backup.h"

#include <stdio.h>
#include <string.h>

enum key { KEY_DATA = 1, KEY_SAMPLE, KEY_HELP };

static const struct option_spec specs[] = {
    {"--data", true, false, KEY_DATA},
    {"--sample", true, false, KEY_SAMPLE},
    {"--help", false, true, KEY_HELP},
    {"-h", false, true, KEY_HELP},
};

struct call {
    const char *data;
    size_t sample_at, sample_of;
    bool help;
};

static void print_help(void)
{
    fputs(
        "usage: fettle verify --data DIR [--sample N/T]\n"
        "\n"
        "Checks the data folder DIR, also while a server uses it, and changes nothing: the database, every\n"
        "record, every stored file's size and, by reading it, its hash.\n"
        "\n"
        "  --sample N/T   hash only the Nth of every T files (sizes are checked of all)\n"
        "\n"
        "Findings are printed one a line; the exit status is 0 when there is none, 3 when there is one.\n"
        "Notes are harmless.\n",
        stdout);
}

static bool take_sample(const char *value, struct call *call, struct error *err)
{
    char at[24];
    const char *slash = strchr(value, '/');
    if (!slash || (size_t)(slash - value) >= sizeof at)
        return error_set(err, ERROR_USAGE, "--sample must be N/T, such as 1/10");
    memcpy(at, value, (size_t)(slash - value));
    at[slash - value] = '\0';
    return option_integer("--sample", slash + 1, 1, 1000000, &call->sample_of, err)
           && option_integer("--sample", at, 1, call->sample_of, &call->sample_at, err);
}

static bool read_arguments(int argc, char **argv, struct call *call, struct error *err)
{
    struct options options = options_begin(specs, sizeof specs / sizeof specs[0], argc, argv);
    const char *value;
    *call = (struct call){.sample_at = 1, .sample_of = 1};
    for (int key; (key = options_next(&options, &value, err)) != OPTION_END;) {
        if (key == KEY_DATA)
            call->data = value;
        else if (key == KEY_HELP)
            call->help = true;
        else if (key == KEY_SAMPLE) {
            if (!take_sample(value, call, err))
                return false;
        } else if (key == OPTION_OPERAND)
            return error_set(err, ERROR_USAGE, "verify takes no operand, but got '%s'", value);
        else
            return false;
    }
    return call->data || call->help || error_set(err, ERROR_USAGE, "--data DIR is missing");
}

static void print_finding(void *context, bool is_note, const char *text)
{
    (void)context;
    printf("%s: %s\n", is_note ? "note" : "finding", text);
}

int cli_verify(int argc, char **argv)
{
    struct call call;
    struct store_verify_figures figures;
    struct error err;

    if (!read_arguments(argc, argv, &call, &err))
        return cli_fail_usage("verify", &err);
    if (call.help) {
        print_help();
        return cli_finish_output();
    }
    if (!store_verify(call.data, call.sample_at, call.sample_of, print_finding, NULL, &figures, &err))
        return cli_fail(&err);
    printf("%lld specimens, %lld versions, %lld runs; %lld stored files, %lld of them hashed: %lld findings, "
           "%lld notes\n",
           (long long)figures.specimens, (long long)figures.versions, (long long)figures.runs,
           (long long)figures.blobs, (long long)figures.blobs_hashed, (long long)figures.findings,
           (long long)figures.notes);
    int status = cli_finish_output();
    return status == CLI_DONE && figures.findings ? CLI_UNREADABLE : status;
}
