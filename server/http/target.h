/* target.h - a request target (RFC 9112 section 3.2) decoded once, by us, or refused.
 *
 * The path is split at '/' before it is decoded, so that "%2f" never makes a new segment. Refused: a NUL, a
 * control byte, bytes that are not UTF-8, "%" without two hex digits, an empty segment inside the path, "."
 * and
 * "..", a slash or backslash inside a segment, a query parameter without a name or given twice. In the query
 * "+" is a space, as forms and URLSearchParams write it; tab and line ends may stand in a value. */
#ifndef HTTP_TARGET_H
#define HTTP_TARGET_H

#include "base/error.h"

#define TARGET_SEGMENTS_MAX 16
#define TARGET_PARAMETERS_MAX 24

struct target_parameter {
    const char *name, *value;
};

struct target {
    char *text;           /* holds what the pointers below point to */
    char *authority;      /* of an absolute target ("http://host/path"), else NULL */
    size_t segment_count; /* "/" has none */
    const char *segments[TARGET_SEGMENTS_MAX];
    size_t parameter_count;
    struct target_parameter parameters[TARGET_PARAMETERS_MAX];
};

/* raw is what stood between method and protocol. ERROR_USAGE for a target that is refused, ERROR_MACHINE when
 * memory is short. The caller owes target_close in every case. */
bool target_parse(const char *raw, struct target *target, struct error *err);
void target_close(struct target *target);

/* The parameter's value, or NULL. */
const char *target_parameter(const struct target *target, const char *name);
/* False with ERROR_USAGE when a parameter is none of the names, which are parted by spaces. */
bool target_allows(const struct target *target, const char *names, struct error *err);

#endif
