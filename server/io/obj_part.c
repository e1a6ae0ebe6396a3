/* obj_part.c - one pass over OBJ statements; see obj.h for what is read. */
#include "io/obj_part.h"

#include "io/obj_crease.h"
#include "io/obj_plain.h"
#include "io/text.h"

#include <string.h>

/* Corner forms: which of the optional parts are there. */
enum { FORM_TEXTURE = 1, FORM_NORMAL = 2 };

/* Blanks and continued line ends. */
static const char *skip_blank(const char *at, const char *end)
{
    for (;;) {
        at = text_skip_blank(at, end);
        if (end - at < 2 || *at != '\\' || !text_is_eol(at[1]))
            return at;
        at = text_next_line(at + 1, end);
    }
}

/* The line end that ends the statement, continued lines included. */
static const char *statement_end(const char *at, const char *end)
{
    for (;;) {
        const char *eol = text_eol(at, end);
        if (eol == end || eol == at || eol[-1] != '\\')
            return eol;
        at = text_next_line(eol, end);
    }
}

static bool is_statement_end(const char *at, const char *end)
{
    return at == end || text_is_eol(*at) || *at == '#';
}

static const char *refuse(const struct obj_part *part, const char *at, struct error *err, const char *text)
{
    error_set_line(err, ERROR_SYNTAX, "obj", source_line(part->source, at), "%s", text);
    return NULL;
}

static const char *refuse_full(struct obj_part *part, size_t count, size_t max, const char *what,
                               struct error *err)
{
    part->overflown = true;
    source_refuse_full(part->source, count, max, what, err);
    return NULL;
}

/* The readers of one statement begin behind its keyword and return its end, NULL with err on failure. */
static const char *read_vertex(struct obj_part *part, const char *at, struct error *err)
{
    const char *start = at, *end = part->end;
    double value[8];
    size_t count = 0;

    for (at = skip_blank(at, end); !is_statement_end(at, end); at = skip_blank(at, end)) {
        const char *next = text_number(at, end, &value[count]);
        if (!next) {
            text_refuse_number(part->source, at, "a coordinate", err);
            return NULL;
        }
        at = next;
        if (++count == 8)
            return refuse(part, start, err, "a vertex has more than 7 numbers; write one vertex a line");
    }
    if (count < 3)
        return refuse(part, start, err, "a vertex has fewer than 3 coordinates; the file may be cut short");
    if (count == 5)
        return refuse(part, start, err, "a vertex has 5 numbers; write 3, or 6 with a colour");
    if (count == 4 && value[3] == 0.0) {
        error_set_line(err, ERROR_DATA, "obj", source_line(part->source, start),
                       "a vertex has the weight 0, which puts it at infinity; write 3 coordinates");
        return NULL;
    }
    if (count == 4 && value[3] != 1.0)
        warning_add(
            &part->source->file->warnings, "weights_ignored", 1,
            "vertices have weights other than 1; weights shape curves, not polygons, and were not used");
    if (part->vertex_count == part->vertex_room)
        return refuse_full(part, part->vertex_count, MESH_MAX_VERTICES, "vertices", err);
    part->positions[part->vertex_count++] = (vec3){value[0], value[1], value[2]};
    return text_eol(at, end);
}

static void check_attribute(struct obj_attribute *attribute, int64_t index)
{
    if (index > attribute->count) {
        attribute->early++;
        if (index > attribute->highest)
            attribute->highest = index;
    } else if (index == 0 || index < -attribute->count) {
        attribute->bad++;
    }
}

/* at is the first slash of a corner. NULL when the corner is malformed. */
static const char *read_slashes(struct obj_part *part, const char *at, unsigned *form)
{
    const char *end = part->end, *next;
    int64_t index;

    if ((next = text_integer(++at, end, &index))) {
        *form |= FORM_TEXTURE;
        check_attribute(&part->textures, index);
        at = next;
    }
    if (at == end || *at != '/')
        return at;
    if ((next = text_integer(++at, end, &index))) {
        *form |= FORM_NORMAL;
        check_attribute(&part->normals, index);
        at = next;
    }
    return at;
}

/* Turns an index as written into a 0-based one. */
static bool resolve(struct obj_part *part, const char *at, int64_t index, uint32_t *vertex, struct error *err)
{
    int64_t count = (int64_t)part->vertex_count;

    if (index > count) {
        if (index > part->highest_early) {
            part->highest_early = index;
            part->highest_early_at = at;
        }
        *vertex = (uint32_t)(index - 1); /* checked at the end of the file, when all vertices are known */
        return true;
    }
    if (index > 0) {
        *vertex = (uint32_t)(index - 1);
        return true;
    }
    if (index < 0 && index >= -count) {
        *vertex = (uint32_t)(count + index);
        return true;
    }
    struct text_quote quote = text_quote(at, part->end);
    return error_set_line(err, ERROR_DATA, "obj", source_line(part->source, at),
                          "a face names vertex '%s', but %s; export it again", quote.text,
                          index == 0 ? "indices begin at 1" : "that is before the first vertex");
}

static const char *read_corner(struct obj_part *part, const char *at, unsigned *forms, struct error *err)
{
    const char *end = part->end;
    unsigned form = 0;
    int64_t index;
    const char *next = text_integer(at, end, &index);

    if (next && next < end && *next == '/')
        next = read_slashes(part, next, &form);
    if (*at == '\\')
        return refuse(part, at, err, "a backslash continues the line, but nothing follows; export it again");
    if (!next || !text_ends_value(next, end)) {
        struct text_quote quote = text_quote(at, end);
        error_set_line(err, ERROR_SYNTAX, "obj", source_line(part->source, at),
                       "'%s' is not a corner; write v, v/vt, v//vn or v/vt/vn in whole numbers", quote.text);
        return NULL;
    }
    if (part->corner_count == part->corner_room)
        return refuse_full(part, part->corner_count, MESH_MAX_CORNERS, "corners of faces", err);
    if (!resolve(part, at, index, &part->corners[part->corner_count], err))
        return NULL;
    part->corner_count++;
    *forms |= 1u << form;
    return next;
}

static const char *read_face(struct obj_part *part, const char *at, struct error *err)
{
    const char *start = at, *end = part->end;
    size_t first = part->corner_count;
    unsigned forms = 0;

    for (at = skip_blank(at, end); !is_statement_end(at, end); at = skip_blank(at, end)) {
        if (part->corner_count - first == MESH_MAX_FACE_CORNERS) {
            error_set_line(err, ERROR_LIMIT, "obj", source_line(part->source, start),
                           "a face has more than %zu corners; split it", MESH_MAX_FACE_CORNERS);
            return NULL;
        }
        if (!(at = read_corner(part, at, &forms, err)))
            return NULL;
    }
    size_t size = part->corner_count - first;
    if (forms & (forms - 1))
        warning_add(&part->source->file->warnings, "mixed_corner_forms", 1,
                    "faces mix the corner forms v, v/vt, v//vn and v/vt/vn; the geometry is not affected");
    if (size < 3) {
        source_note_dropped_face(part->source, size);
        part->corner_count = first;
        return text_eol(at, end);
    }
    if (size > SOURCE_LARGE_POLYGON)
        source_note_large_polygon(part->source, size);
    if (part->face_count == part->face_room)
        return refuse_full(part, part->face_count, MESH_MAX_CORNERS, "faces", err);
    part->offsets[++part->face_count] = (uint32_t)part->corner_count;
    return text_eol(at, end);
}

static bool is_free_form(const char *at, const char *end)
{
    static const char *const words[] = {"cstype", "curv", "curv2", "surf", "deg", "parm", "vp"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (text_is_word(at, end, words[i]))
            return true;
    return false;
}

/* at is the keyword of a statement that is not v or f. */
static const char *pass_over(struct obj_part *part, const char *at, struct error *err)
{
    const char *end = part->end, *word_end = text_word_end(at, end);
    size_t length = (size_t)(word_end - at);
    struct warning_list *warnings = &part->source->file->warnings;

    if (length == 2 && memcmp(at, "vt", 2) == 0) {
        part->textures.count++;
    } else if (length == 2 && memcmp(at, "vn", 2) == 0) {
        part->normals.count++;
    } else if ((length == 1 && (*at == 'g' || *at == 'o' || *at == 's'))
               || (length == 6 && memcmp(at, "usemtl", 6) == 0)) {
        text_check_name(part->source, word_end, text_eol(word_end, end));
    } else if (length == 6 && memcmp(at, "mtllib", 6) == 0) {
        warning_add(warnings, "materials_ignored", 1,
                    "material libraries are named; materials are not measured and no file was opened");
    } else if (length == 1 && obj_is_crease(at, end)) {
        part->crease_count++;
    } else {
        struct text_quote quote = text_quote(at, end);
        for (const char *p = at; p < word_end; p++)
            if ((unsigned char)*p < 0x20 || *p == 0x7f) {
                error_set_line(
                    err, ERROR_SYNTAX, "obj", source_line(part->source, at),
                    "a statement begins with '%s', which holds the control byte 0x%02x; the file is "
                    "damaged: export it again",
                    quote.text, (unsigned)(unsigned char)*p);
                return NULL;
            }
        part->free_form += is_free_form(at, word_end);
        warning_add(warnings, "statements_skipped", 1,
                    "statements that are not polygons were passed over; the first is '%s'", quote.text);
    }
    return statement_end(word_end, end);
}

bool obj_part_read(struct obj_part *part, struct error *err)
{
    const struct source *source = part->source;
    const char *at = part->begin, *end = part->end, *tell_at = at;

    while ((at = text_skip_space(at, end)) < end) {
        if (!source_pass(source, at, &tell_at, err))
            return false;
        const char *plain_end = obj_plain_read(part, at, tell_at);
        if (plain_end > at) {
            at = plain_end;
            continue;
        }
        if (*at == '\\' && end - at > 1 && text_is_eol(at[1])) {
            at = text_next_line(at + 1, end);
            continue;
        }
        bool one_letter = end - at == 1 || text_is_separator(at[1]) || at[1] == '\\';
        if (*at == 'v' && one_letter)
            at = read_vertex(part, at + 1, err);
        else if (*at == 'f' && one_letter)
            at = read_face(part, at + 1, err);
        else if (*at == '#')
            at = text_eol(at, end);
        else
            at = pass_over(part, at, err);
        if (!at)
            return false;
    }
    return true;
}
