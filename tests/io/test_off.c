/* test_off.c
 *   read_*     the same tetrahedron in every variant that is read
 *   noted_*    read, with a warning
 *   refused_*  the error's class and line
 */
#include "reading.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

#define FACES "3 0 2 1\n3 0 1 3\n3 1 2 3\n3 2 0 3\n"
#define POINTS "0 0 0\n1 0 0\n0 1 0\n0 0 1\n"

Test(io_off, read_every_variant_with_three_coordinates)
{
    static const struct {
        const char *what, *name, *text;
    } cases[] = {
        {"plain", "a.off", "OFF\n4 4 6\n" POINTS FACES},
        {"counts on the first line, no edge count", "a.off", "OFF 4 4\n" POINTS FACES},
        {"a wrong edge count", "a.off", "OFF\n4 4 -999\n" POINTS FACES},
        {"comments and blank lines", "a.off",
         "# c\n\nOFF # c\n# 9 9 9\n4 4 0 # c\n\n0 0 0 # c\n1 0 0\n#\n0 1 0\n0 0 1\n\n" FACES "# end\n\n"},
        {"CRLF and a byte-order mark", "a.off",
         "\xef\xbb\xbfOFF\r\n4 4 6\r\n0 0 0\r\n1 0 0\r\n0 1 0\r\n0 0 1\r\n3 0 2 1\r\n3 0 1 3\r\n3 1 2 3\r\n3 "
         "2 0 3"},
        {"CR", "a.off", "OFF\r4 4 6\r0 0 0\r1 0 0\r0 1 0\r0 0 1\r3 0 2 1\r3 0 1 3\r3 1 2 3\r3 2 0 3\r"},
        {"one number a line", "a.off",
         "OFF\n4\n4\n6\n0\n0\n0\n1\n0\n0\n0\n1\n0\n0\n0\n1\n3\n0\n2\n1\n3\n0\n1\n3\n3\n1\n2\n3\n3\n2\n0\n3"},
        {"lines that go on behind comments", "a.off",
         "OFF\n4 4 6\n0 0 # c\n\n0\n1 0 0\n0\n1 0\n0 0 1\n3 # c\n0 2 1\n3 0\n1\n3\n3 1 2 3\n3 2 0 3\n"},
        {"counts one a line, no edge count", "a.off", "OFF\n4\n4\n" POINTS FACES},
        {"NOFF over two lines", "a.off",
         "NOFF\n4 4 6\n0 0 0\n0 0 1\n1 0 0\n0 0 1\n0 1 0\n0 0 1\n0 0 1\n0 0 1\n" FACES},
        {"no magic, by name", "a.off", "4 4 6\n" POINTS FACES},
        {"face colours", "a.off",
         "OFF\n4 4 6\n" POINTS "3 0 2 1 255 0 0\n3 0 1 3 0.5 0.5 0.5 1.0\n3 1 2 3 7\n3 2 0 3 # none\n"},
        {"COFF with 4 and with 3", "a.coff",
         "COFF\n4 4 6\n0 0 0 255 0 0 255\n1 0 0 0.1 0.2 0.3\n0 1 0 1 1 1\n0 0 1 0 0 0 0\n" FACES},
        {"NOFF", "a.off", "NOFF\n4 4 6\n0 0 0 0 0 1\n1 0 0 0 0 1\n0 1 0 0 0 1\n0 0 1 0 0 1\n" FACES},
        {"STCNOFF", "a.off",
         "STCNOFF\n4 4 6\n0 0 0 0 0 1 1 1 1 1 0 0\n1 0 0 0 0 1 1 1 1 1 0 0\n0 1 0 0 0 1 1 1 1 1 0 0\n"
         "0 0 1 0 0 1 1 1 1 1 0 0\n" FACES},
    };
    static const uint32_t corners[] = {0, 2, 1, 0, 1, 3, 1, 2, 3, 2, 0, 3};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reading *r = reading_of(cases[i].text, cases[i].name);
        cr_assert_eq(r->mesh.vertex_count, 4, "%s", cases[i].what);
        cr_assert_eq(r->mesh.face_count, 4, "%s", cases[i].what);
        cr_expect_arr_eq(r->mesh.face_vertices, corners, sizeof corners, "%s", cases[i].what);
        cr_expect_eq(r->mesh.positions[3].z, 1.0, "%s", cases[i].what);
        cr_expect_eq(r->file.warnings.count, 0, "%s", cases[i].what);
        cr_expect_str_eq(r->file.format, "off");
        reading_close(r);
    }
}

Test(io_off, noted_trailing_data_and_dropped_faces)
{
    struct reading *r = reading_of("OFF\n4 5 6\n" POINTS FACES "2 0 1\n5 0 1\n", "a.off");
    cr_expect_eq(reading_warnings(r, "dropped_faces"), 1);
    cr_expect_eq(reading_warnings(r, "trailing_data"), 1);
    cr_expect_eq(r->file.dropped_faces, 1);
    cr_expect_eq(r->mesh.face_count, 4);
    reading_close(r);
}

Test(io_off, refused_with_class_and_line)
{
    static const struct {
        const char *text, *prefix;
    } cases[] = {
        {"OFF\n", "reject-empty: OFF: line 2:"},
        {"OFF\n4 0 0\n" POINTS, "reject-empty: OFF: line 2: the face count is 0"},
        {"OFF BINARY\n", "reject-type: OFF: line 1:"},
        {"4OFF\n1 1 0\n0 0 0 1\n", "reject-type: OFF: line 1: '4OFF'"},
        {"nOFF\n3\n1 1 0\n0 0 0\n", "reject-type: OFF: line 1: 'nOFF'"},
        {"OFF\n4\n" POINTS, "reject-syntax: OFF: line 2: the face count is missing"},
        {"OFF\n4 4 6 9\n" POINTS FACES, "reject-syntax: OFF: line 2: '9' is too much"},
        {"OFF\n-4 4 6\n", "reject-syntax: OFF: line 2: '-4' is no count"},
        {"OFF\n4.0 4 6\n", "reject-syntax: OFF: line 2: '4.0' is no count"},
        {"OFF\n4294967295 1 0\n0 0 0\n", "reject-syntax: OFF: line 2: the header promises 4294967295"},
        {"OFF\n4 4294967295 0\n" POINTS, "reject-syntax: OFF: line 2: the header promises 4294967295"},
        {"OFF\n768614336404564651 1 0\n0 0 0\n", "reject-limit: OFF: line 2:"},
        {"OFF\n18446744073709551620 1 0\n0 0 0\n", "reject-limit: OFF: line 2:"},
        {"OFF\n4 4 6\n0 0 0\n1 0\n0 1 0\n0 0 1\n" FACES,
         "reject-syntax: OFF: line 4: a vertex line has 2 numbers"},
        {"OFF\n4 4 6\n0 0 0\n1 0 0 9\n0 1 0\n0 0 1\n" FACES,
         "reject-syntax: OFF: line 4: a vertex line has 4 numbers"},
        {"OFF\n4 4 6\n0 0 0\n1 0\n0 1\n0 0 1\n" FACES,
         "reject-syntax: OFF: line 4: a vertex line has 2 numbers"},
        {"OFF\n4 2 6\n" POINTS "3 0 1\n3 1 2 3\n", "reject-syntax: OFF: line 7: a face has fewer indices"},
        {"COFF\n4 4 6\n" POINTS FACES, "reject-syntax: OFF: line 3: a vertex line has 3 numbers"},
        {"OFF\n4 4 6\n0 0 0\n1 0,5 0\n0 1 0\n0 0 1\n" FACES,
         "reject-syntax: OFF: line 4: a coordinate is '0,5'"},
        {"OFF\n4 4 6\n0 0 0\n1 0 inf\n0 1 0\n0 0 1\n" FACES, "reject-data: OFF: line 4:"},
        {"OFF\n4 1 6\n" POINTS "3 0 1 4\n", "reject-data: OFF: line 7: a face names vertex '4'"},
        {"OFF\n4 1 6\n" POINTS "3 0 1 -1\n", "reject-data: OFF: line 7: a face names vertex '-1'"},
        {"OFF\n4 1 6\n" POINTS "3 0 1 2.5\n", "reject-syntax: OFF: line 7: '2.5' is no vertex index"},
        {"OFF\n4 1 6\n" POINTS "3 0 1 # 2\n", "reject-syntax: OFF: line 7: a face has fewer indices"},
        {"OFF\n4 1 6\n" POINTS "-3 0 1 2\n", "reject-syntax: OFF: line 7: '-3' is no corner count"},
        {"OFF\n4 1 6\n" POINTS "1000000000 0 1 2\n", "reject-syntax: OFF: line 7:"},
        {"OFF\n4 1 6\n" POINTS "3 0 1 2 1 1 1 1 1\n",
         "reject-syntax: OFF: line 7: '1' is too much behind a face"},
        {"OFF\n4 2 6\n" POINTS "3 0 1 2\n", "reject-syntax: OFF: line 8: the file ends where a face is due"},
        {"OFF\n4 1 6\n" POINTS "2 0 1\n", "reject-empty: OFF: line 8: no face of three"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        reading_expect_refusal(cases[i].text, "a.off", cases[i].prefix);
}
