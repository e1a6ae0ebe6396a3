/* reading.c - see reading.h. */
#include "reading.h"

#include "io/mesh_bytes.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct reading *reading_open(const void *bytes, size_t count, const char *name, size_t keep_bytes,
                             size_t scratch_bytes)
{
    return reading_open_threaded(bytes, count, name, keep_bytes, scratch_bytes, 1);
}

struct reading *reading_open_threaded(const void *bytes, size_t count, const char *name, size_t keep_bytes,
                                      size_t scratch_bytes, size_t threads)
{
    struct reading *reading = calloc(1, sizeof *reading);
    char *copy = malloc(count ? count : 1);
    struct error err;

    cr_assert(reading && copy);
    if (count)
        memcpy(copy, bytes, count);
    cr_assert(arena_open(&reading->keep, keep_bytes, &err));
    cr_assert(arena_open(&reading->scratch, scratch_bytes, &err));
    reading->ok = mesh_bytes_read(copy, count, name, threads, NULL, &reading->mesh, &reading->file,
                                  &reading->keep, reading->scratch, &reading->err);
    if (!reading->ok) {
        char described[360];
        error_describe(&reading->err, described, sizeof described);
        snprintf(reading->refusal, sizeof reading->refusal, "%s: %s", error_word(reading->err.code),
                 described);
    }
    free(copy);
    return reading;
}

void reading_close(struct reading *reading)
{
    arena_close(&reading->keep);
    arena_close(&reading->scratch);
    free(reading);
}

struct reading *reading_of(const char *text, const char *name)
{
    struct reading *reading = reading_open(text, strlen(text), name, 4 << 20, 4 << 20);
    cr_assert(reading->ok, "%s was refused: %s", name, reading->refusal);
    return reading;
}

void reading_expect_refusal(const char *text, const char *name, const char *prefix)
{
    struct reading *reading = reading_open(text, strlen(text), name, 4 << 20, 4 << 20);
    cr_expect(!reading->ok, "%s was read, not refused as %s", name, prefix);
    cr_expect(strncmp(reading->refusal, prefix, strlen(prefix)) == 0, "%s: got '%s', expected '%s...'", name,
              reading->refusal, prefix);
    reading_close(reading);
}

size_t reading_warnings(const struct reading *reading, const char *code)
{
    const struct warning_list *list = &reading->file.warnings;
    for (size_t i = 0; i < list->count; i++)
        if (strcmp(list->entries[i].code, code) == 0)
            return list->entries[i].count;
    return 0;
}

char *reading_load(const char *path, size_t *bytes)
{
    FILE *file = fopen(path, "rb");
    char *content = NULL;
    long size = -1;

    if (file && fseek(file, 0, SEEK_END) == 0 && (size = ftell(file)) >= 0 && fseek(file, 0, SEEK_SET) == 0)
        content = malloc((size_t)size + 1);
    if (content && fread(content, 1, (size_t)size, file) != (size_t)size) {
        free(content);
        content = NULL;
    }
    if (file)
        fclose(file);
    if (content)
        content[size] = '\0';
    *bytes = content ? (size_t)size : 0;
    return content;
}
