/* stl_binary.c - binary STL: 80 bytes of header, a 32-bit count, 50 bytes a facet, all little-endian. */
#include "io/stl.h"

#include <string.h>

enum { HEADER = 80, PREAMBLE = 84, FACET = 50, AT_ONCE = 16 };

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

/* Some facets at a time: where their corners are in the table of vertices is asked of memory for all of them
 * before the first is waited for. */
static bool read_facets(struct stl_mesh *stl, const char *at, size_t first, size_t facets,
                        struct arena *scratch, struct error *err)
{
    vec3 corners[3 * AT_ONCE];
    uint64_t hashes[3 * AT_ONCE];
    for (size_t i = 0; i < 3 * facets; i++) {
        const char *corner = at + i / 3 * FACET + 12 + i % 3 * 12;
        corners[i] = weld_point(read_vec3(corner));
        if (!isfinite(corners[i].x) || !isfinite(corners[i].y) || !isfinite(corners[i].z))
            return error_set_byte(err, ERROR_DATA, "stl", source_byte(stl->source, corner),
                                  "a corner of facet %zu is not finite; remove or mend that place",
                                  first + i / 3);
        hashes[i] = weld_hash(&stl->weld, corners[i]);
        weld_expect_slot(&stl->weld, hashes[i]);
    }
    for (size_t i = 0; i < 3 * facets; i++)
        weld_expect_vertex(&stl->weld, hashes[i]);
    for (size_t f = 0; f < facets; f++)
        if (!stl_mesh_add_hashed(stl, read_vec3(at + f * FACET), corners + 3 * f, hashes + 3 * f, scratch,
                                 err))
            return false;
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
    for (size_t f = 0; f < count; f += AT_ONCE, at += AT_ONCE * FACET) {
        size_t facets = count - f < AT_ONCE ? count - f : AT_ONCE;
        if (!source_pass(source, at, &tell_at, err) || !read_facets(&stl, at, f, facets, &scratch, err))
            return false;
    }
    at = source->begin + PREAMBLE + count * FACET;
    if (at < source->end)
        source_note_trailing(source, (size_t)(source->end - at));
    return stl_mesh_end(&stl, mesh, keep, err);
}
