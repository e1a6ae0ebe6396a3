/* data_command.h - what the subcommands over a data folder share: --data DIR, --help, and how they begin. */
#ifndef CLI_DATA_COMMAND_H
#define CLI_DATA_COMMAND_H

#include "cli/options.h"

enum { DATA_COMMAND_DATA = 1, DATA_COMMAND_HELP, DATA_COMMAND_OWN };

/* The first lines of a table of options; keys of the command's own begin with DATA_COMMAND_OWN. */
#define DATA_COMMAND_SPECS                                                                                   \
    {"--data", true, false, DATA_COMMAND_DATA}, {"--help", false, true, DATA_COMMAND_HELP},                  \
    {                                                                                                        \
        "-h", false, true, DATA_COMMAND_HELP                                                                 \
    }

struct data_command {
    const char *name; /* "verify" */
    const char *help; /* what --help prints */
    const struct option_spec *specs;
    size_t spec_count;
    const char *operand; /* "destination": one is wanted; NULL: none is taken */
    /* Takes one of the options of its own into the call; NULL where it has none. */
    bool (*take)(int key, const char *value, void *call, struct error *err);
};

struct data_arguments {
    const char *data, *operand;
};

/* Reads all arguments. False where nothing is left to do: *status is then what the subcommand returns, and
 * the help, or what was wrong, is printed. */
bool data_command_begin(const struct data_command *command, int argc, char **argv,
                        struct data_arguments *arguments, void *call, int *status);

#endif
