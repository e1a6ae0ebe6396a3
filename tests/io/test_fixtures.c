/* test_fixtures.c
 *   valid_*     fixtures/valid/<format>/<name>: format and counts in <name>.facts, written by hand (a cube
 * has 8 vertices, 6 squares or 12 triangles; a pentagonal prism 10 vertices and 7 faces) invalid_*
 * fixtures/invalid/<format>/<name>: the whole refusal in <name>.error, as the command line says it small_*
 * every valid one again with ever less memory: read, or a clean refusal mutated_*   fixtures changed at
 * random, under the sanitizers: no crash, and only meshes that are valid
 */
#include "reading.h"

#include "support/fixture_shapes.h"

#include <criterion/criterion.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FIXTURES_MAX = 200 };

struct fixture {
    char path[300], name[256];
    char *bytes;
    size_t count;
    char expected[400]; /* of the file beside it, without its line end */
};

static int by_path(const void *a, const void *b)
{
    return strcmp(((const struct fixture *)a)->path, ((const struct fixture *)b)->path);
}

/* The text beside a fixture: its name up to the first dot, and suffix. */
static void load_expected(struct fixture *fixture, const char *folder, const char *suffix)
{
    char path[600];
    size_t count;
    snprintf(path, sizeof path, "%s/%.*s%s", folder, (int)strcspn(fixture->name, "."), fixture->name, suffix);
    char *text = reading_load(path, &count);
    cr_assert_not_null(text, "%s has no %s beside it", fixture->path, suffix);
    snprintf(fixture->expected, sizeof fixture->expected, "%.*s", (int)strcspn(text, "\n"), text);
    free(text);
}

/* All files of fixtures/<kind>/<format>/ but those that end in suffix, sorted. */
static size_t load_fixtures(const char *kind, const char *suffix, struct fixture *fixtures)
{
    static const char *const folders[] = {"obj", "stl", "ply", "off", "packed", "type"};
    size_t count = 0;

    for (size_t i = 0; i < sizeof folders / sizeof folders[0]; i++) {
        char folder[100];
        snprintf(folder, sizeof folder, "fixtures/%s/%s", kind, folders[i]);
        DIR *dir = opendir(folder);
        for (struct dirent *entry; dir && (entry = readdir(dir));) {
            size_t length = strlen(entry->d_name);
            if (entry->d_name[0] == '.' || strcmp(entry->d_name + length - strlen(suffix), suffix) == 0)
                continue;
            struct fixture *fixture = &fixtures[count++];
            cr_assert_lt(count, FIXTURES_MAX);
            snprintf(fixture->name, sizeof fixture->name, "%s", entry->d_name);
            snprintf(fixture->path, sizeof fixture->path, "%.40s/%.250s", folder, entry->d_name);
            fixture->bytes = reading_load(fixture->path, &fixture->count);
            cr_assert_not_null(fixture->bytes);
            load_expected(fixture, folder, suffix);
        }
        if (dir)
            closedir(dir);
    }
    qsort(fixtures, count, sizeof *fixtures, by_path);
    return count;
}

static void free_fixtures(struct fixture *fixtures, size_t count)
{
    for (size_t i = 0; i < count; i++)
        free(fixtures[i].bytes);
}

Test(io_fixtures, valid_files_have_their_written_facts)
{
    static struct fixture fixtures[FIXTURES_MAX];
    size_t count = load_fixtures("valid", ".facts", fixtures);

    cr_expect_geq(count, 20);
    for (size_t i = 0; i < count; i++) {
        struct reading *r =
            reading_open(fixtures[i].bytes, fixtures[i].count, fixtures[i].name, 8 << 20, 8 << 20);
        char facts[400];
        cr_assert(r->ok, "%s: %s", fixtures[i].path, r->refusal);
        snprintf(facts, sizeof facts, "%s: %zu vertices, %zu faces, %zu corners%s%s", r->file.format,
                 r->mesh.vertex_count, r->mesh.face_count, mesh_corner_count(&r->mesh),
                 r->file.warnings.count ? ", " : "",
                 r->file.warnings.count ? r->file.warnings.entries[0].code : "");
        cr_expect_str_eq(facts, fixtures[i].expected, "%s: %s", fixtures[i].path, facts);
        cr_expect(mesh_is_valid(&r->mesh));
        reading_close(r);
    }
    free_fixtures(fixtures, count);
}

Test(io_fixtures, invalid_files_are_refused_in_the_written_words)
{
    static struct fixture fixtures[FIXTURES_MAX];
    size_t count = load_fixtures("invalid", ".error", fixtures);

    cr_expect_geq(count, 50);
    for (size_t i = 0; i < count; i++) {
        struct reading *r =
            reading_open(fixtures[i].bytes, fixtures[i].count, fixtures[i].name, 8 << 20, 8 << 20);
        cr_expect(!r->ok, "%s was read", fixtures[i].path);
        cr_expect_str_eq(r->refusal, fixtures[i].expected, "%s: got '%s', expected '%s'", fixtures[i].path,
                         r->refusal, fixtures[i].expected);
        reading_close(r);
    }
    free_fixtures(fixtures, count);
}

Test(io_fixtures, small_arenas_give_the_same_mesh_or_a_clean_limit)
{
    static struct fixture fixtures[FIXTURES_MAX];
    size_t count = load_fixtures("valid", ".facts", fixtures), refused = 0, read = 0;

    for (size_t i = 0; i < count; i++)
        for (int which = 0; which < 2; which++)
            for (size_t bytes = 2 << 20; bytes >= 4096; bytes = bytes * 7 / 8) {
                struct reading *r = reading_open(fixtures[i].bytes, fixtures[i].count, fixtures[i].name,
                                                 which ? 2 << 20 : bytes, which ? bytes : 2 << 20);
                if (r->ok) {
                    cr_expect(mesh_is_valid(&r->mesh));
                    read++;
                } else {
                    cr_expect_eq(r->err.code, ERROR_LIMIT, "%s: %s", fixtures[i].path, r->refusal);
                    refused++;
                }
                reading_close(r);
            }
    cr_expect_gt(read, count);
    cr_expect_gt(refused, count / 2);
    free_fixtures(fixtures, count);
}

/* A mesh whose arrays fill a page or more: here each of them meets its end in turn. */
Test(io_fixtures, small_arenas_never_crash_a_larger_mesh)
{
    enum { SIDE = 60 };
    char *text = malloc(64 * SIDE * SIDE);
    size_t bytes = 0, refused = 0, read = 0;
    for (int i = 0; i < SIDE * SIDE; i++)
        bytes += (size_t)sprintf(text + bytes, "v %d %d 0\n", i % SIDE, i / SIDE);
    for (int i = 0; i < SIDE * (SIDE - 1) - 1; i++)
        bytes += (size_t)sprintf(text + bytes, "f %d %d %d\n", i + 1, i + 2, i + SIDE + 1);

    for (size_t room = 4096; room < 1 << 20; room += 4096) {
        struct reading *r = reading_open(text, bytes, "a.obj", room, room);
        cr_expect(r->ok || r->err.code == ERROR_LIMIT, "%s", r->refusal);
        refused += !r->ok;
        read += r->ok;
        reading_close(r);
    }
    cr_expect_gt(refused, 20);
    cr_expect_gt(read, 20);
    free(text);
}

/* Puts one change into bytes; returns the new count, at most room. */
static size_t mutate(char *bytes, size_t count, size_t room, uint64_t *state)
{
    static const char *const words[] = {"-1",
                                        "4294967296",
                                        "1e400",
                                        "nan",
                                        "0x1",
                                        "\\\n",
                                        "\r",
                                        "\n",
                                        " ",
                                        "#",
                                        "//",
                                        "f ",
                                        "v ",
                                        "facet ",
                                        "solid ",
                                        "endsolid\n",
                                        "element ",
                                        "property list ",
                                        "end_header\n",
                                        "\0\0\0\0",
                                        "\xff\xff\xff\xff",
                                        "OFF",
                                        "9999999999999999999"};
    size_t at = count ? fixture_random_below(state, count) : 0;
    size_t length = fixture_random_below(state, 16) + 1;

    switch (fixture_random_below(state, 6)) {
    case 0: /* a bit */
        if (count)
            bytes[at] = (char)(bytes[at] ^ 1 << fixture_random_below(state, 8));
        return count;
    case 1: /* a byte */
        if (count)
            bytes[at] = (char)fixture_random_below(state, 256);
        return count;
    case 2: /* cut off */
        return at;
    case 3: /* left out */
        if (length > count - at)
            length = count - at;
        memmove(bytes + at, bytes + at + length, count - at - length);
        return count - length;
    case 4: /* repeated */
        if (length > count - at)
            length = count - at;
        if (count + length > room)
            return count;
        memmove(bytes + at + length, bytes + at, count - at);
        return count + length;
    default: { /* a word over it or between it */
        const char *word = words[fixture_random_below(state, sizeof words / sizeof words[0])];
        length = word[0] ? strlen(word) : 4;
        if (count + length > room)
            return count;
        if (fixture_random_below(state, 2)) {
            memmove(bytes + at + length, bytes + at, count - at);
            count += length;
        }
        if (length > count - at)
            length = count - at;
        memcpy(bytes + at, word, length);
        return count;
    }
    }
}

Test(io_fixtures, mutated_files_never_crash, .timeout = 300)
{
    enum { INPUTS = 30000, ROOM = 1 << 16 };
    static struct fixture fixtures[2 * FIXTURES_MAX];
    size_t valid_count = load_fixtures("valid", ".facts", fixtures), read = 0, refused = 0;
    size_t count = valid_count + load_fixtures("invalid", ".error", fixtures + valid_count);
    char *bytes = malloc(ROOM);
    uint64_t state = 20261125;

    for (int i = 0; i < INPUTS; i++) {
        const struct fixture *fixture = &fixtures[fixture_random_below(&state, i % 4 ? valid_count : count)];
        const struct fixture *named = fixture_random_below(&state, 8) ? fixture : &fixtures[i % count];
        size_t length = fixture->count < ROOM ? fixture->count : ROOM;
        memcpy(bytes, fixture->bytes, length);
        for (size_t n = fixture_random_below(&state, 4) + 1; n > 0; n--)
            length = mutate(bytes, length, ROOM, &state);
        struct reading *r = reading_open(bytes, length, named->name, 1 << 20, 1 << 20);
        if (r->ok)
            cr_assert(mesh_is_valid(&r->mesh), "input %d of %s", i, fixture->path);
        else
            cr_assert(error_is_reject(r->err.code), "input %d of %s: %s", i, fixture->path, r->refusal);
        read += r->ok;
        refused += !r->ok;
        reading_close(r);
    }
    cr_expect_gt(read, INPUTS / 20, "%zu read", read);
    cr_expect_gt(refused, INPUTS / 10);
    free(bytes);
    free_fixtures(fixtures, count);
}
