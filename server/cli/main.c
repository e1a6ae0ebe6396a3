/* main.c - the table of subcommands, --help and --version.
 *
 * A new subcommand is one file here, one declaration in commands.h and one line in the table. */
#include "cli/commands.h"
#include "cli/options.h"
#include "run/version.h"

#include <stdio.h>
#include <string.h>

static const struct command {
    const char *name;
    int (*run)(int argc, char **argv);
    const char *summary;
} commands[] = {
    {"measure", cli_measure, "measure a scan or a cage, alone or against a scan"},
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

int main(int argc, char **argv)
{
    const char *name = argc > 1 ? argv[1] : NULL;

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
