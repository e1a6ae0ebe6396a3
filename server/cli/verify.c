/* verify.c - fettle verify: is everything in a data folder, and is it what it was? */
#include "cli/commands.h"
#include "cli/data_command.h"
#include "store/backup.h"
#include "store/beside.h"
#include "json/sign_off.h"

#include <stdio.h>
#include <string.h>

enum key { KEY_SAMPLE = DATA_COMMAND_OWN };

static const struct option_spec specs[] = {
    DATA_COMMAND_SPECS,
    {"--sample", true, false, KEY_SAMPLE},
};

static const char help[] =
    "usage: fettle verify --data DIR [--sample N/T]\n"
    "\n"
    "Checks the data folder DIR, also while a server uses it, and changes nothing: the database, every\n"
    "record, every stored file's size and, by reading it, its hash; the service's key; and that every "
    "sign-off\n"
    "still is of what is there.\n"
    "\n"
    "  --sample N/T   hash only the Nth of every T files (sizes are checked of all), and those signed off\n"
    "\n"
    "Findings are printed one a line; the exit status is 0 when there is none, 3 when there is one.\n"
    "Notes are harmless.\n";

/* The part of the files that is hashed. */
struct sample {
    size_t at, of;
};

static bool take_sample(int key, const char *value, void *call, struct error *err)
{
    struct sample *sample = call;
    char at[24];
    (void)key; /* there is one */
    const char *slash = strchr(value, '/');
    if (!slash || (size_t)(slash - value) >= sizeof at)
        return error_set(err, ERROR_USAGE, "--sample must be N/T, such as 1/10");
    memcpy(at, value, (size_t)(slash - value));
    at[slash - value] = '\0';
    return option_integer("--sample", slash + 1, 1, 1000000, &sample->of, err)
           && option_integer("--sample", at, 1, sample->of, &sample->at, err);
}

static const struct data_command command = {.name = "verify",
                                            .help = help,
                                            .specs = specs,
                                            .spec_count = sizeof specs / sizeof specs[0],
                                            .take = take_sample};

static void print_finding(void *context, bool is_note, const char *text)
{
    (void)context;
    printf("%s: %s\n", is_note ? "note" : "finding", text);
}

static void print_broken(void *context, const char *text)
{
    print_finding(context, false, text);
}

/* What is signed off, where the database can be read at all: that it cannot was told before. */
static bool check_sign_offs(const char *folder, struct store_verify_figures *figures, size_t *count,
                            struct error *err)
{
    struct store *store;
    size_t broken = 0;
    *count = 0;
    bool ok = store_open_beside(folder, &store, err);
    if (ok) {
        ok = sign_offs_verify(store, print_broken, NULL, count, &broken, err);
        store_close(store);
    }
    figures->findings += (int64_t)broken;
    return ok || (figures->findings && err->code == ERROR_STORE);
}

int cli_verify(int argc, char **argv)
{
    struct data_arguments arguments;
    struct sample sample = {1, 1};
    struct store_verify_figures figures;
    struct error err = {0};
    size_t sign_offs;
    int status;

    if (!data_command_begin(&command, argc, argv, &arguments, &sample, &status))
        return status;
    if (!store_verify(arguments.data, sample.at, sample.of, print_finding, NULL, &figures, &err)
        || !check_sign_offs(arguments.data, &figures, &sign_offs, &err))
        return cli_fail(&err);
    printf("%lld specimens, %lld versions, %lld runs, %zu sign-offs; %lld stored files, %lld of them hashed: "
           "%lld "
           "findings, %lld notes\n",
           (long long)figures.specimens, (long long)figures.versions, (long long)figures.runs, sign_offs,
           (long long)figures.blobs, (long long)figures.blobs_hashed, (long long)figures.findings,
           (long long)figures.notes);
    status = cli_finish_output();
    return status == CLI_DONE && figures.findings ? CLI_UNREADABLE : status;
}
