/* options.c - arguments one after the other, and the ways a subcommand ends. */
#include "cli/options.h"

#include "cli/commands.h"
#include "run/length.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>

struct options options_begin(const struct option_spec *specs, size_t spec_count, int argc, char **argv)
{
    return (struct options){.specs = specs, .spec_count = spec_count, .argc = argc, .argv = argv, .at = 1};
}

static int wrong(struct error *err, const char *what, const char *argument, size_t length)
{
    error_set(err, ERROR_USAGE, what, (int)length, argument);
    return OPTION_WRONG;
}

static int take_option(struct options *options, const char *argument, const char **value, struct error *err)
{
    size_t length = strcspn(argument, "=");
    size_t i = 0;

    while (i < options->spec_count
           && !(strlen(options->specs[i].name) == length
                && memcmp(options->specs[i].name, argument, length) == 0))
        i++;
    if (i == options->spec_count)
        return wrong(err, "there is no option '%.*s'", argument, length);
    const struct option_spec *spec = &options->specs[i];
    if (!spec->repeats && (options->seen & (uint64_t)1 << i))
        return wrong(err, "'%.*s' is there twice; leave one out", argument, length);
    options->seen |= (uint64_t)1 << i;

    if (!spec->has_value)
        return argument[length] ? wrong(err, "'%.*s' takes no value", argument, length) : spec->key;
    if (argument[length])
        *value = argument + length + 1;
    else if (options->at < options->argc)
        *value = options->argv[options->at++];
    else
        return wrong(err, "'%.*s' needs a value", argument, length);
    return spec->key;
}

int options_next(struct options *options, const char **value, struct error *err)
{
    *value = NULL;
    if (options->at >= options->argc)
        return OPTION_END;
    const char *argument = options->argv[options->at++];
    if (!options->only_operands && strcmp(argument, "--") == 0) {
        options->only_operands = true;
        return options_next(options, value, err);
    }
    if (!options->only_operands && argument[0] == '-' && argument[1])
        return take_option(options, argument, value, err);
    *value = argument;
    return OPTION_OPERAND;
}

bool option_integer(const char *name, const char *value, size_t least, size_t most, size_t *number,
                    struct error *err)
{
    size_t digits = strspn(value, "0123456789"), x = 0;
    bool ok = digits > 0 && !value[digits];

    for (size_t i = 0; ok && i < digits; i++)
        ok = !__builtin_mul_overflow(x, 10, &x) && !__builtin_add_overflow(x, (size_t)(value[i] - '0'), &x);
    if (!ok || x < least || x > most)
        return error_set(err, ERROR_USAGE, "%s is a whole number from %zu to %zu, not '%s'", name, least,
                         most, value);
    *number = x;
    return true;
}

bool option_number(const char *name, const char *value, double *number, struct error *err)
{
    const char *end = decimal_parse(value, number);
    if (!end || *end)
        return error_set(err, ERROR_USAGE, "%s is a number such as 1e-4, not '%s'", name, value);
    return true;
}

bool option_word(const char *name, const char *value, const char *const words[], size_t count, size_t *chosen,
                 struct error *err)
{
    char list[80] = "";
    for (size_t i = 0; i < count; i++) {
        if (strcmp(value, words[i]) == 0) {
            *chosen = i;
            return true;
        }
        snprintf(list + strlen(list), sizeof list - strlen(list), "%s%s", i ? ", " : "", words[i]);
    }
    return error_set(err, ERROR_USAGE, "%s is one of %s, not '%s'", name, list, value);
}

bool option_certify(const char *value, double *certify, struct error *err)
{
    if (!option_number("--certify", value, certify, err))
        return false;
    if (!(*certify > 0 && *certify <= 1))
        return error_set(err, ERROR_USAGE, "--certify is a share above 0 and up to 1, such as 1e-4, not '%s'",
                         value);
    return true;
}

bool option_surface(const char *value, enum surface_kind *surface, struct error *err)
{
    static const char *const words[] = {
        [SURFACE_CONTROL] = "control", [SURFACE_LIMIT] = "limit", [SURFACE_BOTH] = "both"};
    size_t chosen = 0;
    if (!option_word("--surface", value, words, 3, &chosen, err))
        return false;
    *surface = (enum surface_kind)chosen;
    return true;
}

static int status_of(enum error_code code)
{
    switch (code) {
    case ERROR_USAGE:
    case ERROR_CONFLICT:
        return CLI_USAGE;
    case ERROR_SYNTAX:
    case ERROR_DATA:
    case ERROR_TYPE:
    case ERROR_EMPTY:
    case ERROR_NOT_FOUND:
        return CLI_UNREADABLE;
    case ERROR_LIMIT:
        return CLI_LIMIT;
    default:
        return CLI_MACHINE;
    }
}

int cli_fail(const struct error *err)
{
    char text[sizeof err->text + 64];
    error_describe(err, text, sizeof text);
    if (error_is_reject(err->code))
        fprintf(stderr, "fettle: %s: %s\n", error_word(err->code), text);
    else
        fprintf(stderr, "fettle: %s\n", text);
    return status_of(err->code);
}

int cli_fail_usage(const char *command, const struct error *err)
{
    fprintf(stderr, "fettle: %s\nfettle %s --help tells how to call it\n", err->text, command);
    return CLI_USAGE;
}

int cli_finish_output(void)
{
    if (fflush(stdout) == 0 && !ferror(stdout))
        return CLI_DONE;
    fprintf(stderr, "fettle: standard output could not be written: %s\n", strerror(errno));
    return CLI_MACHINE;
}

bool cli_write_file(const char *path, const char *text, size_t size, struct error *err)
{
    FILE *file = fopen(path, "we");
    bool ok = file && fwrite(text, 1, size, file) == size;
    if (file && fclose(file) != 0)
        ok = false;
    return ok || error_set(err, ERROR_MACHINE, "cannot write '%s': %s", path, strerror(errno));
}
