/* spec_builtin.c - the files of schema/specs/ inside the program. */
#include "json/spec_builtin.h"

#include <stdint.h>
#include <string.h>

/* The bytes of a file, put here by the assembler; the Makefile makes this object anew when one changes. */
#define FILE_BYTES(symbol, path)                                                                             \
    __asm__(".section .rodata\n"                                                                             \
            ".global " #symbol "_begin\n"                                                                    \
            ".global " #symbol "_end\n" #symbol "_begin:\n"                                                  \
            ".incbin \"" path "\"\n" #symbol "_end:\n"                                                       \
            ".previous\n");                                                                                  \
    extern const char symbol##_begin[] __attribute__((visibility("hidden")));                                \
    extern const char symbol##_end[] __attribute__((visibility("hidden")))

FILE_BYTES(spec_print, "schema/specs/print.json");
FILE_BYTES(spec_cage, "schema/specs/cage.json");
FILE_BYTES(spec_archive, "schema/specs/archive.json");
FILE_BYTES(spec_cast, "schema/specs/cast.json");

static const struct {
    const char *name, *begin, *end;
} files[] = {
    {"print", spec_print_begin, spec_print_end},
    {"cage", spec_cage_begin, spec_cage_end},
    {"archive", spec_archive_begin, spec_archive_end},
    {"cast", spec_cast_begin, spec_cast_end},
};
enum { FILE_COUNT = sizeof files / sizeof files[0] };

size_t spec_builtin_count(void)
{
    return FILE_COUNT;
}

struct spec_builtin spec_builtin_at(size_t i)
{
    return (struct spec_builtin){files[i].name, files[i].begin,
                                 (uintptr_t)files[i].end - (uintptr_t)files[i].begin};
}

bool spec_builtin_find(const char *name, struct spec_builtin *found)
{
    for (size_t i = 0; i < FILE_COUNT; i++)
        if (strcmp(files[i].name, name) == 0) {
            *found = spec_builtin_at(i);
            return true;
        }
    return false;
}
