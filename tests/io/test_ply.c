/* test_ply.c
 *   read_*     the same square in every encoding, and whatever may surround it
 *   noted_*    read, with a warning
 *   refused_*  the error's class and place
 */
#include "reading.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define VERTEX4 "element vertex 4\nproperty float x\nproperty float y\nproperty float z\n"
#define FACE1 "element face 1\nproperty list uchar int vertex_indices\n"
#define HEAD "ply\nformat ascii 1.0\n"
#define ROWS4 "0 0 0\n1 0 0\n1 1 0\n0 1 0.5\n"
#define SQUARE HEAD VERTEX4 FACE1 "end_header\n" ROWS4 "4 0 1 2 3\n"

static void expect_square(struct reading *r, const char *what)
{
    static const uint32_t corners[] = {0, 1, 2, 3};
    cr_assert(r->ok, "%s: %s", what, r->refusal);
    cr_assert_eq(r->mesh.vertex_count, 4);
    cr_assert_eq(r->mesh.face_count, 1, "%s", what);
    cr_assert_eq(mesh_face_size(&r->mesh, 0), 4, "%s", what);
    cr_expect_arr_eq(mesh_face(&r->mesh, 0), corners, sizeof corners, "%s", what);
    cr_expect_eq(r->mesh.positions[2].x, 1.0, "%s", what);
    cr_expect_eq(r->mesh.positions[2].y, 1.0, "%s", what);
    cr_expect_eq(r->mesh.positions[3].z, 0.5, "%s", what);
}

Test(io_ply, read_ascii_with_all_that_may_surround_a_mesh)
{
    static const struct {
        const char *what, *text;
    } cases[] = {
        {"plain", SQUARE},
        {"byte-order mark", "\xef\xbb\xbf" SQUARE},
        {"CR only",
         "ply\rformat ascii 1.0\relement vertex 4\rproperty float x\rproperty float y\rproperty float z\r"
         "element face 1\rproperty list uchar int vertex_indices\rend_header\r0 0 0\r1 0 0\r1 1 0\r0 1 .5\r"
         "4 0 1 2 3\r"},
        {"CRLF, no last line end", "ply\r\nformat ascii 1.0\r\nelement vertex 4\r\nproperty float "
                                   "x\r\nproperty float y\r\nproperty float z\r\n"
                                   "element face 1\r\nproperty list uchar int "
                                   "vertex_index\r\nend_header\r\n0 0 0\r\n1 0 0\r\n1 1 0\r\n0 1 .5\r\n"
                                   "4 0 1 2 3"},
        {"faces first", HEAD FACE1 VERTEX4 "end_header\n4 0 1 2 3\n" ROWS4},
        {"comments, other elements, blank lines", HEAD
         "comment x\nobj_info y\nelement edge 2\nproperty int a\nproperty list uchar float b\n" VERTEX4 FACE1
         "element void 0\nend_header\n7 0\n8 2 nan 1e999\n\n" ROWS4 "\n4 0 1 2 3\n"},
        {"properties around the coordinates",
         HEAD "element vertex 4\nproperty list uchar int tags\nproperty double z\nproperty int8 w\nproperty "
              "float64 y\n"
              "property int x\n" FACE1 "property float quality\nend_header\n"
              "0 0 9 0 0\n2 1 2 0 9 0 1\n1 5 0 9 1 1\n0 0.5 9 1 0\n4 0 1 2 3 inf\n"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reading *r = reading_of(cases[i].text, "a.ply");
        expect_square(r, cases[i].what);
        cr_expect_str_eq(r->file.format, "ply-ascii");
        cr_expect_eq(r->file.warnings.count, 0, "%s", cases[i].what);
        reading_close(r);
    }
}

/* Appends an integer or float of size bytes in either order. */
static void put(char *file, size_t *bytes, double value, const char *type, bool big)
{
    unsigned char image[8];
    size_t size;
    if (strcmp(type, "float") == 0) {
        float f = (float)value;
        memcpy(image, &f, size = 4);
    } else if (strcmp(type, "double") == 0) {
        memcpy(image, &value, size = 8);
    } else {
        int64_t integer = (int64_t)value;
        size = strstr(type, "char") ? 1 : strstr(type, "short") ? 2 : 4;
        memcpy(image, &integer, size);
    }
    for (size_t i = 0; i < size; i++)
        file[(*bytes)++] = (char)image[big ? size - 1 - i : i];
}

/* The square with x of the given type, length and index types, in binary; a skipped list in every vertex. */
static size_t binary_square(char *file, const char *scalar, const char *length, const char *index, bool big)
{
    static const double positions[4][3] = {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0.5}};
    size_t bytes = (size_t)sprintf(
        file,
        "ply\r\nformat binary_%s_endian 1.0\r\nelement vertex 4\r\nproperty list ushort short "
        "tags\r\nproperty %s x\r\nproperty %s y\r\nproperty float z\r\nelement face 1\r\n"
        "property list %s %s vertex_indices\r\nproperty uchar flags\r\nend_header\r\n",
        big ? "big" : "little", scalar, scalar, length, index);
    for (int v = 0; v < 4; v++) {
        put(file, &bytes, 2, "ushort", big);
        put(file, &bytes, 0x0a0d, "short", big);
        put(file, &bytes, -1, "short", big);
        put(file, &bytes, positions[v][0], scalar, big);
        put(file, &bytes, positions[v][1], scalar, big);
        put(file, &bytes, positions[v][2], "float", big);
    }
    put(file, &bytes, 4, length, big);
    for (int c = 0; c < 4; c++)
        put(file, &bytes, c, index, big);
    put(file, &bytes, 10, "uchar", big);
    return bytes;
}

Test(io_ply, read_binary_in_both_orders_with_every_type)
{
    static const char *const scalars[] = {"char", "uchar", "short", "ushort",
                                          "int",  "uint",  "float", "double"};
    static const char *const integers[] = {"char", "uchar", "short", "ushort", "int", "uint"};
    char file[1000], what[100];

    for (int big = 0; big < 2; big++)
        for (size_t s = 0; s < 8; s++)
            for (size_t i = 0; i < 6; i++) {
                snprintf(what, sizeof what, "%s %s %s", big ? "big" : "little", scalars[s], integers[i]);
                size_t bytes = binary_square(file, scalars[s], integers[5 - i], integers[i], big);
                struct reading *r = reading_open(file, bytes, "a.ply", 1 << 20, 1 << 20);
                expect_square(r, what);
                cr_expect_str_eq(r->file.format, big ? "ply-binary-big" : "ply-binary-little");
                cr_expect_eq(r->file.warnings.count, 0, "%s", what);
                reading_close(r);
            }
}

Test(io_ply, refused_binary_cut_at_every_byte)
{
    char file[1000];
    size_t bytes = binary_square(file, "float", "uchar", "int", false);
    for (size_t cut = 0; cut < bytes; cut++) {
        struct reading *r = reading_open(file, cut, "a.ply", 1 << 20, 1 << 20);
        cr_expect(!r->ok, "read though cut at %zu of %zu", cut, bytes);
        cr_expect(error_is_reject(r->err.code), "%s", r->refusal);
        reading_close(r);
    }
}

Test(io_ply, noted_remarks_with_their_counts)
{
    static const struct {
        const char *text, *code;
        size_t count;
    } cases[] = {{SQUARE "9 9\n", "trailing_data", 1},
                 {HEAD VERTEX4 "element face 3\nproperty list uchar int vertex_indices\nend_header\n" ROWS4
                               "4 0 1 2 3\n0\n2 1 0\n",
                  "dropped_faces", 2}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reading *r = reading_of(cases[i].text, "a.ply");
        expect_square(r, cases[i].code);
        cr_expect_eq(reading_warnings(r, cases[i].code), cases[i].count, "%s", cases[i].code);
        reading_close(r);
    }
}

Test(io_ply, refused_headers_with_class_and_line)
{
    static const struct {
        const char *text, *prefix;
    } cases[] = {
        {"plyx\n" VERTEX4, "reject-type: PLY: byte 0:"},
        {"ply\nformat ascii 1.0\n", "reject-syntax: PLY: line 3: the file ends within the header"},
        {"ply\n" VERTEX4 FACE1 "end_header\n", "reject-syntax: PLY: line 8: the header has no format line"},
        {"ply\nformat ascii 2.0\n", "reject-type: PLY: line 2: only version 1.0"},
        {"ply\nformat binary_mixed_endian 1.0\n", "reject-syntax: PLY: line 2: 'binary_mixed_endian'"},
        {HEAD "format ascii 1.0\n", "reject-syntax: PLY: line 3: a second format"},
        {HEAD "element vertex\n", "reject-syntax: PLY: line 3:"},
        {HEAD "element vertex -1\n", "reject-syntax: PLY: line 3: '-1' is not an element count"},
        {HEAD "element vertex 1.5\n", "reject-syntax: PLY: line 3: '1.5' is not an element count"},
        {HEAD "element vertex 18446744073709551616\n",
         "reject-syntax: PLY: line 3: '18446744073709551616' is an"},
        {HEAD "property float x\n", "reject-syntax: PLY: line 3: a property stands before any element"},
        {HEAD VERTEX4 "property float x\n", "reject-syntax: PLY: line 7: 'x' is declared twice"},
        {HEAD VERTEX4 VERTEX4, "reject-syntax: PLY: line 7: 'vertex' is declared twice"},
        {HEAD VERTEX4 "property real w\n", "reject-syntax: PLY: line 7: 'real' is no type"},
        {HEAD VERTEX4 "property float\n", "reject-syntax: PLY: line 7: a property line ends"},
        {HEAD VERTEX4 "property list float int w\n", "reject-syntax: PLY: line 7: the length of a list"},
        {HEAD VERTEX4 "property float w extra\n", "reject-syntax: PLY: line 7: 'extra' is too much"},
        {HEAD VERTEX4 "0 0 0\n", "reject-syntax: PLY: line 7: '0' is no declaration"},
        {HEAD VERTEX4 "end_header\n" ROWS4, "reject-empty: PLY: line 7: no faces"},
        {HEAD VERTEX4 "element tristrips 1\nproperty list int int vertex_indices\nend_header\n",
         "reject-empty: PLY: line 9: triangle strips"},
        {HEAD FACE1 "end_header\n", "reject-data: PLY: line 5: faces but no element 'vertex'"},
        {HEAD "element vertex 4\nproperty float x\nproperty float y\n" FACE1 "end_header\n",
         "reject-syntax: PLY: line 3: the element 'vertex' needs a scalar property 'z'"},
        {HEAD "element vertex 4\nproperty float x\nproperty float y\nproperty list char int z\n" FACE1
              "end_header\n",
         "reject-syntax: PLY: line 3: the element 'vertex' needs a scalar property 'z', not a list"},
        {HEAD VERTEX4 "element face 1\nproperty int vertex_indices\nend_header\n",
         "reject-syntax: PLY: line 7:"},
        {HEAD VERTEX4 "element face 1\nproperty list uchar float vertex_indices\nend_header\n",
         "reject-syntax: PLY: line 7: the vertex indices of faces have a floating type"},
        {HEAD "element void 4000000000\n" VERTEX4 FACE1 "end_header\n",
         "reject-syntax: PLY: line 3: an element has a count"},
        {HEAD "element a 9223372036854775807\nproperty int b\nproperty int c\n" VERTEX4 FACE1 "end_header\n",
         "reject-limit: PLY: line 3:"},
        {HEAD "element a 4294967295\nproperty int b\n" VERTEX4 FACE1 "end_header\n",
         "reject-syntax: PLY: line 3: the header promises 4294967295 rows"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        reading_expect_refusal(cases[i].text, "a.ply", cases[i].prefix);
}

Test(io_ply, refused_a_header_of_more_than_64_kib)
{
    size_t bytes = 0;
    char *text = malloc(100000);
    bytes += (size_t)sprintf(text, HEAD);
    while (bytes < 80000)
        bytes += (size_t)sprintf(text + bytes, "comment %060d\n", 0);
    struct reading *r = reading_open(text, bytes, "a.ply", 1 << 20, 1 << 20);
    cr_expect(strncmp(r->refusal, "reject-limit: PLY: line ", 24) == 0, "%s", r->refusal);
    reading_close(r);
    free(text);
}

Test(io_ply, refused_ascii_rows_with_class_and_line)
{
    static const struct {
        const char *rows, *prefix; /* behind nine lines of header */
    } cases[] = {
        {"0 0 0\n1 0\n1 1 0\n0 1 0\n4 0 1 2 3\n", "reject-syntax: PLY: line 11: the row has fewer values"},
        {"0 0 0\n1 0 0 7\n1 1 0\n0 1 0\n4 0 1 2 3\n",
         "reject-syntax: PLY: line 11: the row goes on with '7'"},
        {"0 0 0\n1 0 0\n1 nan 0\n0 1 0\n4 0 1 2 3\n", "reject-data: PLY: line 12: a coordinate is 'nan'"},
        {"0 0 0\n1 0 0\n1 1e999 0\n0 1 0\n4 0 1 2 3\n", "reject-data: PLY: line 12:"},
        {"0 0 0\n1 0 0\n1 1;5 0\n0 1 0\n4 0 1 2 3\n", "reject-syntax: PLY: line 12: a coordinate is '1;5'"},
        {ROWS4 "4 0 1 2\n", "reject-syntax: PLY: line 14: the row has fewer values"},
        {ROWS4 "4 0 1 2", "reject-syntax: PLY: line 14: the file ends before"},
        {ROWS4 "3 0 1 2 3\n", "reject-syntax: PLY: line 14: the row goes on with '3'"},
        {ROWS4 "4 0 1 2 4\n", "reject-data: PLY: line 14: a face names vertex '4', but the file has 4"},
        {ROWS4 "4 0 1 2 -1\n", "reject-data: PLY: line 14: a face names vertex '-1'"},
        {ROWS4 "4 0 1 2 4294967296\n", "reject-data: PLY: line 14:"},
        {ROWS4 "4 0 1 2 3.0\n", "reject-syntax: PLY: line 14: '3.0' stands where a list needs"},
        {ROWS4 "-4 0 1 2 3\n", "reject-syntax: PLY: line 14: a list has a negative length"},
        {ROWS4 "4000000000 0 1 2 3\n", "reject-syntax: PLY: line 14: a list is longer"},
        {ROWS4 "2 0 1\n", "reject-empty: PLY: byte "},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[600];
        snprintf(text, sizeof text, HEAD VERTEX4 FACE1 "end_header\n%s", cases[i].rows);
        reading_expect_refusal(text, "a.ply", cases[i].prefix);
    }
}

Test(io_ply, refused_binary_rows_with_class_and_byte)
{
    static const struct {
        const char *what;
        size_t from_end; /* where the bytes below go */
        size_t count;
        const char *bytes, *prefix;
    } cases[] = {
        /* the face is: length (4), four indices (4 each), flags (1): 21 bytes before the end */
        {"length beyond the file", 21, 4, "\xff\xff\xff\xff", "reject-syntax: PLY: byte "},
        {"index equal to the count", 17, 4, "\x04\0\0\0", "reject-data: PLY: byte "},
        {"index of the other byte order", 13, 4, "\0\0\0\x01", "reject-data: PLY: byte "},
        {"NaN in the last z", 25, 4, "\0\0\xc0\x7f", "reject-data: PLY: byte "},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char file[1000];
        size_t bytes = binary_square(file, "float", "uint", "uint", false);
        memcpy(file + bytes - cases[i].from_end, cases[i].bytes, cases[i].count);
        struct reading *r = reading_open(file, bytes, "a.ply", 1 << 20, 1 << 20);
        cr_expect(strncmp(r->refusal, cases[i].prefix, strlen(cases[i].prefix)) == 0, "%s: %s", cases[i].what,
                  r->refusal);
        reading_close(r);
    }
    char file[1000];
    size_t bytes = binary_square(file, "float", "int", "int", true);
    memcpy(file + bytes - 21, "\xff\xff\xff\xfc", 4);
    struct reading *r = reading_open(file, bytes, "a.ply", 1 << 20, 1 << 20);
    cr_expect(strncmp(r->refusal, "reject-syntax: PLY: byte ", 25) == 0
                  && strstr(r->refusal, "negative length"),
              "%s", r->refusal);
    reading_close(r);
}
