/* ply_ascii.c - the rows of an ASCII PLY: one line each, every value checked against its declared kind. */
#include "io/ply.h"

#include "io/text.h"

static bool is_row_end(const char *at, const char *end)
{
    return at == end || text_is_eol(*at);
}

/* The next value of the row; NULL where the row has no more. */
static const char *next_value(const struct ply_body *body, const char *at, struct error *err)
{
    const char *end = body->source->end;

    at = text_skip_blank(at, end);
    if (!is_row_end(at, end))
        return at;
    error_set_line(err, ERROR_SYNTAX, "ply", source_line(body->source, at), "%s",
                   at == end
                       ? "the file ends before the last row that its header promises; export it again"
                       : "the row has fewer values than its element has properties; export the file again");
    return NULL;
}

static const char *refuse_integer(const struct ply_body *body, const char *at, struct error *err)
{
    struct text_quote quote = text_quote(at, body->source->end);
    error_set_line(err, ERROR_SYNTAX, "ply", source_line(body->source, at),
                   "'%s' stands where a list needs a whole number", quote.text);
    return NULL;
}

/* The index at `at` into *vertex. */
static const char *read_index(const struct ply_body *body, const char *at, uint32_t *vertex,
                              struct error *err)
{
    int64_t index;
    const char *next = text_whole_integer(at, body->source->end, &index);

    if (!next)
        return refuse_integer(body, at, err);
    if (index < 0 || (uint64_t)index >= body->mesh->vertex_count) {
        struct text_quote quote = text_quote(at, body->source->end);
        error_set_line(
            err, ERROR_DATA, "ply", source_line(body->source, at),
            "a face names vertex '%s', but the file has %zu vertices, numbered from 0; export it again",
            quote.text, body->mesh->vertex_count);
        return NULL;
    }
    *vertex = (uint32_t)index;
    return next;
}

/* A value that nobody reads may be infinite or NaN; *value is then not set. */
static const char *read_scalar(const struct ply_body *body, const struct ply_property *property,
                               const char *at, double *value, struct error *err)
{
    const char *end = body->source->end, *next = text_number(at, end, value);
    if (next)
        return next;
    const char *word_end = text_word_end(at, end);
    if (property->role == PLY_SKIPPED && text_is_not_finite(at, word_end))
        return word_end;
    text_refuse_number(body->source, at, property->role == PLY_SKIPPED ? "a value" : "a coordinate", err);
    return NULL;
}

static const char *read_list(struct ply_body *body, const struct ply_property *property, const char *at,
                             size_t *corners, struct error *err)
{
    const char *end = body->source->end, *start = at;
    int64_t length;
    double value;

    if (!(at = text_whole_integer(start, end, &length)))
        return refuse_integer(body, start, err);
    if (length < 0 || length > (end - at) / 2 + 1) {
        error_set_line(err, ERROR_SYNTAX, "ply", source_line(body->source, start),
                       length < 0 ? "a list has a negative length"
                                  : "a list is longer than what the file has left; it may be cut short");
        return NULL;
    }
    if (property->role == PLY_INDICES) {
        if ((size_t)length > MESH_MAX_FACE_CORNERS) {
            error_set_line(err, ERROR_LIMIT, "ply", source_line(body->source, start),
                           "a face has more than %zu corners; split it", MESH_MAX_FACE_CORNERS);
            return NULL;
        }
        if (!ply_body_reserve(body, (size_t)length, err))
            return NULL;
        *corners = (size_t)length;
    }
    for (int64_t i = 0; i < length; i++) {
        const char *word = next_value(body, at, err);
        if (!word)
            return NULL;
        if (property->role == PLY_INDICES)
            at = read_index(body, word, &body->mesh->face_vertices[body->corner_count + (size_t)i], err);
        else
            at = read_scalar(body, property, word, &value, err);
        if (!at)
            return NULL;
    }
    return at;
}

/* One row from its first value; returns the end of its line. */
static const char *read_row(struct ply_body *body, const struct ply_element *element, const char *at,
                            vec3 *position, size_t *corners, struct error *err)
{
    const char *end = body->source->end;
    double value = 0.0;

    for (size_t p = 0; p < element->property_count; p++) {
        const struct ply_property *property = &element->properties[p];
        const char *word = next_value(body, at, err);
        if (!word)
            return NULL;
        if (property->length_type) {
            if (!(at = read_list(body, property, word, corners, err)))
                return NULL;
            continue;
        }
        if (!(at = read_scalar(body, property, word, &value, err)))
            return NULL;
        if (property->role == PLY_X)
            position->x = value;
        else if (property->role == PLY_Y)
            position->y = value;
        else if (property->role == PLY_Z)
            position->z = value;
    }
    at = text_skip_blank(at, end);
    if (is_row_end(at, end))
        return at;
    struct text_quote quote = text_quote(at, end);
    error_set_line(err, ERROR_SYNTAX, "ply", source_line(body->source, at),
                   "the row goes on with '%s' behind its last property; export the file again", quote.text);
    return NULL;
}

bool ply_ascii_read(struct ply_body *body, struct error *err)
{
    const struct source *source = body->source;
    const char *at = body->header->body, *end = source->end, *tell_at = at;

    for (size_t e = 0; e < body->header->element_count; e++) {
        const struct ply_element *element = &body->header->elements[e];
        for (size_t row = 0; row < element->count; row++) {
            vec3 position = {0.0, 0.0, 0.0};
            size_t corners = 0;
            if (!source_pass(source, at, &tell_at, err))
                return false;
            if (!(at = read_row(body, element, text_skip_space(at, end), &position, &corners, err)))
                return false;
            if (element == body->header->vertex)
                body->mesh->positions[row] = position;
            else if (element == body->header->face)
                ply_body_add_face(body, corners);
        }
    }
    at = text_skip_space(at, end);
    if (at < end)
        source_note_trailing(source, (size_t)(end - at));
    return true;
}
