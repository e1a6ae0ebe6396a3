/* ply_rows.c - binary rows that all have the same size, read by several threads without looking at each type.
 *
 * Vertices of scalars whose x, y and z are all float or all double; faces that are one list of 32-bit indices
 * with an 8-bit length, all of the length of the first. Whatever differs, errors included, is left to
 * ply_binary.c, which reads the element anew. */
#include "io/ply.h"

#include "base/tasks.h"

#include <stdatomic.h>
#include <string.h>

enum { CHUNK_ROWS = 16384, CHUNKS_AT_ONCE = 16, CORNERS_MAX = 255 };

struct rows {
    struct ply_body *body;
    const char *at; /* of the row `begin` */
    size_t begin, end;
    size_t row_bytes;
    bool big, wide;   /* byte order; double instead of float */
    size_t offset[3]; /* of x, y and z in a row */
    size_t corners;   /* of each face */
    atomic_bool odd;  /* something is to be read anew */
};

static double read_float(const char *at, bool big)
{
    uint32_t bits;
    float value;
    memcpy(&bits, at, sizeof bits);
    bits = big ? __builtin_bswap32(bits) : bits;
    memcpy(&value, &bits, sizeof value);
    return (double)value;
}

static double read_double(const char *at, bool big)
{
    uint64_t bits;
    double value;
    memcpy(&bits, at, sizeof bits);
    bits = big ? __builtin_bswap64(bits) : bits;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static size_t chunk_end(const struct rows *rows, size_t begin)
{
    return rows->end - begin < CHUNK_ROWS ? rows->end : begin + CHUNK_ROWS;
}

static void read_vertices(void *context, size_t chunk)
{
    struct rows *rows = context;
    size_t begin = rows->begin + chunk * CHUNK_ROWS, end = chunk_end(rows, begin);
    const char *at = rows->at + chunk * CHUNK_ROWS * rows->row_bytes;
    bool odd = false;
    for (size_t row = begin; row < end; row++, at += rows->row_bytes) {
        vec3 p = rows->wide ? (vec3){read_double(at + rows->offset[0], rows->big),
                                     read_double(at + rows->offset[1], rows->big),
                                     read_double(at + rows->offset[2], rows->big)}
                            : (vec3){read_float(at + rows->offset[0], rows->big),
                                     read_float(at + rows->offset[1], rows->big),
                                     read_float(at + rows->offset[2], rows->big)};
        odd |= !isfinite(p.x) | !isfinite(p.y) | !isfinite(p.z);
        rows->body->mesh->positions[row] = p;
    }
    if (odd)
        rows->odd = true;
}

/* Rows begin to end; true when they hold something else. With corners known here to the compiler, a row takes
 * a few instructions. */
static inline __attribute__((always_inline)) bool read_face_rows(const struct rows *rows, size_t begin,
                                                                 size_t end, const char *at, size_t corners)
{
    struct mesh *mesh = rows->body->mesh;
    uint32_t highest = 0, *out = mesh->face_vertices + begin * corners, *offsets = mesh->face_offsets;
    unsigned odd = 0;
    for (size_t row = begin; row < end; row++, at += 1 + 4 * corners) {
        odd |= (unsigned char)*at ^ (unsigned)corners;
        for (size_t c = 0; c < corners; c++) {
            uint32_t index;
            memcpy(&index, at + 1 + 4 * c, sizeof index);
            index = rows->big ? __builtin_bswap32(index) : index;
            highest = index > highest ? index : highest;
            *out++ = index;
        }
        offsets[row + 1] = (uint32_t)((row + 1) * corners);
    }
    return odd || highest >= mesh->vertex_count; /* a negative index is above all vertices as well */
}

static void read_faces(void *context, size_t chunk)
{
    struct rows *rows = context;
    size_t begin = rows->begin + chunk * CHUNK_ROWS, end = chunk_end(rows, begin);
    const char *at = rows->at + chunk * CHUNK_ROWS * rows->row_bytes;
    if (rows->corners == 3   ? read_face_rows(rows, begin, end, at, 3)
        : rows->corners == 4 ? read_face_rows(rows, begin, end, at, 4)
                             : read_face_rows(rows, begin, end, at, rows->corners))
        rows->odd = true;
}

/* True when the element is of vertices that read_vertices can read. */
static bool are_plain_vertices(const struct ply_element *element, struct rows *rows)
{
    enum ply_type type = PLY_NONE;
    for (size_t p = 0; p < element->property_count; p++) {
        const struct ply_property *property = &element->properties[p];
        if (property->role == PLY_X || property->role == PLY_Y || property->role == PLY_Z) {
            if (type != PLY_NONE && property->type != type)
                return false;
            type = property->type;
            rows->offset[property->role - PLY_X] = rows->row_bytes;
        }
        rows->row_bytes += ply_type_size[property->type];
    }
    rows->wide = type == PLY_FLOAT64;
    return !element->has_list && (type == PLY_FLOAT32 || type == PLY_FLOAT64);
}

/* The same for faces; the first tells how many corners all are to have. */
static bool are_plain_faces(const struct ply_element *element, const char *at, const char *end,
                            struct rows *rows)
{
    const struct ply_property *list = &element->properties[0];
    if (element->property_count != 1 || list->role != PLY_INDICES || at == end
        || (list->length_type != PLY_UINT8 && list->length_type != PLY_INT8)
        || (list->type != PLY_INT32 && list->type != PLY_UINT32))
        return false;
    rows->corners = (unsigned char)*at;
    rows->row_bytes = 1 + 4 * rows->corners;
    return rows->corners >= 3 && rows->corners <= CORNERS_MAX / 2; /* below 128 both length types agree */
}

bool ply_rows_read(struct ply_body *body, const struct ply_element *element, const char **at, bool *settled,
                   struct error *err)
{
    const struct source *source = body->source;
    bool faces = element == body->header->face;
    struct rows rows = {.body = body, .at = *at, .big = body->header->form == PLY_BIG};

    *settled = false;
    if (faces ? !are_plain_faces(element, *at, source->end, &rows)
              : element != body->header->vertex || !are_plain_vertices(element, &rows))
        return true;
    if (element->count > (size_t)(source->end - *at) / rows.row_bytes
        || (faces && body->corner_room / rows.corners < element->count))
        return true;
    rows.end = element->count;
    while (rows.begin < rows.end && !rows.odd) {
        size_t chunks = tasks_chunks(rows.end - rows.begin, CHUNK_ROWS);
        chunks = chunks < CHUNKS_AT_ONCE ? chunks : CHUNKS_AT_ONCE;
        if (!source_tell(source, rows.at, err))
            return false;
        tasks_run(source->threads, chunks, faces ? read_faces : read_vertices, &rows);
        size_t done =
            rows.end - rows.begin < chunks * CHUNK_ROWS ? rows.end - rows.begin : chunks * CHUNK_ROWS;
        rows.begin += done;
        rows.at += done * rows.row_bytes;
    }
    if (rows.odd)
        return true;
    if (faces) {
        body->mesh->face_count = element->count;
        body->corner_count = element->count * rows.corners;
    }
    *at = rows.at;
    *settled = true;
    return true;
}
