/* spec_builtin.h - the starting specs that come with the program (schema/specs/). */
#ifndef JSON_SPEC_BUILTIN_H
#define JSON_SPEC_BUILTIN_H

#include <stdbool.h>
#include <stddef.h>

struct spec_builtin {
    const char *name; /* "print": what the command line and the API call it by */
    const char *bytes;
    size_t size;
};

size_t spec_builtin_count(void);
/* In the order to show them. */
struct spec_builtin spec_builtin_at(size_t i);
/* False: there is none of that name. */
bool spec_builtin_find(const char *name, struct spec_builtin *found);

#endif
