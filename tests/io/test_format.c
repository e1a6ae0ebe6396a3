/* test_format.c
 *   content_*  the bytes decide, whatever the name
 *   name_*     what the name is asked for
 *   packed_*   gzip and zstd, within bounds
 */
#include "reading.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>
#include <zstd.h>

static const char triangle[] = "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n";

static size_t gzip(const char *bytes, size_t count, char *out, size_t room)
{
    z_stream stream = {.zalloc = NULL};
    cr_assert_eq(deflateInit2(&stream, 9, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY), Z_OK);
    stream.next_in = (Bytef *)bytes;
    stream.avail_in = (uInt)count;
    stream.next_out = (Bytef *)out;
    stream.avail_out = (uInt)room;
    cr_assert_eq(deflate(&stream, Z_FINISH), Z_STREAM_END);
    deflateEnd(&stream);
    return room - stream.avail_out;
}

Test(io_format, content_of_other_kinds_is_named)
{
    static const struct {
        const char *bytes;
        size_t count;
        const char *name, *prefix;
    } cases[] = {
        {"PK\x03\x04rest", 8, "a.obj", "reject-type: ZIP: byte 0:"},
        {"BZh91AY", 7, "a.obj", "reject-type: BZIP2: byte 0:"},
        {"\xfd"
         "7zXZ\0rest",
         10, "a.stl", "reject-type: XZ: byte 0:"},
        {"7z\xbc\xaf\x27\x1c__", 8, "a.stl", "reject-type: 7Z: byte 0:"},
        {"\x04\x22\x4d\x18__", 6, "a.ply", "reject-type: LZ4: byte 0:"},
        {"\x89PNG\r\n\x1a\n__", 10, "a.obj", "reject-type: PNG: byte 0:"},
        {"\x7f"
         "ELF\2\1\1",
         7, "a.stl", "reject-type: ELF: byte 0:"},
        {"%PDF-1.7\n", 9, "a.off", "reject-type: PDF: byte 0:"},
        {"glTF\2\0\0\0", 8, "a.glb", "reject-type: GLB: byte 0:"},
        {"\xff\xfev\0 \0", 6, "a.obj", "reject-type: TEXT: byte 0: the content is UTF-16"},
        {"  <!DOCTYPE html>\nv 0 0 0\n", 26, "a.obj", "reject-type: HTML: byte 0:"},
        {"<x3d/>", 6, "a.x3d", "reject-type: XML: byte 0:"},
        {"{\"asset\":{}}", 12, "a.gltf", "reject-type: JSON: byte 0:"},
        {"Dear colleague, the scan is attached.", 37, "a.off", "reject-type: OFF: byte 0:"},
        {"Dear colleague, the scan is attached.", 37, NULL, "reject-type: TEXT: byte 0:"},
        {"\1\2\3\4", 4, "a.obj", "reject-type: OBJ: byte 0: the content is binary data"},
        {"\1\2\3\4", 4, "a", "reject-type: BINARY: byte 0:"},
        {"some text", 9, "a.3mf", "reject-type: 3MF: byte 0: files of the kind '3mf'"},
        {"", 0, "a.obj", "reject-empty: OBJ: line 1:"},
        {"", 0, NULL, "reject-empty: MESH: line 1:"},
        {" \n# only this\n", 14, "a.off", "reject-empty: OFF: line 1:"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reading *r = reading_open(cases[i].bytes, cases[i].count, cases[i].name, 1 << 20, 1 << 20);
        cr_expect(strncmp(r->refusal, cases[i].prefix, strlen(cases[i].prefix)) == 0, "case %zu: %s", i,
                  r->refusal);
        reading_close(r);
    }
}

Test(io_format, content_overrules_the_name_with_a_warning)
{
    static const struct {
        const char *name;
        size_t mismatches;
    } cases[] = {{"a.obj", 0}, {"A.OBJ", 0},     {"dir.stl/a.obj", 0}, {"noextension", 0},
                 {NULL, 0},    {"a.obj.exe", 0}, {"a.stl", 1},         {"a.ply", 1},
                 {"a.off", 1}, {"a.glb", 1},     {"a.obj.gz", 1},      {"a.stl.zst", 2},
                 {".obj", 0},  {"obj", 0},       {"a.obj/b", 0}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reading *r = reading_of(triangle, cases[i].name);
        cr_expect_eq(reading_warnings(r, "name_mismatch"), cases[i].mismatches, "%s", cases[i].name);
        cr_expect_str_eq(r->file.format, "obj");
        reading_close(r);
    }
}

Test(io_format, content_of_many_groups_or_a_long_comment_is_still_obj)
{
    size_t bytes = 0;
    char *text = malloc(400000);
    text[bytes++] = '#';
    memset(text + bytes, 'a', 200000);
    bytes += 200000;
    text[bytes++] = '\n';
    for (int i = 0; i < 10000; i++)
        bytes += (size_t)sprintf(text + bytes, "g n%d\n", i);
    bytes += (size_t)sprintf(text + bytes, "%s", triangle);
    struct reading *r = reading_open(text, bytes, NULL, 8 << 20, 8 << 20);
    cr_expect(r->ok, "%s", r->refusal);
    reading_close(r);
    free(text);
}

Test(io_format, name_becomes_valid_utf8)
{
    static const struct {
        const char *name, *shown;
        size_t warned;
    } cases[] = {{"\xe2\x98\x83.obj", "\xe2\x98\x83.obj", 0},
                 {"caf\xe9.obj", "caf\xef\xbf\xbd.obj", 1},
                 {"\xc0\xaf.obj", "\xef\xbf\xbd\xef\xbf\xbd.obj", 1},                 /* overlong */
                 {"\xed\xa0\x80.obj", "\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd.obj", 1}, /* surrogate */
                 {"\xf4\x90\x80\x80.obj", "\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd.obj", 1},
                 {"../../etc/x.obj", "../../etc/x.obj", 0}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct reading *r = reading_of(triangle, cases[i].name);
        cr_expect_str_eq(r->file.name, cases[i].shown);
        cr_expect_eq(reading_warnings(r, "name_not_utf8"), cases[i].warned, "case %zu", i);
        reading_close(r);
    }
}

Test(io_format, name_is_cut_between_characters)
{
    char name[2 * MESH_FILE_NAME_SIZE];
    for (size_t i = 0; i < sizeof name - 1; i += 2)
        memcpy(name + i, "\xc3\xa9", 2);
    name[sizeof name - 2] = '\0';
    struct reading *r = reading_of(triangle, name);
    cr_expect_eq(strlen(r->file.name), MESH_FILE_NAME_SIZE - 2); /* 511 whole characters */
    reading_close(r);
}

Test(io_format, packed_files_are_read_and_said_where_the_name_does_not_say_it)
{
    char packed[1000];
    size_t bytes = gzip(triangle, sizeof triangle - 1, packed, sizeof packed);
    for (int zstd = 0; zstd < 2; zstd++) {
        if (zstd)
            bytes = ZSTD_compress(packed, sizeof packed, triangle, sizeof triangle - 1, 3);
        static const char *const names[2][2] = {{"a.obj", "a.obj.gz"}, {"a.obj", "a.obj.zst"}};
        for (int n = 0; n < 2; n++) {
            struct reading *r = reading_open(packed, bytes, names[zstd][n], 4 << 20, 8 << 20);
            cr_assert(r->ok, "%s", r->refusal);
            cr_expect_str_eq(r->file.compression, zstd ? "zstd" : "gzip");
            cr_expect_eq(r->file.bytes, bytes);
            cr_expect_eq(r->file.inflated_bytes, sizeof triangle - 1);
            cr_expect_eq(reading_warnings(r, "compressed"), (size_t)(n == 0));
            cr_expect_eq(r->mesh.face_count, 1);
            reading_close(r);
        }
    }
}

Test(io_format, packed_in_several_members_is_one_file)
{
    char packed[1000];
    size_t half = 16;
    size_t bytes = gzip(triangle, half, packed, sizeof packed);
    bytes += gzip(triangle + half, sizeof triangle - 1 - half, packed + bytes, sizeof packed - bytes);
    struct reading *r = reading_open(packed, bytes, "a.obj.gz", 4 << 20, 8 << 20);
    cr_expect(r->ok, "%s", r->refusal);
    cr_expect_eq(r->file.inflated_bytes, sizeof triangle - 1);
    reading_close(r);

    memcpy(packed + bytes, "tail", 4);
    r = reading_open(packed, bytes + 4, "a.obj.gz", 4 << 20, 8 << 20);
    cr_expect(r->ok, "%s", r->refusal);
    cr_expect_eq(reading_warnings(r, "trailing_data"), 1);
    reading_close(r);

    bytes = ZSTD_compress(packed, sizeof packed, triangle, half, 3);
    bytes +=
        ZSTD_compress(packed + bytes, sizeof packed - bytes, triangle + half, sizeof triangle - 1 - half, 3);
    r = reading_open(packed, bytes, "a.obj.zst", 4 << 20, 8 << 20);
    cr_expect(r->ok, "%s", r->refusal);
    cr_expect_eq(r->file.inflated_bytes, sizeof triangle - 1);
    reading_close(r);
}

/* 64 MiB of blanks pack a thousand to one: refused at 200 times the size, not after all of it. */
Test(io_format, packed_bombs_stop_at_200_to_1)
{
    size_t count = 64 << 20, room = 1 << 20;
    char *blanks = malloc(count), *packed = malloc(room);
    memset(blanks, '\n', count);
    memcpy(blanks, triangle, sizeof triangle - 1);
    for (int zstd = 0; zstd < 2; zstd++) {
        size_t bytes =
            zstd ? ZSTD_compress(packed, room, blanks, count, 3) : gzip(blanks, count, packed, room);
        struct reading *r = reading_open(packed, bytes, "a.obj", 4 << 20, (size_t)1 << 30);
        cr_expect(strncmp(r->refusal, zstd ? "reject-limit: ZSTD: byte " : "reject-limit: GZIP: byte ", 25)
                      == 0,
                  "%s", r->refusal);
        reading_close(r);
    }
    free(blanks);
    free(packed);
}

Test(io_format, packed_twice_is_refused)
{
    char once[1000], twice[1000];
    size_t bytes = gzip(triangle, sizeof triangle - 1, once, sizeof once);
    bytes = gzip(once, bytes, twice, sizeof twice);
    struct reading *r = reading_open(twice, bytes, "a.obj.gz", 4 << 20, 8 << 20);
    cr_expect(strncmp(r->refusal, "reject-type: GZIP: byte 0: the content is compressed twice", 58) == 0,
              "%s", r->refusal);
    reading_close(r);
}

Test(io_format, packed_and_damaged_is_refused)
{
    char packed[1000];
    for (int zstd = 0; zstd < 2; zstd++) {
        size_t bytes = zstd ? ZSTD_compress(packed, sizeof packed, triangle, sizeof triangle - 1, 3)
                            : gzip(triangle, sizeof triangle - 1, packed, sizeof packed);
        for (size_t cut = 4; cut < bytes; cut++) {
            struct reading *r = reading_open(packed, cut, "a.obj", 4 << 20, 8 << 20);
            cr_expect(r->err.code == ERROR_SYNTAX, "cut at %zu of %zu: %s", cut, bytes, r->refusal);
            reading_close(r);
        }
    }
    size_t bytes = gzip(triangle, sizeof triangle - 1, packed, sizeof packed);
    packed[bytes - 6] ^= 1; /* within the CRC-32 */
    struct reading *r = reading_open(packed, bytes, "a.obj", 4 << 20, 8 << 20);
    cr_expect(strncmp(r->refusal, "reject-syntax: GZIP: byte ", 26) == 0, "%s", r->refusal);
    reading_close(r);
}
