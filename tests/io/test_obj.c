/* test_obj.c
 *   read_*     what is in the mesh, with indices written out by hand
 *   noted_*    read, with a warning and its count
 *   refused_*  the error's class and line
 */
#include "reading.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SQUARE "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n"

static void expect_face(const struct mesh *mesh, size_t f, size_t size, const uint32_t *corners)
{
    cr_assert_lt(f, mesh->face_count);
    cr_assert_eq(mesh_face_size(mesh, f), size);
    cr_expect_arr_eq(mesh_face(mesh, f), corners, size * sizeof *corners);
}

Test(io_obj, read_polygons_of_any_size_in_file_order)
{
    struct reading *r = reading_of(SQUARE "v 0.5 2 -1e-3\nf 1 2 3\nf 1 2 3 4\nf 1 2 3 5 4\n", "a.obj");

    cr_expect_eq(r->mesh.vertex_count, 5);
    cr_expect_eq(r->mesh.face_count, 3);
    cr_expect_eq(r->mesh.positions[4].y, 2.0);
    cr_expect_eq(r->mesh.positions[4].z, -1e-3);
    expect_face(&r->mesh, 0, 3, (uint32_t[]){0, 1, 2});
    expect_face(&r->mesh, 1, 4, (uint32_t[]){0, 1, 2, 3});
    expect_face(&r->mesh, 2, 5, (uint32_t[]){0, 1, 2, 4, 3});
    cr_expect_str_eq(r->file.format, "obj");
    cr_expect_eq(r->file.warnings.count, 0);
    reading_close(r);
}

Test(io_obj, read_indices_relative_to_the_vertices_so_far)
{
    struct reading *r = reading_of("v 0 0 0\nv 1 0 0\nv 0 1 0\nf -3 -2 -1\nv 0 0 1\nf -1 -3 2\n", "a.obj");
    expect_face(&r->mesh, 0, 3, (uint32_t[]){0, 1, 2});
    expect_face(&r->mesh, 1, 3, (uint32_t[]){3, 1, 1});
    reading_close(r);
}

Test(io_obj, read_faces_before_their_vertices)
{
    struct reading *r = reading_of("f 1 2 3\n" SQUARE, "a.obj");
    expect_face(&r->mesh, 0, 3, (uint32_t[]){0, 1, 2});
    reading_close(r);
}

Test(io_obj, read_every_corner_form)
{
    struct reading *r = reading_of(SQUARE "vt 0 0\nvn 0 0 1\nf 1 2 3\nf 1/1 2/1 3/-1\nf 1//1 2//1 4//-1\n"
                                          "f 1/1/1 3/1/1 4/1/1\nf 1/ 2/ 3/\nf 1// 2// 4//\n",
                                   "a.obj");
    cr_expect_eq(r->mesh.face_count, 6);
    expect_face(&r->mesh, 3, 3, (uint32_t[]){0, 2, 3});
    expect_face(&r->mesh, 5, 3, (uint32_t[]){0, 1, 3});
    cr_expect_eq(r->file.warnings.count, 0);
    reading_close(r);
}

Test(io_obj, read_line_ends_blanks_comments_and_continued_lines)
{
    static const char *const texts[] = {
        "v 0 0 0\r\nv 1 0 0\r\nv 0 1 0\r\nf 1 2 3\r\n",
        "v 0 0 0\rv 1 0 0\rv 0 1 0\rf 1 2 3",
        "\xef\xbb\xbfv 0 0 0\n\n  v\t1 0\t0  \nv 0 1 0 # a vertex\n#f 1 1 1\nf 1 2 3#quad\n",
        "v \\\n0 0 \\\r\n0\nv 1 0 0\\\n\nv 0 1 0\nf 1\\\n 2 \\\r3\n",
        "\\\nv 0 0 0\nv 1 0 0\nv 0 1 0\n\\\r\nf 1 2 3",
        "# comment with a backslash \\\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3",
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct reading *r = reading_of(texts[i], "a.obj");
        cr_expect_eq(r->mesh.vertex_count, 3, "text %zu: %zu vertices", i, r->mesh.vertex_count);
        cr_expect_eq(r->mesh.face_count, 1);
        cr_expect_eq(r->mesh.positions[1].x, 1.0);
        expect_face(&r->mesh, 0, 3, (uint32_t[]){0, 1, 2});
        cr_expect_eq(r->file.warnings.count, 0, "text %zu", i);
        reading_close(r);
    }
}

Test(io_obj, read_colours_and_a_weight_of_one_silently)
{
    struct reading *r = reading_of("v 0 0 0 1 0 0\nv 1 0 0 1 0 0 1\nv 0 1 0 1.0\nf 1 2 3\n", "a.obj");
    cr_expect_eq(r->mesh.vertex_count, 3);
    cr_expect_eq(r->file.warnings.count, 0);
    reading_close(r);
}

Test(io_obj, read_a_polygon_of_a_million_corners_and_no_more)
{
    size_t most = MESH_MAX_FACE_CORNERS, bytes = 0;
    char *text = malloc(64 + 2 * (most + 1));
    bytes += (size_t)sprintf(text, "v 0 0 0\nf");
    for (size_t c = 0; c < most; c++, bytes += 2)
        memcpy(text + bytes, " 1", 2);

    struct reading *r = reading_open(text, bytes, "a.obj", 64 << 20, 64 << 20);
    cr_expect(r->ok, "%s", r->refusal);
    cr_expect_eq(mesh_face_size(&r->mesh, 0), most);
    cr_expect_eq(reading_warnings(r, "large_polygons"), 1);
    reading_close(r);

    memcpy(text + bytes, " 1", 2);
    r = reading_open(text, bytes + 2, "a.obj", 64 << 20, 64 << 20);
    cr_expect_str_eq(r->refusal, "reject-limit: OBJ: line 2: a face has more than 1000000 corners; split it");
    reading_close(r);
    free(text);
}

Test(io_obj, noted_remarks_with_their_counts)
{
    static const struct {
        const char *lines, *code;
        size_t count;
    } cases[] = {
        {"l 1 2\np 1\nl 1 2 3\n", "statements_skipped", 3},
        {"zz 1 2 3\n", "statements_skipped", 1},
        {"csh -touch x\n", "statements_skipped", 1},
        {"mtllib ../x.mtl\nmtllib y.mtl\n", "materials_ignored", 2},
        {"f 1 2\nf 1\nf\n", "dropped_faces", 3},
        {"f 1/7 2/7 3/7\nf 1//9 2 3\n", "bad_texture_index", 4},
        {"f 1/0 2 3\n", "bad_texture_index", 1},
        {"vt 0 0\nf 1/1 2/2 3/-2\nvt 0 0\n", "bad_texture_index", 1},
        {"f 1/1 2//1 3\nvt 0 0\nvn 0 0 1\n", "mixed_corner_forms", 1},
        {"g caf\xe9\n", "name_not_utf8", 1},
        {"v 0 0 5 2\n", "weights_ignored", 1},
        {"v 1e-310 2 3\n", "subnormal_coordinates", 1},
        {"v 1e20 2 3\n", "extreme_coordinates", 1},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[400];
        snprintf(text, sizeof text, SQUARE "f 1 2 3\n%s", cases[i].lines);
        struct reading *r = reading_of(text, "a.obj");
        cr_expect_eq(reading_warnings(r, cases[i].code), cases[i].count, "%s: %zu", cases[i].lines,
                     reading_warnings(r, cases[i].code));
        reading_close(r);
    }
}

Test(io_obj, noted_faces_dropped_are_in_the_record_too)
{
    struct reading *r = reading_of(SQUARE "f 1 2\nf 1 2 3\nf 4\n", "a.obj");
    cr_expect_eq(r->file.dropped_faces, 2);
    cr_expect_eq(r->mesh.face_count, 1);
    expect_face(&r->mesh, 0, 3, (uint32_t[]){0, 1, 2});
    reading_close(r);
}

Test(io_obj, noted_names_of_groups_objects_and_materials_need_no_remark)
{
    struct reading *r =
        reading_of("o <b>\ng %n%s \x1b[31m\ns off\nusemtl '; DROP--\n" SQUARE "f 1 2 3\n", "a.obj");
    cr_expect_eq(r->file.warnings.count, 0);
    reading_close(r);
}

Test(io_obj, refused_with_class_and_line)
{
    static const struct {
        const char *lines, *prefix; /* lines follow the four of SQUARE */
    } cases[] = {
        {"f 1 2 5", "reject-data: OBJ: line 5: a face names vertex '5', but the file has 4"},
        {"f 1 2 3\nf 1 2 0", "reject-data: OBJ: line 6: a face names vertex '0'"},
        {"f 1 2 -5", "reject-data: OBJ: line 5: a face names vertex '-5'"},
        {"f 1 2 4294967297", "reject-data: OBJ: line 5: a face names vertex '4294967297'"},
        {"f 1 2 18446744073709551617", "reject-data: OBJ: line 5:"},
        {"f 1 2 -9223372036854775808", "reject-data: OBJ: line 5:"},
        {"f 1 2 3.5", "reject-syntax: OBJ: line 5: '3.5' is not a corner"},
        {"f 1 2 3/4/5/6", "reject-syntax: OBJ: line 5:"},
        {"f 1 2 /3", "reject-syntax: OBJ: line 5:"},
        {"f 1 2 x", "reject-syntax: OBJ: line 5: 'x' is not a corner"},
        {"f 1 2 3 \\", "reject-syntax: OBJ: line 5:"},
        {"v 1 2", "reject-syntax: OBJ: line 5: a vertex has fewer than 3 coordinates"},
        {"v 1 2 3 4 5", "reject-syntax: OBJ: line 5: a vertex has 5 numbers"},
        {"v 1 2 3 4 5 6 7 8", "reject-syntax: OBJ: line 5: a vertex has more than 7"},
        {"v 1 2 3 0", "reject-data: OBJ: line 5: a vertex has the weight 0"},
        {"v 1,5 2 3",
         "reject-syntax: OBJ: line 5: a coordinate is '1,5', not a number; write decimal points"},
        {"v 1 2 3x", "reject-syntax: OBJ: line 5: a coordinate is '3x'"},
        {"v 1 2 nan", "reject-data: OBJ: line 5: a coordinate is 'nan'"},
        {"v 1 -Inf 0", "reject-data: OBJ: line 5: a coordinate is '-Inf'"},
        {"v 1e999 0 0", "reject-data: OBJ: line 5: a coordinate is '1e999', beyond"},
        {"v 0x1p3 0 0", "reject-syntax: OBJ: line 5:"},
        {"v\v0 0 0", "reject-syntax: OBJ: line 5: a statement begins with"},
        {"l 1 2\r\n\rv 1", "reject-syntax: OBJ: line 7:"},
        {"", "reject-empty: OBJ: line 5: vertices but no faces"},
        {"f 1 2", "reject-empty: OBJ: line 5: no face of three or more corners"},
        {"cstype bspline", "reject-empty: OBJ: line 5: no polygons, only free-form"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[400];
        snprintf(text, sizeof text, SQUARE "%s", cases[i].lines);
        reading_expect_refusal(text, "a.obj", cases[i].prefix);
    }
}

Test(io_obj, refused_nul_bytes_in_a_statement)
{
    static const char text[] = SQUARE "f 1 \0002 3\n";
    struct reading *r = reading_open(text, sizeof text - 1, "a.obj", 1 << 20, 1 << 20);
    cr_expect(strncmp(r->refusal, "reject-syntax: OBJ: line 5:", 27) == 0, "%s", r->refusal);
    reading_close(r);
}

Test(io_obj, read_creases_are_counted_apart)
{
    struct reading *r = reading_of("t crease 2/1/0 3 0 2.5 # two\nT\tCrease  2/1/0 \t 0 1 10\n\\\n"
                                   "t crease 2/1/0 1 2 0\nt corner 1/1/0 0 5\n" SQUARE
                                   "f 1 2 3 # a comment \\\nt crease 2/1/0 2 3 1e0\nf 1 3 4",
                                   "a.obj");
    const uint32_t edges[][2] = {{3, 0}, {0, 1}, {1, 2}, {2, 3}};
    const double sharpness[] = {2.5, 10, 0, 1};

    cr_expect_eq(r->mesh.creases.count, 4u);
    for (size_t i = 0; i < 4 && i < r->mesh.creases.count; i++) {
        cr_expect(r->mesh.creases.edges[i][0] == edges[i][0] && r->mesh.creases.edges[i][1] == edges[i][1]);
        cr_expect_eq(r->mesh.creases.sharpness[i], sharpness[i]);
    }
    cr_expect_eq(reading_warnings(r, "creases_read"), 4u);
    cr_expect_eq(reading_warnings(r, "statements_skipped"), 1u);
    reading_close(r);

    r = reading_of(SQUARE "f 1 2 3\n", "a.obj");
    cr_expect_eq(r->mesh.creases.count, 0u);
    cr_expect_eq(reading_warnings(r, "creases_read"), 0u);
    reading_close(r);
}

Test(io_obj, refused_creases_tell_their_line)
{
    static const struct {
        const char *line, *prefix;
    } cases[] = {
        {"t crease", "reject-syntax: OBJ: line 6: a crease is written"},
        {"t crease 2/1/0", "reject-syntax: OBJ: line 6: a crease is written"},
        {"t crease 3/1/0 0 1 2 1", "reject-syntax: OBJ: line 6: a crease is written"},
        {"t crease 2/1/0 0 1", "reject-syntax: OBJ: line 6: a crease is written"},
        {"t crease 2/1/0 0 x 1", "reject-syntax: OBJ: line 6: a crease is written"},
        {"t crease 2/1/0 0 1 1 1", "reject-syntax: OBJ: line 6: a crease is written"},
        {"t crease 2/1/0 0 4 1", "reject-data: OBJ: line 6: a crease names vertex '4'"},
        {"t crease 2/1/0 -1 1 1", "reject-data: OBJ: line 6: a crease names vertex '-1'"},
        {"t crease 2/1/0 0 1 -1", "reject-data: OBJ: line 6: a crease has the sharpness -1"},
        {"t crease 2/1/0 0 1 inf", "reject-data: OBJ: line 6"},
        {"t crease 2/1/0 0 1 two", "reject-syntax: OBJ: line 6"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[400];
        snprintf(text, sizeof text, SQUARE "f 1 2 3\n%s\n", cases[i].line);
        reading_expect_refusal(text, "a.obj", cases[i].prefix);
    }
}
