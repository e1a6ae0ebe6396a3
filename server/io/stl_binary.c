/* stl_binary.c - binary STL: 80 bytes of header, a 32-bit count, 50 bytes a facet, all little-endian. */
#include "io/stl.h"

#include <string.h>

enum { HEADER = 80, PREAMBLE = 84, FACET = 50 };

static uint32_t read_u32(const char *at)
{
    const unsigned char *byte = (const unsigned char *)at;
    return (uint32_t)byte[0] | (uint32_t)byte[1] << 8 | (uint32_t)byte[2] << 16 | (uint32_t)byte[3] << 24;
}

static double read_float(const char *at)
{
    uint32_t bits = read_u32(at);
    float value;
    memcpy(&value, &bits, sizeof value);
    return (double)value;
}

static vec3 read_vec3(const char *at)
{
    return (vec3){read_float(at), read_float(at + 4), read_float(at + 8)};
}

bool stl_binary_fits(const char *begin, size_t bytes)
{
    return bytes > PREAMBLE && bytes == PREAMBLE + (size_t)FACET * read_u32(begin + HEADER);
}

/* Headers that begin like another kind of file: legal, as the header may hold anything, but worth a word. */
static void note_foreign_signature(const struct source *source)
{
    static const struct {
        const char *signature, *name;
    } others[] = {{"GIF8", "a GIF image"},
                  {"%PDF", "a PDF document"},
                  {"\x89PNG", "a PNG image"},
                  {"\xff\xd8\xff", "a JPEG image"},
                  {"PK\x03\x04", "a zip archive"},
                  {"\x7f"
                   "ELF",
                   "a program"},
                  {"MZ", "a program"},
                  {"<html", "an HTML page"},
                  {"<!DOC", "an HTML page"}};
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (strncmp(source->begin, others[i].signature, strlen(others[i].signature)) == 0)
            warning_add(&source->file->warnings, "foreign_signature", 1,
                        "the header of the binary STL begins like %s; the facets were read", others[i].name);
}

static bool check_size(const struct source *source, size_t *count, struct error *err)
{
    size_t bytes = (size_t)(source->end - source->begin);

    if (bytes < PREAMBLE)
        return error_set_byte(err, ERROR_SYNTAX, "stl", bytes,
                              "the file ends within the 84-byte preamble of a binary STL; export it again");
    *count = read_u32(source->begin + HEADER);
    if (*count == 0)
        return error_set_byte(err, ERROR_EMPTY, "stl", HEADER,
                              "the facet count is 0%s; there is nothing to measure",
                              bytes > PREAMBLE ? ", though data follow" : "");
    if (*count > (bytes - PREAMBLE) / FACET)
        return error_set_byte(err, ERROR_SYNTAX, "stl", HEADER,
                              "the header promises %zu facets, the file has room for %zu%s; export it again",
                              *count, (bytes - PREAMBLE) / FACET,
                              source->text > source->begin ? " (a byte-order mark shifts all records)" : "");
    return true;
}

bool stl_binary_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
                     struct error *err)
{
    struct stl_mesh stl;
    size_t count = 0;

    if (!check_size(source, &count, err))
        return false;
    note_foreign_signature(source);
    if (count > MESH_MAX_CORNERS / 3)
        return source_refuse_full(source, count, MESH_MAX_CORNERS / 3, "facets", err);
    if (!stl_mesh_begin(&stl, source, count, keep, &scratch, err))
        return false;

    const char *at = source->begin + PREAMBLE, *tell_at = at;
    for (size_t f = 0; f < count; f++, at += FACET) {
        vec3 corners[3];
        if (!source_pass(source, at, &tell_at, err))
            return false;
        for (size_t c = 0; c < 3; c++) {
            corners[c] = read_vec3(at + 12 + 12 * c);
            if (!isfinite(corners[c].x) || !isfinite(corners[c].y) || !isfinite(corners[c].z))
                return error_set_byte(err, ERROR_DATA, "stl", source_byte(source, at + 12 + 12 * c),
                                      "a corner of facet %zu is not finite; remove or mend that place", f);
        }
        if (!stl_mesh_add(&stl, read_vec3(at), corners, &scratch, err))
            return false;
    }
    if (at < source->end)
        source_note_trailing(source, (size_t)(source->end - at));
    return stl_mesh_end(&stl, mesh, keep, err);
}
