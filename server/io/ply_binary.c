/* ply_binary.c - the rows of a binary PLY of either byte order. */
#include "io/ply.h"

#include <math.h>
#include <string.h>

/* The unsigned value of size bytes. */
static uint64_t read_bits(const char *at, size_t size, bool big)
{
    const unsigned char *byte = (const unsigned char *)at;
    uint64_t bits = 0;
    for (size_t i = 0; i < size; i++)
        bits |= (uint64_t)byte[i] << 8 * (big ? size - 1 - i : i);
    return bits;
}

static int64_t read_integer(const char *at, enum ply_type type, bool big)
{
    uint64_t bits = read_bits(at, ply_type_size[type], big);
    switch (type) {
    case PLY_INT8:
        return (int8_t)bits;
    case PLY_INT16:
        return (int16_t)bits;
    case PLY_INT32:
        return (int32_t)bits;
    default:
        return (int64_t)bits; /* unsigned, at most 32 bits */
    }
}

static double read_scalar(const char *at, enum ply_type type, bool big)
{
    uint64_t bits = read_bits(at, ply_type_size[type], big);
    if (type == PLY_FLOAT64) {
        double value;
        memcpy(&value, &bits, sizeof value);
        return value;
    }
    if (type == PLY_FLOAT32) {
        uint32_t low = (uint32_t)bits;
        float value;
        memcpy(&value, &low, sizeof value);
        return (double)value;
    }
    return (double)read_integer(at, type, big);
}

static const char *refuse_short(const struct ply_body *body, const struct ply_element *element, size_t row,
                                struct error *err)
{
    error_set_byte(err, ERROR_SYNTAX, "ply", source_byte(body->source, body->source->end),
                   "the file ends within row %zu of the %zu rows of %.*s; it is cut short: export it again",
                   row, element->count, (int)(element->name_size < 32 ? element->name_size : 32),
                   element->name);
    return NULL;
}

/* The indices of one face at `at`, all known to be within the file. */
static bool read_indices(struct ply_body *body, enum ply_type type, const char *at, size_t length,
                         struct error *err)
{
    bool big = body->header->form == PLY_BIG;
    size_t size = ply_type_size[type];

    if (length > MESH_MAX_FACE_CORNERS)
        return error_set_byte(err, ERROR_LIMIT, "ply", source_byte(body->source, at),
                              "a face has more than %zu corners; split it", MESH_MAX_FACE_CORNERS);
    if (!ply_body_reserve(body, length, err))
        return false;
    uint32_t *corners = body->mesh->face_vertices + body->corner_count;
    for (size_t c = 0; c < length; c++, at += size) {
        int64_t index = read_integer(at, type, big);
        if (index < 0 || (uint64_t)index >= body->mesh->vertex_count)
            return error_set_byte(
                err, ERROR_DATA, "ply", source_byte(body->source, at),
                "a face names vertex %lld, but the file has %zu vertices, numbered from 0; export it again",
                (long long)index, body->mesh->vertex_count);
        corners[c] = (uint32_t)index;
    }
    return true;
}

/* One row that may hold lists; returns its end. */
static const char *read_row(struct ply_body *body, const struct ply_element *element, size_t row,
                            const char *at, vec3 *position, size_t *corners, struct error *err)
{
    const char *end = body->source->end;
    bool big = body->header->form == PLY_BIG;

    for (size_t p = 0; p < element->property_count; p++) {
        const struct ply_property *property = &element->properties[p];
        size_t size = ply_type_size[property->type], length = 1;
        if (property->length_type) {
            size_t length_size = ply_type_size[property->length_type];
            if ((size_t)(end - at) < length_size)
                return refuse_short(body, element, row, err);
            int64_t stored = read_integer(at, property->length_type, big);
            if (stored < 0) {
                error_set_byte(err, ERROR_SYNTAX, "ply", source_byte(body->source, at),
                               "a list has a negative length; the file is damaged: export it again");
                return NULL;
            }
            length = (size_t)stored;
            at += length_size;
        }
        if (length > (size_t)(end - at) / size)
            return refuse_short(body, element, row, err);
        if (property->role == PLY_INDICES) {
            if (!read_indices(body, property->type, at, length, err))
                return NULL;
            *corners = length;
        } else if (property->role != PLY_SKIPPED) {
            double value = read_scalar(at, property->type, big);
            *(property->role == PLY_X   ? &position->x
              : property->role == PLY_Y ? &position->y
                                        : &position->z) = value;
        }
        at += length * size;
    }
    return at;
}

bool ply_binary_read(struct ply_body *body, struct error *err)
{
    const struct source *source = body->source;
    const char *at = body->header->body, *tell_at = at;

    for (size_t e = 0; e < body->header->element_count; e++) {
        const struct ply_element *element = &body->header->elements[e];
        bool settled;
        if (!ply_rows_read(body, element, &at, &settled, err))
            return false;
        if (settled)
            continue;
        for (size_t row = 0; row < element->count; row++) {
            const char *start = at;
            vec3 position = {0.0, 0.0, 0.0};
            size_t corners = 0;
            if (!source_pass(source, at, &tell_at, err)
                || !(at = read_row(body, element, row, start, &position, &corners, err)))
                return false;
            if (element == body->header->face) {
                ply_body_add_face(body, corners);
            } else if (element == body->header->vertex) {
                if (!isfinite(position.x) || !isfinite(position.y) || !isfinite(position.z))
                    return error_set_byte(err, ERROR_DATA, "ply", source_byte(source, start),
                                          "vertex %zu is not finite; remove or mend that place", row);
                body->mesh->positions[row] = position;
            }
        }
    }
    if (at < source->end)
        source_note_trailing(source, (size_t)(source->end - at));
    return true;
}
