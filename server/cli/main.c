/* main.c - the table of subcommands, --help and --version.
 *
 * A new subcommand is one file here, one declaration in commands.h and one line in the table. */
#include "cli/commands.h"
#include "cli/options.h"
#include "run/version.h"

#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static const struct command {
    const char *name;
    int (*run)(int argc, char **argv);
    const char *summary;
} commands[] = {
    {"measure", cli_measure, "measure a scan or a cage, alone or against a scan"},
    {"audit", cli_audit, "judge a run by a written spec, rule by rule"},
    {"report", cli_report, "write an audit as a PDF or HTML document"},
    {"sign-off", cli_sign_off, "sign an audit off, as a named person"},
    {"serve", cli_serve, "serve the page and the API over a data folder"},
    {"verify", cli_verify, "check that a data folder holds everything, unaltered"},
    {"backup", cli_backup, "copy a data folder while it is in use"},
    {"remeasure", cli_remeasure, "queue new runs by today's definitions"},
    {"work", cli_work, "what serve starts for each job; not for use by hand"},
};
enum { COMMAND_COUNT = sizeof commands / sizeof commands[0] };

static void print_help(FILE *out)
{
    fputs("usage: fettle COMMAND [ARGUMENTS]\n\n", out);
    for (size_t i = 0; i < COMMAND_COUNT; i++)
        fprintf(out, "  %-10s %s\n", commands[i].name, commands[i].summary);
    fputs("\nfettle COMMAND --help tells the arguments of one; fettle --version tells the version.\n"
          "Measures describe the files, not the object. Nothing here clears a part for clinical,\n"
          "load-bearing or safety use.\n",
          out);
}

/* A closed standard stream would give its number to the next file opened, and output would go into that. In
 * its place comes one that cannot be written, so that the loss is noticed; of standard error, one that takes
 * all. */
static bool hold_standard_streams(void)
{
    for (int fd = STDIN_FILENO; fd <= STDERR_FILENO; fd++)
        if (fcntl(fd, F_GETFD) == -1 && open("/dev/null", fd == STDERR_FILENO ? O_WRONLY : O_RDONLY) != fd)
            return false;
    return true;
}

int main(int argc, char **argv)
{
    const char *name = argc > 1 ? argv[1] : NULL;

    if (!hold_standard_streams())
        return CLI_MACHINE;
    signal(SIGPIPE, SIG_IGN); /* a reader that went away is an error of write, and exit status 5 */
    if (!name) {
        print_help(stderr);
        return CLI_USAGE;
    }
    if (strcmp(name, "--help") == 0 || strcmp(name, "-h") == 0 || strcmp(name, "help") == 0) {
        print_help(stdout);
        return cli_finish_output();
    }
    if (strcmp(name, "--version") == 0) {
        printf("fettle %s (%s), definitions %d\n", engine_version(), engine_commit(), engine_definitions());
        return cli_finish_output();
    }
    for (size_t i = 0; i < COMMAND_COUNT; i++)
        if (strcmp(name, commands[i].name) == 0)
            return commands[i].run(argc - 1, argv + 1);
    fprintf(stderr, "fettle: there is no command '%s'; fettle --help lists them\n", name);
    return CLI_USAGE;
}
