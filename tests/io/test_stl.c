/* test_stl.c
 *   ascii_*, binary_*   what is in the mesh
 *   merged_*            corners with equal bits become one vertex
 *   noted_*, refused_*  warnings with counts; errors with class and place
 */
#include "reading.h"

#include "io/weld.h"
#include "support/fixture_shapes.h"

#include <criterion/criterion.h>
#include <float.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FACET(n, a, b, c)                                                                                    \
    "facet normal " n " outer loop vertex " a " vertex " b " vertex " c " endloop endfacet\n"
#define FLAT FACET("0 0 1", "0 0 0", "1 0 0", "0 1 0")

/* Appends a facet to a binary STL. */
static void put_facet(char *file, size_t *bytes, const float values[12])
{
    memcpy(file + *bytes, values, 48); /* tests run on little-endian machines */
    memset(file + *bytes + 48, 0xff, 2);
    *bytes += 50;
}

static size_t begin_binary(char *file, const char *header, uint32_t count)
{
    memset(file, 0, 84);
    memcpy(file, header, strlen(header));
    memcpy(file + 80, &count, 4);
    return 84;
}

static const float flat[12] = {0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0};
static const float beside[12] = {0, 0, 1, 1, 0, 0, 1, 1, 0, 0, 1, -0.0f};

Test(io_stl, ascii_solids_names_case_and_lines)
{
    static const struct {
        const char *text;
        size_t faces;
    } cases[] = {
        {"solid\n" FLAT "endsolid\n", 1},
        {"solid facet normal endsolid\n" FLAT "endsolid facet normal endsolid\n", 1},
        {"solid a\n" FLAT "endsolid a\nsolid b\n" FLAT FLAT "endsolid b\n", 3},
        {"SOLID A\rFACET\tNORMAL 0 0 1\rOuter Loop\rVERTEX 0 0 0\rvertex 1 0 0\rvertex 0 1 "
         "0\rEndLoop\rENDFACET\rEndSolid",
         1},
        {"\xef\xbb\xbfsolid x\r\n\r\n" FLAT "endsolid", 1},
        {"solid one line " FACET("0 0 1", "0 0 0", "1 0 0", "0 1 0") "endsolid one", 1},
        {"solid a facet normal 0 0 1 outer loop vertex 0 0 0 vertex 1 0 0 vertex 0 1 0 endloop endfacet "
         "endsolid a "
         "solid b facet normal 0 0 1 outer loop vertex 0 0 0 vertex 1 0 0 vertex 0 1 0 endloop endfacet "
         "endsolid b",
         2},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reading *r = reading_of(cases[i].text, "a.stl");
        cr_expect_eq(r->mesh.face_count, cases[i].faces, "case %zu: %zu faces", i, r->mesh.face_count);
        cr_expect_eq(r->mesh.vertex_count, 3);
        cr_expect_eq(r->file.warnings.count, 0, "case %zu", i);
        cr_expect_str_eq(r->file.format, "stl-ascii");
        reading_close(r);
    }
}

Test(io_stl, ascii_text_is_read_as_double)
{
    struct reading *r =
        reading_of("solid\n" FACET("0 0 1", "0.1 0 0", "1 0 0", "0 1 0") "endsolid\n", "a.stl");
    cr_expect_eq(r->mesh.positions[0].x, 0.1);
    reading_close(r);
}

Test(io_stl, binary_floats_are_widened_and_attributes_not_read)
{
    char file[300];
    size_t bytes = begin_binary(file, "solid imitates the other form\nfacet normal", 2);
    put_facet(file, &bytes, flat);
    put_facet(file, &bytes, (float[]){0, 0, 1, 0.1f, 0, 0, 1, 0, 0, 0, 1, 0});
    struct reading *r = reading_open(file, bytes, "a.stl", 1 << 20, 1 << 20);
    cr_assert(r->ok, "%s", r->refusal);
    cr_expect_str_eq(r->file.format, "stl-binary");
    cr_expect_eq(r->mesh.face_count, 2);
    cr_expect_eq(r->mesh.positions[3].x, (double)0.1f);
    cr_expect_eq(r->file.warnings.count, 0);
    reading_close(r);
}

Test(io_stl, merged_corners_are_numbered_in_the_order_first_met)
{
    char file[300];
    size_t bytes = begin_binary(file, "binary", 2);
    put_facet(file, &bytes, flat);
    put_facet(file, &bytes, beside); /* its -0 is the +0 of the first */
    struct reading *r = reading_open(file, bytes, "a.stl", 1 << 20, 1 << 20);
    cr_assert(r->ok, "%s", r->refusal);
    cr_expect_eq(r->mesh.vertex_count, 4);
    cr_expect_eq(r->file.merged_vertices, 2);
    uint32_t expected[] = {0, 1, 2, 1, 3, 2};
    cr_expect_arr_eq(r->mesh.face_vertices, expected, sizeof expected);
    cr_expect_eq(signbit(r->mesh.positions[2].z), 0);
    reading_close(r);
}

/* Against the slow way: every earlier vertex compared. */
Test(io_stl, merged_as_by_comparing_all_pairs)
{
    enum { POINTS = 3000 };
    struct arena *arena = fixture_arena();
    struct error err;
    struct weld weld;
    uint64_t state = 5;
    vec3 *points = ARENA_NEW(arena, vec3, POINTS), *seen = ARENA_NEW(arena, vec3, POINTS);
    vec3 *positions = ARENA_NEW(arena, vec3, POINTS);
    uint32_t *vertices = ARENA_NEW(arena, uint32_t, POINTS);
    size_t seen_count = 0;

    for (size_t i = 0; i < POINTS; i++)
        points[i] =
            (vec3){(double)fixture_random_below(&state, 10) - 5, (double)fixture_random_below(&state, 10),
                   (double)fixture_random_below(&state, 10)};
    cr_assert(weld_begin(&weld, positions, POINTS, 1, 42, arena, &err));
    cr_assert(weld_points(&weld, points, 1, vertices, arena, &err));
    cr_assert(weld_points(&weld, points + 1, POINTS - 1, vertices + 1, arena, &err));
    for (size_t i = 0; i < POINTS; i++) {
        size_t expected = 0;
        while (expected < seen_count && vec3_distance(seen[expected], points[i]) != 0.0)
            expected++;
        if (expected == seen_count)
            seen[seen_count++] = points[i];
        cr_assert_eq(vertices[i], expected);
    }
    cr_expect_eq(weld.vertex_count, seen_count);
}

Test(io_stl, noted_remarks_with_their_counts)
{
    static const struct {
        const char *text, *code;
        size_t count;
    } cases[] = {
        {"solid\n" FLAT, "missing_end", 1},
        {"solid\n" FACET("0 0 -1", "0 0 0", "1 0 0", "0 1 0") FLAT "endsolid\n", "normals_disagree", 1},
        {"solid\n" FACET("nan 0 0", "0 0 0", "1 0 0", "0 1 0") FACET("0 0 0", "0 0 0", "1 0 0", "0 1 0")
             FACET("inf 1e999 0", "0 0 0", "1 0 0", "0 1 0") "endsolid\n",
         "normals_ignored", 3},
        {"solid\n" FLAT "endsolid\nPK trailing\n", "trailing_data", 1},
        {"solid caf\xe9\n" FLAT "endsolid\n", "name_not_utf8", 1},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reading *r = reading_of(cases[i].text, "a.stl");
        cr_expect_eq(reading_warnings(r, cases[i].code), cases[i].count, "%s: %zu", cases[i].code,
                     reading_warnings(r, cases[i].code));
        cr_expect_eq(r->file.warnings.count, 1, "%s", cases[i].code);
        reading_close(r);
    }
}

Test(io_stl, noted_in_binary_files)
{
    static const struct {
        const char *header;
        float first_x;
        size_t extra;
        const char *code;
    } cases[] = {{"GIF89a", 0.0f, 0, "foreign_signature"},
                 {"binary", 0.0f, 7, "trailing_data"},
                 {"binary", FLT_MIN / 4, 0, "subnormal_coordinates"},
                 {"binary", FLT_MAX, 0, "extreme_coordinates"}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char file[300] = {0};
        float facet[12];
        size_t bytes = begin_binary(file, cases[i].header, 1);
        memcpy(facet, flat, sizeof flat);
        facet[3] = cases[i].first_x;
        put_facet(file, &bytes, facet);
        struct reading *r = reading_open(file, bytes + cases[i].extra, "a.stl", 1 << 20, 1 << 20);
        cr_assert(r->ok, "%s", r->refusal);
        cr_expect_eq(reading_warnings(r, cases[i].code), 1, "%s", cases[i].code);
        reading_close(r);
    }
}

Test(io_stl, refused_ascii_with_class_and_line)
{
    static const struct {
        const char *text, *prefix;
    } cases[] = {
        {"solid\nendsolid\n", "reject-empty: STL: line 3:"},
        {"solid\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nvertex 1 1 "
         "0\nendloop\n",
         "reject-syntax: STL: line 7: 'vertex' stands where 'endloop' is due"},
        {"solid\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nendloop\n",
         "reject-syntax: STL: line 6: 'endloop' stands where 'vertex' is due"},
        {"solid\nfacet normal 0 0 1\nouter loop\nvertex 0 0\nvertex 1 0 0\nendloop\n",
         "reject-syntax: STL: line 5: a coordinate is 'vertex'"},
        {"solid\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 inf\n",
         "reject-data: STL: line 5:"},
        {"solid\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0",
         "reject-syntax: STL: line 4: the file ends where 'vertex'"},
        {"solid\nfacet normal 0 0 1\nouter loop\nvertex 0 0",
         "reject-syntax: STL: line 4: a coordinate is missing"},
        {"solid\nfacet normal 0,5 0 1\n", "reject-syntax: STL: line 2: a component of a normal is '0,5'"},
        {"solid\nfacet norml 0 0 1\n", "reject-syntax: STL: line 2: 'norml' stands where 'normal' is due"},
        {"solid\n" FLAT "endsolid\n" FLAT,
         "reject-syntax: STL: line 4: a facet or 'endsolid' stands outside"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        reading_expect_refusal(cases[i].text, "a.stl", cases[i].prefix);
}

Test(io_stl, refused_binary_with_class_and_byte)
{
    static const struct {
        uint32_t count;
        size_t bytes;
        float first_x;
        const char *prefix;
    } cases[] = {
        {2, 134, 0, "reject-syntax: STL: byte 80: the header promises 2 facets, the file has room for 1"},
        {0xffffffffu, 134, 0, "reject-syntax: STL: byte 80:"},
        {85899346u, 88, 0, "reject-syntax: STL: byte 80:"}, /* 84 + 50 n is 88 in 32 bits */
        {0, 84, 0, "reject-empty: STL: byte 80:"},
        {0, 134, 0, "reject-empty: STL: byte 80:"},
        {1, 83, 0, "reject-syntax: STL: byte 83:"},
        {1, 133, 0, "reject-syntax: STL: byte 80:"},
        {1, 134, INFINITY, "reject-data: STL: byte 96:"},
        {1, 134, NAN, "reject-data: STL: byte 96:"}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char file[300] = {0};
        float facet[12];
        size_t bytes = begin_binary(file, "binary\x01", cases[i].count);
        memcpy(facet, flat, sizeof flat);
        facet[3] = cases[i].first_x;
        put_facet(file, &bytes, facet);
        struct reading *r = reading_open(file, cases[i].bytes, "a.stl", 1 << 20, 1 << 20);
        cr_expect(strncmp(r->refusal, cases[i].prefix, strlen(cases[i].prefix)) == 0, "case %zu: %s", i,
                  r->refusal);
        reading_close(r);
    }
}
