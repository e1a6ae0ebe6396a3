/* options.h - what every subcommand shares: walking its arguments and telling how it ended.
 *
 * A subcommand states its options as a table; options and operands come in any order, "--name VALUE" and
 * "--name=VALUE" are the same, "--" ends the options. Names are never abbreviated, so that a script keeps its
 * meaning when options are added. */
#ifndef CLI_OPTIONS_H
#define CLI_OPTIONS_H

#include "base/error.h"
#include "run/run.h"

#include <stdbool.h>
#include <stddef.h>

struct option_spec {
    const char *name; /* "--kind" */
    bool has_value;
    bool repeats; /* else a second one is wrong usage */
    int key;      /* what options_next returns for it; > 0 */
};

#define OPTIONS_MAX 64 /* options in one table */
enum { OPTION_END = 0, OPTION_OPERAND = -1, OPTION_WRONG = -2 };

struct options {
    const struct option_spec *specs;
    size_t spec_count; /* <= OPTIONS_MAX */
    int argc;
    char **argv;
    int at;
    bool only_operands;
    uint64_t seen; /* bit i: specs[i] was met */
};

struct options options_begin(const struct option_spec *specs, size_t spec_count, int argc, char **argv);
/* The next option's key with its value in *value (NULL where it has none), OPTION_OPERAND with the operand in
 * *value, OPTION_END, or OPTION_WRONG with err filled (ERROR_USAGE). */
int options_next(struct options *options, const char **value, struct error *err);

/* Decimal digits within [least, most]; false with ERROR_USAGE naming the option otherwise. */
bool option_integer(const char *name, const char *value, size_t least, size_t most, size_t *number,
                    struct error *err);
/* A finite decimal number ("1e-4", "0.4"), the whole of value, no blanks, hex or words. */
bool option_number(const char *name, const char *value, double *number, struct error *err);

/* Which of count words value is. */
bool option_word(const char *name, const char *value, const char *const words[], size_t count, size_t *chosen,
                 struct error *err);
/* --certify: a share above 0 and up to 1. */
bool option_certify(const char *value, double *certify, struct error *err);
/* --surface: "control", "limit" or "both". */
bool option_surface(const char *value, enum surface_kind *surface, struct error *err);

/* Prints "fettle: " and the error to standard error, and returns its exit status. */
int cli_fail(const struct error *err);
/* Wrong usage of a subcommand: prints the error and where to find help; returns CLI_USAGE. */
int cli_fail_usage(const char *command, const struct error *err);
/* Writes all of it, in place of what was there; ERROR_MACHINE. */
bool cli_write_file(const char *path, const char *text, size_t size, struct error *err);
/* Flushes standard output; CLI_DONE, or CLI_MACHINE with a message where it could not all be written. */
int cli_finish_output(void);

#endif
