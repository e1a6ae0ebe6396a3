/* stl_binary.c - binary STL: 80 bytes of header, a 32-bit count, 50 bytes a facet, all little-endian. */
#include "io/stl.h"

#include "base/tasks.h"

#include <stdatomic.h>
#include <string.h>

enum { HEADER = 80, PREAMBLE = 84, VECTOR = 12, FACET = 50 };
enum { PART_FACETS = 32768, PARTS_MAX = 16 };

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

/* Facets that are read at the same time as others, into arrays of their own. */
struct part {
    struct parts *all;
    struct source source; /* with the part's own progress */
    struct progress progress;
    size_t first, count;
    struct arena scratch;
    struct error err;
    bool done;
};

struct parts {
    const struct source *source;
    size_t count;
    struct part part[PARTS_MAX];
    struct stl_mesh stl[PARTS_MAX];
    atomic_bool stopped; /* the rest need not be read: the listener or the first part says so */
};

/* The first part tells for all, so that the listener hears one thread at a time. */
static bool tell(void *context, const char *stage, double fraction)
{
    struct part *part = context;
    struct parts *all = part->all;
    if (part->first == 0 && !progress_tell(all->source->progress, stage, fraction))
        all->stopped = true;
    return !all->stopped;
}

static const char *facet_at(const char *begin, size_t facet)
{
    return begin + PREAMBLE + facet * FACET;
}

static bool is_finite(vec3 p)
{
    return isfinite(p.x) && isfinite(p.y) && isfinite(p.z);
}

bool stl_binary_decode(const char *begin, size_t first, size_t facets, vec3 *normals, vec3 *corners)
{
    const char *at = facet_at(begin, first);
    bool finite = true;
    for (size_t f = 0; f < facets; f++, at += FACET) {
        normals[f] = read_vec3(at);
        for (size_t k = 0; k < 3; k++) {
            vec3 corner = read_vec3(at + VECTOR * (k + 1));
            finite &= is_finite(corner);
            corners[3 * f + k] = corner;
        }
    }
    return finite;
}

/* The first of the corners that is not finite; the facets begin with `first`. */
static bool refuse_corner(const struct part *part, size_t first, const vec3 *corners, struct error *err)
{
    size_t c = 0;
    while (is_finite(corners[c]))
        c++;
    size_t facet = first + c / 3;
    const char *corner = facet_at(part->source.begin, facet) + VECTOR * (c % 3 + 1);
    return error_set_byte(err, ERROR_DATA, "stl", source_byte(&part->source, corner),
                          "a corner of facet %zu is not finite; remove or mend that place", facet);
}

static bool read_facets(struct part *part, struct stl_mesh *stl, size_t facets)
{
    vec3 normals[STL_AT_ONCE], corners[3 * STL_AT_ONCE];
    size_t first = part->first + stl->facet_count;
    if (!stl_binary_decode(part->source.begin, first, facets, normals, corners))
        return refuse_corner(part, first, corners, &part->err);
    return stl_mesh_add(stl, normals, corners, facets, &part->scratch, &part->err);
}

static void read_part(void *context, size_t i)
{
    struct parts *all = context;
    struct part *part = &all->part[i];
    const char *tell_at = facet_at(part->source.begin, part->first);

    for (size_t f = 0; f < part->count; f += STL_AT_ONCE) {
        const char *at = facet_at(part->source.begin, part->first + f);
        size_t facets = part->count - f < STL_AT_ONCE ? part->count - f : STL_AT_ONCE;
        if (!source_pass(&part->source, at, &tell_at, &part->err)
            || !read_facets(part, &all->stl[i], facets)) {
            all->stopped = all->stopped || i == 0;
            return;
        }
    }
    part->done = true;
}

/* Most that the arrays of one facet in a part take: 3 corners, 3 vertices, the table and those before it. */
enum { PART_BYTES_PER_FACET = 3 * 4 + 3 * 24 + 2 * 9 * 4, PART_BYTES_MORE = 65536 };

/* Where there is one part it takes scratch as it is. */
static bool begin_parts(struct parts *all, size_t facets, struct arena *keep, struct arena *scratch,
                        struct error *err)
{
    for (size_t i = 0; i < all->count; i++) {
        struct part *part = &all->part[i];
        *part = (struct part){.all = all, .source = *all->source, .progress = {tell, part}};
        part->source.progress = &part->progress;
        part->first = facets / all->count * i;
        part->count = (i + 1 == all->count ? facets : facets / all->count * (i + 1)) - part->first;
        size_t bytes = PART_BYTES_PER_FACET * part->count + PART_BYTES_MORE;
        if (all->count == 1)
            part->scratch = *scratch;
        else if (!arena_split(scratch, bytes, &part->scratch))
            return arena_error(err);
        if (!stl_mesh_begin(&all->stl[i], &part->source, part->count, 3 * (i == 0 ? facets : part->count),
                            i == 0 ? keep : &part->scratch, &part->scratch, err))
            return false;
        if (all->stl[i].facet_room < part->count)
            return arena_error(err);
    }
    return true;
}

static bool read_parts(struct parts *all, size_t facets, struct mesh *mesh, struct arena *keep,
                       struct arena scratch, struct error *err)
{
    if (!begin_parts(all, facets, keep, &scratch, err))
        return false;
    tasks_run(all->source->threads, all->count, read_part, all);
    for (size_t i = 0; i < all->count; i++)
        if (!all->part[i].done) {
            *err = all->part[i].err;
            return false;
        }
    if (all->count == 1)
        scratch = all->part[0].scratch;
    return stl_mesh_join(all->source, all->stl, all->count, mesh, keep, &scratch, err);
}

bool stl_binary_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
                     struct error *err)
{
    struct parts all = {.source = source};
    struct arena before = *keep;
    size_t count = 0;

    if (!check_size(source, &count, err))
        return false;
    note_foreign_signature(source);
    if (count > MESH_MAX_CORNERS / 3)
        return source_refuse_full(source, count, MESH_MAX_CORNERS / 3, "facets", err);

    size_t most = count / PART_FACETS < PARTS_MAX ? count / PART_FACETS : PARTS_MAX;
    all.count = source->threads < most ? source->threads : most;
    bool ok = all.count > 1 && read_parts(&all, count, mesh, keep, scratch, err);
    if (!ok && (all.count <= 1 || err->code == ERROR_LIMIT)) { /* in one part, also where memory is short */
        *keep = before;
        all = (struct parts){.source = source, .count = 1};
        ok = read_parts(&all, count, mesh, keep, scratch, err);
    }
    const char *end = facet_at(source->begin, count);
    if (ok && end < source->end)
        source_note_trailing(source, (size_t)(source->end - end));
    return ok;
}
