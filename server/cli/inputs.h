/* inputs.h - the files that a subcommand measures: named, opened, measured with a line of progress. */
#ifndef CLI_INPUTS_H
#define CLI_INPUTS_H

#include "run/run.h"

/* The part of a path after its last slash. */
const char *path_last_part(const char *path);

/* A regular file, opened for reading; the caller closes input->fd where that is not -1, also after an error.
 */
bool input_open(const char *path, struct run_input *input, struct error *err);
void input_close(struct run_input *input);

/* run_measure; how far it is goes to standard error, where that is a terminal. */
bool input_measure(const struct run_input *subject, const struct run_input *reference,
                   const struct run_settings *settings, bool want_fields, struct run *run, struct error *err);

/* The whole of a regular file that is no longer than most bytes, terminated; the caller frees *bytes. Errors:
 * ERROR_NOT_FOUND, ERROR_LIMIT, ERROR_MACHINE. */
bool input_read(const char *path, size_t most, char **bytes, size_t *size, struct error *err);

#endif
