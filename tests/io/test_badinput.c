/* test_badinput.c
 *   corpus_*   every row of shared/badinput/MANIFEST.tsv (skipped without the shared folder): what the reader
 * alone can tell. Rows that measures reveal are only required to be read; the command line's test judges all
 * of them.
 */
#include "reading.h"
#include "support/fixture_sample.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The class that a reader which does not know glTF, GLB or 3MF must give. */
static const char *expected_class(const char *format, const char *expected)
{
    bool unread = strcmp(format, "gltf") == 0 || strcmp(format, "glb") == 0 || strcmp(format, "3mf") == 0;
    return unread ? "reject-type" : expected;
}

static bool fits(const char *expected, const char *trait, const struct reading *r)
{
    bool warned = r->ok && r->file.warnings.count;
    if (strcmp(expected, "either") == 0)
        return r->ok || error_is_reject(r->err.code);
    if (strcmp(expected, "accept") == 0)
        return r->ok && !warned;
    if (strcmp(expected, "accept-warn") == 0) /* shapes, and corners that do not meet, are for the measures */
        return r->ok
               && (warned || strncmp(trait, "geo-", 4) == 0 || strcmp(trait, "stlb-unwelded-noise") == 0);
    if (strcmp(expected, "warn-or-reject") == 0)
        return warned || (!r->ok && error_is_reject(r->err.code));
    return !r->ok && strcmp(error_word(r->err.code), expected) == 0;
}

Test(io_badinput, corpus_files_get_their_class, .timeout = 3000)
{
    char path[1000], manifest[1000];
    size_t count, rows = 0;
    snprintf(manifest, sizeof manifest, "%s/badinput/MANIFEST.tsv", fixture_shared_folder());
    char *table = reading_load(manifest, &count);
    if (!table)
        cr_skip_test("no shared test data");

    char *next_line = NULL;
    strtok_r(table, "\n", &next_line); /* the heading */
    for (char *line; (line = strtok_r(NULL, "\n", &next_line)); rows++) {
        char *next = NULL;
        const char *file = strtok_r(line, "\t", &next), *format = strtok_r(NULL, "\t", &next);
        const char *trait = strtok_r(NULL, "\t", &next), *expected = strtok_r(NULL, "\t", &next);
        size_t bytes;
        cr_assert(file && format && trait && expected);
        snprintf(path, sizeof path, "%s/badinput/%s", fixture_shared_folder(), file);
        char *content = reading_load(path, &bytes);
        cr_assert_not_null(content, "%s", file);
        struct reading *r = reading_open(content, bytes, strrchr(file, '/') + 1, 64 << 20, 64 << 20);
        cr_expect(fits(expected_class(format, expected), trait, r), "%s: expected %s, got %s", file, expected,
                  r->ok ? "a mesh" : r->refusal);
        if (!r->ok)
            cr_expect(r->err.format[0] && (r->err.line || r->err.has_byte), "%s names no place: %s", file,
                      r->refusal);
        reading_close(r);
        free(content);
    }
    cr_expect_eq(rows, 276);
    free(table);
}
