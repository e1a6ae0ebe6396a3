/* test_threads.c - files of some MiB read by one thread and by several: the same mesh, warnings and error.
 *   obj_*   parts of one OBJ text, whose indices, warnings and errors reach across the cuts
 *   ply_*   rows of fixed size
 *   stl_*   facets whose corners meet across the cuts
 * And one text whose lines one thread reads in two ways:
 *   plain_* blanks as they are mostly written, and tabs in their places
 */
#include "reading.h"

#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TEXT_ROOM = 6 << 20, ARENA_BYTES = 96 << 20 };

/* A linear congruential generator: D. E. Knuth, The Art of Computer Programming 2, section 3.3.4, table 1. */
static unsigned draw(uint64_t *state, unsigned below)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (unsigned)(*state >> 33) % below;
}

struct text {
    char *begin;
    size_t used;
};

static void put(struct text *text, const char *words)
{
    size_t length = strlen(words);
    cr_assert_lt(text->used + length, (size_t)TEXT_ROOM);
    memcpy(text->begin + text->used, words, length);
    text->used += length;
}

/* The same mesh, counts and warnings, or the same refusal. Closes both. */
static void expect_same_reading(const char *name, struct reading *one, struct reading *many)
{
    cr_assert_eq(one->ok, many->ok, "%s: '%s' and '%s'", name, one->refusal, many->refusal);
    cr_expect_str_eq(one->refusal, many->refusal, "%s", name);
    if (one->ok) {
        const struct mesh *a = &one->mesh, *b = &many->mesh;
        cr_assert_eq(a->vertex_count, b->vertex_count, "%s", name);
        cr_assert_eq(a->face_count, b->face_count, "%s", name);
        cr_expect_arr_eq(a->positions, b->positions, a->vertex_count * sizeof *a->positions, "%s", name);
        cr_expect_arr_eq(a->face_offsets, b->face_offsets, (a->face_count + 1) * sizeof(uint32_t), "%s",
                         name);
        cr_expect_arr_eq(a->face_vertices, b->face_vertices, mesh_corner_count(a) * sizeof(uint32_t), "%s",
                         name);
        cr_expect_eq(one->file.dropped_faces, many->file.dropped_faces);
        cr_expect_eq(one->file.merged_vertices, many->file.merged_vertices);
        cr_expect_eq(one->file.warnings.count, many->file.warnings.count, "%s", name);
        for (size_t i = 0; i < one->file.warnings.count; i++) {
            const struct warning *p = &one->file.warnings.entries[i], *q = &many->file.warnings.entries[i];
            cr_expect_str_eq(p->code, q->code, "%s", name);
            cr_expect_str_eq(p->text, q->text, "%s", name);
            cr_expect_eq(p->count, q->count, "%s: %s", name, p->code);
        }
    }
    reading_close(one);
    reading_close(many);
}

static void expect_same(const char *name, const void *bytes, size_t count)
{
    expect_same_reading(name, reading_open_threaded(bytes, count, name, ARENA_BYTES, ARENA_BYTES, 1),
                        reading_open_threaded(bytes, count, name, ARENA_BYTES, ARENA_BYTES, 4));
}

/* Vertices and faces by turns, of every form; `odd` makes statements that are only noted as well. */
static struct text draw_obj(uint64_t seed, size_t bytes, const char *eol, bool odd)
{
    struct text text = {malloc(TEXT_ROOM), 0};
    unsigned vertices = 3, textures = 1;
    char line[200];
    cr_assert_not_null(text.begin);
    snprintf(line, sizeof line, "v 0 0 0%sv 1 0 0%sv 0 1 0%svt 0 0%s", eol, eol, eol, eol);
    put(&text, line);
    while (text.used < bytes) {
        unsigned kind = draw(&seed, odd ? 16 : 10), a = draw(&seed, vertices) + 1,
                 b = draw(&seed, vertices) + 1;
        if (kind < 4) {
            snprintf(line, sizeof line, "v %.*f -%u.%u %de-%u%s", (int)draw(&seed, 18),
                     draw(&seed, 1000) / 7.0, draw(&seed, 100), draw(&seed, 100000000),
                     (int)draw(&seed, 2000) - 1000, draw(&seed, 6), eol);
            vertices++;
        } else if (kind < 6) {
            snprintf(line, sizeof line, "f %u %u -%u%s", a, b, draw(&seed, vertices) + 1, eol);
        } else if (kind < 8) {
            snprintf(line, sizeof line, "f %u/%u %u/-1 %u/1 -1/1%s", a, draw(&seed, textures) + 1, b, b, eol);
        } else if (kind == 8) {
            snprintf(line, sizeof line, "vt 0.5 0.25%s", eol);
            textures++;
        } else if (kind == 9) {
            snprintf(line, sizeof line, "# v 1 2 3 %u\\%s", a, eol);
        } else {
            static const char *const lines[] = {"f 1 2",     "  v 1 2\t3 ", "l 1 2",
                                                "f 1 2/1 3", "f 1 2 \\",    "vn 0 0 1"};
            snprintf(line, sizeof line, kind == 14 ? "%s%s 3%s" : "%s%s", lines[kind - 10], eol, eol);
            vertices += kind == 11;
        }
        put(&text, line);
    }
    return text;
}

Test(io_threads, obj_of_any_statements)
{
    static const char *const line_ends[] = {"\n", "\r\n", "\r"};
    for (uint64_t seed = 0; seed < 6; seed++) {
        struct text text = draw_obj(seed, 3 << 20, line_ends[seed % 3], seed >= 3);
        char name[32];
        snprintf(name, sizeof name, "seed%u.obj", (unsigned)seed);
        expect_same(name, text.begin, text.used);
        free(text.begin);
    }
}

Test(io_threads, obj_refused_at_the_first_fault)
{
    static const char *const faults[] = {
        "v 1 2\n",          "v 1 2 x\n",   "f 1 2 0\n",
        "f 1 2 -9999999\n", "f 1 x 2\n",   "f 1 2 99999999\n",
        "\x01 2\n",         "v 1 2 3 0\n", "f 1/9 2/9 3/-9999999 3//9999999\n"};
    for (size_t i = 0; i < sizeof faults / sizeof faults[0]; i++) {
        struct text text = draw_obj(i, 1200000 + i * 150000, "\n", true);
        struct text rest = draw_obj(i + 99, 1500000, "\n", true);
        put(&text, faults[i]);
        put(&text, "v 0 0 0\nf 1 2 3\n");
        rest.begin[rest.used] = '\0';
        put(&text, rest.begin);
        put(&text, faults[(i + 1) % 9]);
        expect_same("fault.obj", text.begin, text.used);
        free(text.begin);
        free(rest.begin);
    }
}

/* A binary PLY of many triangles over few vertices; byte `change` of the body becomes `to`. */
static void expect_same_ply(const char *form, const char *real, size_t change, char to)
{
    size_t vertices = 40000, faces = 70000, real_bytes = strcmp(real, "float") == 0 ? 4 : 8;
    struct text text = {calloc(1, TEXT_ROOM), 0};
    char header[300];
    uint64_t seed = change;
    bool big = strstr(form, "big") != NULL;
    snprintf(
        header, sizeof header,
        "ply\nformat %s 1.0\nelement vertex %zu\nproperty uchar tag\nproperty %s x\nproperty %s y\nproperty "
        "%s z\nelement face %zu\nproperty list uchar int vertex_indices\nend_header\n",
        form, vertices, real, real, real, faces);
    put(&text, header);
    char *body = text.begin + text.used, *at = body;
    for (size_t v = 0; v < vertices; v++, at += 1 + 3 * real_bytes)
        for (size_t i = 0; i < 3 * real_bytes; i++)
            at[1 + i] = (char)(i % real_bytes == (big ? 0 : real_bytes - 1) ? 0x3f : draw(&seed, 256));
    for (size_t f = 0; f < faces; f++, at += 13) {
        *at = 3;
        for (size_t c = 0; c < 3; c++) {
            unsigned index = draw(&seed, (unsigned)vertices);
            for (size_t i = 0; i < 4; i++)
                at[1 + 4 * c + i] = (char)(index >> 8 * (big ? 3 - i : i));
        }
    }
    if (change)
        body[change] = to;
    expect_same("rows.ply", text.begin, (size_t)(at - text.begin));
    free(text.begin);
}

Test(io_threads, ply_rows_of_one_size_and_those_that_differ)
{
    static const char *const forms[] = {"binary_little_endian", "binary_big_endian"};
    size_t vertex_end = 40000 * 13;
    for (size_t i = 0; i < 2; i++) {
        expect_same_ply(forms[i], "float", 0, 0);
        expect_same_ply(forms[i], "double", 0, 0);
        expect_same_ply(forms[i], "float", vertex_end + 13 * 50001, 4); /* a quad: the rest is misread */
        expect_same_ply(forms[i], "float", vertex_end + 13 * 60000 + (i ? 1 : 4), 1);  /* an index too high */
        expect_same_ply(forms[i], "float", vertex_end + 13 * 60000 + (i ? 1 : 4), -1); /* a negative index */
        expect_same_ply(forms[i], "float", 13 * 39000 + (i ? 1 : 4), 0x7f);
    }
}

/* Facets between points of a small grid, so that most corners meet others in all parts of the file. The
 * number `change` of the facets (12 each) becomes `to`. */
static struct text draw_stl(uint32_t facets, unsigned grid, size_t change, float to)
{
    struct text text = {calloc(1, TEXT_ROOM), 84 + (size_t)facets * 50};
    uint64_t seed = grid;
    cr_assert(text.begin && text.used <= TEXT_ROOM);
    memcpy(text.begin + 80, &facets, sizeof facets);
    for (size_t f = 0; f < facets; f++)
        for (size_t i = 0; i < 12; i++) {
            float value = (float)draw(&seed, grid) * (draw(&seed, 2) ? 0.5f : -0.5f); /* also -0 */
            value = 12 * f + i == change ? to : value;
            memcpy(text.begin + 84 + 50 * f + 4 * i, &value, sizeof value);
        }
    return text;
}

Test(io_threads, stl_corners_that_meet_across_the_parts)
{
    static const struct {
        const char *name;
        unsigned grid;
        size_t change;
        float to;
    } cases[] = {
        {"few points", 9, SIZE_MAX, 0},
        {"many points", 60, SIZE_MAX, 0},
        {"all apart", 1000000, SIZE_MAX, 0},
        {"infinite in the first part", 40, 12 * 70 + 5, HUGE_VALF},
        {"infinite in the last part", 40, 12 * 99990 + 11, -HUGE_VALF},
        {"a normal that is not finite", 40, 12 * 99990 + 2, HUGE_VALF},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct text text = draw_stl(100000, cases[i].grid, cases[i].change, cases[i].to);
        expect_same(cases[i].name, text.begin, text.used);
        free(text.begin);
    }
}

/* Coordinates are looked at in shares, one for each thread. */
Test(io_threads, stl_coordinate_that_is_subnormal_wherever_it_stands)
{
    const size_t facets[] = {0, 6249, 50000, 93751, 99999};
    for (size_t i = 0; i < sizeof facets / sizeof facets[0]; i++) {
        struct text text = draw_stl(100000, 1000000, 12 * facets[i] + 11, FLT_MIN / 4);
        struct reading *r =
            reading_open_threaded(text.begin, text.used, "a.stl", ARENA_BYTES, ARENA_BYTES, 4);
        cr_assert(r->ok, "%s", r->refusal);
        cr_expect_eq(reading_warnings(r, "subnormal_coordinates"), 1, "facet %zu", facets[i]);
        reading_close(r);
        free(text.begin);
    }
}

Test(io_threads, stl_in_one_part_where_memory_is_short)
{
    struct text text = draw_stl(100000, 10, SIZE_MAX, 0);
    struct reading *many = reading_open_threaded(text.begin, text.used, "a.stl", 5 << 20, 5 << 20, 4);
    cr_expect(many->ok, "%s", many->refusal);
    expect_same_reading(
        "a.stl", reading_open_threaded(text.begin, text.used, "a.stl", ARENA_BYTES, ARENA_BYTES, 1), many);
    free(text.begin);
}

/* Lines that are plain, and lines that differ from those in one thing. */
static struct text draw_lines(uint64_t seed, size_t count)
{
    static const char *const numbers[] = {"1.5",
                                          "-0.25",
                                          "12345678.5",
                                          ".5",
                                          "5.",
                                          "1e3",
                                          "+2.0",
                                          "1.12345678",
                                          "0",
                                          "-0.0",
                                          "7654321",
                                          "123456789012"
                                          ".1234567"};
    static const char *const odd[] = {"v 1 2\\\n3",
                                      "vn 0 0 1\\\n 2",
                                      "vt 0 1 # c",
                                      "v 1 2 3#c",
                                      "v  1 2  3",
                                      "f 1  2 3",
                                      "vn\t0 0 1",
                                      "v 1 2 3 0.5",
                                      "v 1 2 3 4 5 6 7",
                                      "f 1 2 3 # c",
                                      "f 1 2 3 1 2 3 1 2 3 1",
                                      "f +1 2 3",
                                      "f 00000001 2 3",
                                      "f 1/1/1 2/1/1 3//1",
                                      "f 1// 2// 3//",
                                      "f 1/9 2/1 3/1",
                                      "f 1//7 2//1 3//1",
                                      "f 1 2",
                                      "f",
                                      "v",
                                      "f 1 99 2",
                                      "f 1/1 2/0 3/1",
                                      "v 1 2 3 1 0 1",
                                      "g a\\",
                                      "\r"};
    struct text text = {malloc(TEXT_ROOM), 0};
    char line[200];
    cr_assert_not_null(text.begin);
    put(&text, "v 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nvn 0 0 1\n");
    for (size_t i = 0; i < count; i++) {
        unsigned kind = draw(&seed, 10);
        const char *forms[] = {"f 1 2 3", "f 1/1 2/1 3/1 2/1", "f 1//1 2//1 3//1",
                               "f 1/1/1 2/1/1 3/1/1 1/1/1"};
        if (kind < 5)
            snprintf(line, sizeof line, "v %s %s %s", numbers[draw(&seed, 12)], numbers[draw(&seed, 12)],
                     numbers[draw(&seed, 12)]);
        else
            snprintf(line, sizeof line, "%s", kind < 9 ? forms[draw(&seed, 4)] : odd[draw(&seed, 25)]);
        put(&text, line);
        put(&text, draw(&seed, 8) ? "\n" : draw(&seed, 2) ? " \n" : "\r\n");
    }
    for (size_t i = 0; i < 99; i++) /* 99 vertices at least, and bytes behind the last that counts */
        put(&text, "v 1 2 3\n");
    return text;
}

Test(io_threads, plain_lines_as_with_tabs)
{
    for (uint64_t seed = 0; seed < 300; seed++) {
        struct text text = draw_lines(seed, 1 + (size_t)seed * 3);
        static const char *const faults[] = {"",
                                             "f 1 2 0\n",
                                             "f 1 2 9999999\n",
                                             "v 1 2 3.x\n",
                                             "f 1 2 3x\n",
                                             "v 1 2 3 4 5\n",
                                             "f 1 2 12345678901234567890\n"};
        char *tabs = malloc(TEXT_ROOM), name[32];
        put(&text, faults[seed % 7]);
        for (size_t i = 0; i < 60; i++)
            put(&text, "# behind\n");
        cr_assert_not_null(tabs);
        for (size_t i = 0; i < text.used; i++)
            tabs[i] = text.begin[i] == ' ' ? '\t' : text.begin[i];
        snprintf(name, sizeof name, "seed%u.obj", (unsigned)seed);
        expect_same_reading(name, reading_open(text.begin, text.used, name, 4 << 20, 4 << 20),
                            reading_open(tabs, text.used, name, 4 << 20, 4 << 20));
        free(text.begin);
        free(tabs);
    }
}
