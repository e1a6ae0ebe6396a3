/* data_command.c - the arguments of a subcommand over a data folder. */
#include "cli/data_command.h"

#include <stdio.h>

static bool take_operand(const struct data_command *command, const char *value, const char **operand,
                         struct error *err)
{
    if (!command->operand)
        return error_set(err, ERROR_USAGE, "%s takes no operand, but got '%s'", command->name, value);
    if (*operand)
        return error_set(err, ERROR_USAGE, "%s takes one %s, but got '%s' too", command->name,
                         command->operand, value);
    *operand = value;
    return true;
}

static bool read_arguments(const struct data_command *command, int argc, char **argv,
                           struct data_arguments *arguments, void *call, bool *help, struct error *err)
{
    struct options options = options_begin(command->specs, command->spec_count, argc, argv);
    const char *value;

    for (int key; (key = options_next(&options, &value, err)) != OPTION_END;) {
        if (key == OPTION_WRONG)
            return false;
        if (key == DATA_COMMAND_DATA)
            arguments->data = value;
        else if (key == DATA_COMMAND_HELP)
            *help = true;
        else if (key == OPTION_OPERAND ? !take_operand(command, value, &arguments->operand, err)
                                       : !command->take(key, value, call, err))
            return false;
    }
    if (*help)
        return true;
    if (!arguments->data)
        return error_set(err, ERROR_USAGE, "--data DIR is missing");
    return !command->operand || arguments->operand
           || error_set(err, ERROR_USAGE, "the %s is missing", command->operand);
}

bool data_command_begin(const struct data_command *command, int argc, char **argv,
                        struct data_arguments *arguments, void *call, int *status)
{
    bool help = false;
    struct error err;

    *arguments = (struct data_arguments){0};
    if (!read_arguments(command, argc, argv, arguments, call, &help, &err)) {
        *status = cli_fail_usage(command->name, &err);
        return false;
    }
    if (help) {
        fputs(command->help, stdout);
        *status = cli_finish_output();
    }
    return !help;
}
