/* reading.h - what the tests of this room share: a mesh from bytes in memory.
 *
 * Bytes are copied into a heap block of exactly their length, so that the sanitizer sees one byte too many.
 */
#ifndef TESTS_IO_READING_H
#define TESTS_IO_READING_H

#include "io/mesh_file.h"

struct reading {
    bool ok;
    struct mesh mesh;
    struct mesh_file file;
    struct error err;
    char refusal[400]; /* "reject-syntax: OBJ: line 3: ...", "" when ok */
    struct arena keep, scratch;
};

/* keep_bytes and scratch_bytes are the sizes of the arenas. End with reading_close. */
struct reading *reading_open(const void *bytes, size_t count, const char *name, size_t keep_bytes,
                             size_t scratch_bytes);
struct reading *reading_open_threaded(const void *bytes, size_t count, const char *name, size_t keep_bytes,
                                      size_t scratch_bytes, size_t threads);
void reading_close(struct reading *reading);

/* A terminated text with ample arenas; fails the test when the text is refused. */
struct reading *reading_of(const char *text, const char *name);
/* Checks that the text is refused with exactly this word, format and place; the rest of the sentence is free.
 */
void reading_expect_refusal(const char *text, const char *name, const char *prefix);

/* The count of a warning, 0 when it was not given. */
size_t reading_warnings(const struct reading *reading, const char *code);

/* A whole file; NULL when it cannot be read. Freed by the caller. */
char *reading_load(const char *path, size_t *bytes);

#endif
