/* mesh_bytes.c - inflate, tell the format, read, and note what the coordinates and the name say. */
#include "io/mesh_bytes.h"

#include "base/tasks.h"
#include "io/format.h"
#include "io/inflate.h"
#include "io/obj.h"
#include "io/off.h"
#include "io/ply.h"
#include "io/stl.h"
#include "io/text.h"

#include <assert.h>
#include <float.h>
#include <string.h>

/* Shares of the vertices that threads look at; so few vertices are not worth a second thread. */
enum { CHUNKS = 16, ALONE_VERTICES = 1 << 16 };

typedef bool reader(const struct source *, struct mesh *, struct arena *, struct arena, struct error *);

static const struct {
    const char *family; /* as names and errors say it */
    const char *format; /* as the record says it; PLY tells its own form */
    reader *read;
} formats[] = {
    [FORMAT_OBJ] = {"obj", "obj", obj_read},
    [FORMAT_STL_BINARY] = {"stl", "stl-binary", stl_binary_read},
    [FORMAT_STL_ASCII] = {"stl", "stl-ascii", stl_ascii_read},
    [FORMAT_PLY] = {"ply", NULL, ply_read},
    [FORMAT_OFF] = {"off", "off", off_read},
};

/* The first 16 hex digits of the digest. */
static uint64_t seed_of(const char *sha256)
{
    uint64_t seed = 0;
    for (int i = 0; i < 16 && sha256[i]; i++)
        seed = seed << 4 | (uint64_t)(sha256[i] <= '9' ? sha256[i] - '0' : sha256[i] - 'a' + 10);
    return seed;
}

static void note_name(const char *name, const char *family, struct mesh_file *file)
{
    const char *said = format_of_name(name);
    enum format ending = format_compression_of_name(name);

    if (said && strcmp(said, family) != 0)
        warning_add(&file->warnings, "name_mismatch", 1,
                    "the file is named %s but its content is %s; read by content", said, family);
    if (file->compression && ending != (strcmp(file->compression, "gzip") == 0 ? FORMAT_GZIP : FORMAT_ZSTD))
        warning_add(&file->warnings, "compressed", 1,
                    "the content is %s-compressed, which the name does not say; it was inflated and read",
                    file->compression);
    if (!file->compression && ending != FORMAT_NONE)
        warning_add(&file->warnings, "name_mismatch", 1, "the name says compressed, but the content is not");
}

/* Magnitudes of coordinates, compared by their bits, which ascend with them. */
struct extremes {
    uint64_t largest, least_less_one; /* so 0 is above all */
};

struct search {
    const struct mesh *mesh;
    struct extremes found[CHUNKS]; /* in each share of the vertices */
};

static struct extremes extremes_join(struct extremes a, struct extremes b)
{
    return (struct extremes){a.largest > b.largest ? a.largest : b.largest,
                             a.least_less_one < b.least_less_one ? a.least_less_one : b.least_less_one};
}

static const struct extremes no_extremes = {0, 0x7ff0000000000000 - 1};

static void search_chunk(void *context, size_t chunk)
{
    struct search *search = context;
    const struct mesh *mesh = search->mesh;
    size_t share = tasks_chunks(mesh->vertex_count, CHUNKS), begin = chunk * share;
    size_t end = begin + share < mesh->vertex_count ? begin + share : mesh->vertex_count;
    struct extremes found = no_extremes;
    for (size_t v = begin; v < end; v++) {
        uint64_t bits[3];
        memcpy(bits, &mesh->positions[v], sizeof bits);
        for (size_t i = 0; i < 3; i++) {
            uint64_t magnitude = bits[i] << 1 >> 1;
            found = extremes_join(found, (struct extremes){magnitude, magnitude - 1});
        }
    }
    search->found[chunk] = found;
}

/* The largest magnitude of a coordinate, and the smallest that is not 0 (infinite where all are). */
static void find_extremes(const struct mesh *mesh, size_t threads, double *largest, double *smallest)
{
    struct search search = {.mesh = mesh};
    struct extremes all = no_extremes;
    tasks_run(mesh->vertex_count < ALONE_VERTICES ? 1 : threads, CHUNKS, search_chunk, &search);
    for (size_t chunk = 0; chunk < CHUNKS; chunk++)
        all = extremes_join(all, search.found[chunk]);
    uint64_t least = all.least_less_one + 1;
    memcpy(largest, &all.largest, sizeof all.largest);
    memcpy(smallest, &least, sizeof least);
}

static double largest_of(vec3 p)
{
    return fmax(fmax(fabs(p.x), fabs(p.y)), fabs(p.z));
}

static size_t count_subnormal(vec3 p, double smallest_normal)
{
    return (size_t)((p.x != 0.0 && fabs(p.x) < smallest_normal) + (p.y != 0.0 && fabs(p.y) < smallest_normal)
                    + (p.z != 0.0 && fabs(p.z) < smallest_normal));
}

/* Coordinates whose products lose range. Subnormal: in single precision where the format stores that, else in
 * double. Extreme: the squares of the largest leave the range of single precision (sqrt of FLT_MAX, FLT_MIN).
 */
static void note_coordinates(const struct mesh *mesh, size_t threads, struct mesh_file *file)
{
    double smallest_normal = strcmp(file->format, "stl-binary") == 0 ? (double)FLT_MIN : DBL_MIN;
    const double too_large = 1.8446743e19, too_small = 1.0842022e-19;
    size_t subnormal = 0, extreme = 0;
    double largest, smallest;

    find_extremes(mesh, threads, &largest, &smallest);
    if (largest <= too_large && largest >= too_small && smallest >= smallest_normal)
        return;
    for (size_t v = 0; v < mesh->vertex_count; v++) {
        extreme += largest_of(mesh->positions[v]) > too_large;
        subnormal += count_subnormal(mesh->positions[v], smallest_normal);
    }
    if (subnormal)
        warning_add(
            &file->warnings, "subnormal_coordinates", subnormal,
            "coordinates are so small that the number format holds fewer digits of them; scale the mesh");
    if (extreme)
        warning_add(&file->warnings, "extreme_coordinates", extreme,
                    "vertices lie farther than 1.8e19 from the origin; check the units, areas may overflow");
    else if (largest > 0.0 && largest < too_small)
        warning_add(&file->warnings, "extreme_coordinates", mesh->vertex_count,
                    "all coordinates are below 1.1e-19; check the units, areas may underflow");
}

static bool read_plain(const char *begin, size_t bytes, const char *name, enum format format, size_t threads,
                       const struct progress *progress, struct mesh *mesh, struct mesh_file *file,
                       struct arena *keep, struct arena scratch, struct error *err)
{
    struct source source = {.begin = begin,
                            .end = begin + bytes,
                            .text = begin + format_mark_bytes(begin, bytes),
                            .format = formats[format].family,
                            .threads = threads,
                            .seed = seed_of(file->sha256),
                            .progress = progress,
                            .file = file};

    note_name(name, source.format, file);
    file->format = formats[format].format;
    mesh->creases = (struct creases){0};
    if (!formats[format].read(&source, mesh, keep, scratch, err))
        return false;
    assert(mesh_is_valid(mesh));
    note_coordinates(mesh, threads, file);
    return true;
}

/* Counts and text of the file start afresh; the digest stays. */
static void begin_file(const char *name, size_t bytes, struct mesh_file *file)
{
    file->bytes = file->inflated_bytes = bytes;
    file->compression = file->format = NULL;
    file->merged_vertices = file->dropped_faces = 0;
    file->warnings.count = 0;
    if (!text_copy_utf8(name ? name : "", file->name, sizeof file->name))
        warning_add(&file->warnings, "name_not_utf8", 1,
                    "the file's name is not UTF-8; its odd bytes are shown as U+FFFD");
}

bool mesh_bytes_read(const char *begin, size_t bytes, const char *name, size_t threads,
                     const struct progress *progress, struct mesh *mesh, struct mesh_file *file,
                     struct arena *keep, struct arena scratch, struct error *err)
{
    enum format format;
    struct inflated inflated;

    *mesh = (struct mesh){.vertex_count = 0};
    begin_file(name, bytes, file);
    if (!format_detect(begin, bytes, name, &format, err))
        return false;
    if (format == FORMAT_GZIP || format == FORMAT_ZSTD) {
        file->compression = format == FORMAT_GZIP ? "gzip" : "zstd";
        if (!inflate_bytes(begin, bytes, format, progress, &inflated, &scratch, err))
            return false;
        file->inflated_bytes = inflated.bytes;
        if (inflated.trailing_bytes)
            warning_add(&file->warnings, "trailing_data", 1,
                        "%zu bytes follow the compressed data and were not read", inflated.trailing_bytes);
        begin = inflated.begin;
        bytes = inflated.bytes;
        if (!format_detect(begin, bytes, name, &format, err))
            return false;
        if (format == FORMAT_GZIP || format == FORMAT_ZSTD)
            return error_set_byte(err, ERROR_TYPE, file->compression, 0,
                                  "the content is compressed twice; compress the mesh once");
    }
    return read_plain(begin, bytes, name, format, threads, progress, mesh, file, keep, scratch, err);
}
