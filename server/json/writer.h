/* writer.h - a jansson tree as JSON text: the one writer for records, API bodies and digests.
 *
 * Numbers by number.h, strings escaped no more than RFC 8785 section 3.2.2.2 asks (UTF-8 stays as it is). */
#ifndef JSON_WRITER_H
#define JSON_WRITER_H

#include "base/error.h"

struct json_t; /* jansson's; a file that builds trees includes <jansson.h> itself */

enum writer_form {
    WRITER_COMPACT,   /* no blanks, keys in the order they were put in */
    WRITER_LINE,      /* compact, then a newline */
    WRITER_PRETTY,    /* the same, indented by two blanks, ends with a newline */
    WRITER_CANONICAL, /* RFC 8785: no blanks, keys sorted by UTF-16 code units; what digests are made of */
};

/* *text is terminated, *size does not count the terminator; the caller frees *text.
 * Errors: ERROR_MACHINE when memory is out. */
bool writer_dump(const struct json_t *value, enum writer_form form, char **text, size_t *size,
                 struct error *err);

#endif
