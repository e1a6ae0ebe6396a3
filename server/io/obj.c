/* obj.c - one pass over the statements of an OBJ file; see obj.h for what is read. */
#include "io/obj.h"

#include "io/obj_crease.h"
#include "io/text.h"

#include <string.h>

/* Indices of texture coordinates or of normals: they place no geometry, so that bad ones are only counted. */
struct attribute {
    int64_t count;   /* statements so far */
    int64_t highest; /* positive index met */
    size_t early;    /* corners whose index was above count when met */
    size_t bad;      /* corners whose index can never be right */
};

struct obj {
    const struct source *source;
    const char *end;
    vec3 *positions;
    size_t vertex_count, vertex_room;
    uint32_t *corners;
    size_t corner_count, corner_room;
    uint32_t *offsets;
    size_t face_count, face_room; /* offsets has face_room + 1 */
    struct attribute textures, normals;
    int64_t highest_early; /* the highest vertex index that had no vertex yet when met, 0 for none */
    const char *highest_early_at;
    size_t free_form; /* curve and surface statements */
    size_t crease_count;
};

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

static const char *refuse(const struct obj *obj, const char *at, struct error *err, const char *text)
{
    error_set_line(err, ERROR_SYNTAX, "obj", source_line(obj->source, at), "%s", text);
    return NULL;
}

/* The readers of one statement begin behind its keyword and return its end, NULL with err on failure. */
static const char *read_vertex(struct obj *obj, const char *at, struct error *err)
{
    const char *start = at, *end = obj->end;
    double value[8];
    size_t count = 0;

    for (at = skip_blank(at, end); !is_statement_end(at, end); at = skip_blank(at, end)) {
        const char *next = text_number(at, end, &value[count]);
        if (!next) {
            text_refuse_number(obj->source, at, "a coordinate", err);
            return NULL;
        }
        at = next;
        if (++count == 8)
            return refuse(obj, start, err, "a vertex has more than 7 numbers; write one vertex a line");
    }
    if (count < 3)
        return refuse(obj, start, err, "a vertex has fewer than 3 coordinates; the file may be cut short");
    if (count == 5)
        return refuse(obj, start, err, "a vertex has 5 numbers; write 3, or 6 with a colour");
    if (count == 4 && value[3] == 0.0) {
        error_set_line(err, ERROR_DATA, "obj", source_line(obj->source, start),
                       "a vertex has the weight 0, which puts it at infinity; write 3 coordinates");
        return NULL;
    }
    if (count == 4 && value[3] != 1.0)
        warning_add(
            &obj->source->file->warnings, "weights_ignored", 1,
            "vertices have weights other than 1; weights shape curves, not polygons, and were not used");
    if (obj->vertex_count == obj->vertex_room) {
        source_refuse_full(obj->source, obj->vertex_count, MESH_MAX_VERTICES, "vertices", err);
        return NULL;
    }
    obj->positions[obj->vertex_count++] = (vec3){value[0], value[1], value[2]};
    return text_eol(at, end);
}

static void check_attribute(struct attribute *attribute, int64_t index)
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
static const char *read_slashes(struct obj *obj, const char *at, unsigned *form)
{
    const char *end = obj->end, *next;
    int64_t index;

    if ((next = text_integer(++at, end, &index))) {
        *form |= FORM_TEXTURE;
        check_attribute(&obj->textures, index);
        at = next;
    }
    if (at == end || *at != '/')
        return at;
    if ((next = text_integer(++at, end, &index))) {
        *form |= FORM_NORMAL;
        check_attribute(&obj->normals, index);
        at = next;
    }
    return at;
}

/* Turns an index as written into a 0-based one. */
static bool resolve(struct obj *obj, const char *at, int64_t index, uint32_t *vertex, struct error *err)
{
    int64_t count = (int64_t)obj->vertex_count;

    if (index > count) {
        if (index > obj->highest_early) {
            obj->highest_early = index;
            obj->highest_early_at = at;
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
    struct text_quote quote = text_quote(at, obj->end);
    return error_set_line(err, ERROR_DATA, "obj", source_line(obj->source, at),
                          "a face names vertex '%s', but %s; export it again", quote.text,
                          index == 0 ? "indices begin at 1" : "that is before the first vertex");
}

static const char *read_corner(struct obj *obj, const char *at, unsigned *forms, struct error *err)
{
    const char *end = obj->end;
    unsigned form = 0;
    int64_t index;
    const char *next = text_integer(at, end, &index);

    if (next && next < end && *next == '/')
        next = read_slashes(obj, next, &form);
    if (*at == '\\')
        return refuse(obj, at, err, "a backslash continues the line, but nothing follows; export it again");
    if (!next || !text_ends_value(next, end)) {
        struct text_quote quote = text_quote(at, end);
        error_set_line(err, ERROR_SYNTAX, "obj", source_line(obj->source, at),
                       "'%s' is not a corner; write v, v/vt, v//vn or v/vt/vn in whole numbers", quote.text);
        return NULL;
    }
    if (obj->corner_count == obj->corner_room) {
        source_refuse_full(obj->source, obj->corner_count, MESH_MAX_CORNERS, "corners of faces", err);
        return NULL;
    }
    if (!resolve(obj, at, index, &obj->corners[obj->corner_count], err))
        return NULL;
    obj->corner_count++;
    *forms |= 1u << form;
    return next;
}

static const char *read_face(struct obj *obj, const char *at, struct error *err)
{
    const char *start = at, *end = obj->end;
    size_t first = obj->corner_count;
    unsigned forms = 0;

    for (at = skip_blank(at, end); !is_statement_end(at, end); at = skip_blank(at, end)) {
        if (obj->corner_count - first == MESH_MAX_FACE_CORNERS) {
            error_set_line(err, ERROR_LIMIT, "obj", source_line(obj->source, start),
                           "a face has more than %zu corners; split it", MESH_MAX_FACE_CORNERS);
            return NULL;
        }
        if (!(at = read_corner(obj, at, &forms, err)))
            return NULL;
    }
    size_t size = obj->corner_count - first;
    if (forms & (forms - 1))
        warning_add(&obj->source->file->warnings, "mixed_corner_forms", 1,
                    "faces mix the corner forms v, v/vt, v//vn and v/vt/vn; the geometry is not affected");
    if (size < 3) {
        source_note_dropped_face(obj->source, size);
        obj->corner_count = first;
        return text_eol(at, end);
    }
    if (size > SOURCE_LARGE_POLYGON)
        source_note_large_polygon(obj->source, size);
    if (obj->face_count == obj->face_room) {
        source_refuse_full(obj->source, obj->face_count, MESH_MAX_CORNERS, "faces", err);
        return NULL;
    }
    obj->offsets[++obj->face_count] = (uint32_t)obj->corner_count;
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
static const char *pass_over(struct obj *obj, const char *at, struct error *err)
{
    const char *end = obj->end, *word_end = text_word_end(at, end);
    size_t length = (size_t)(word_end - at);
    struct warning_list *warnings = &obj->source->file->warnings;

    if (length == 2 && memcmp(at, "vt", 2) == 0) {
        obj->textures.count++;
    } else if (length == 2 && memcmp(at, "vn", 2) == 0) {
        obj->normals.count++;
    } else if ((length == 1 && (*at == 'g' || *at == 'o' || *at == 's'))
               || (length == 6 && memcmp(at, "usemtl", 6) == 0)) {
        text_check_name(obj->source, word_end, text_eol(word_end, end));
    } else if (length == 6 && memcmp(at, "mtllib", 6) == 0) {
        warning_add(warnings, "materials_ignored", 1,
                    "material libraries are named; materials are not measured and no file was opened");
    } else if (length == 1 && obj_is_crease(at, end)) {
        obj->crease_count++;
    } else {
        struct text_quote quote = text_quote(at, end);
        for (const char *p = at; p < word_end; p++)
            if ((unsigned char)*p < 0x20 || *p == 0x7f) {
                error_set_line(
                    err, ERROR_SYNTAX, "obj", source_line(obj->source, at),
                    "a statement begins with '%s', which holds the control byte 0x%02x; the file is "
                    "damaged: export it again",
                    quote.text, (unsigned)(unsigned char)*p);
                return NULL;
            }
        obj->free_form += is_free_form(at, word_end);
        warning_add(warnings, "statements_skipped", 1,
                    "statements that are not polygons were passed over; the first is '%s'", quote.text);
    }
    return statement_end(word_end, end);
}

static bool read_statements(struct obj *obj, struct error *err)
{
    const struct source *source = obj->source;
    const char *at = source->text, *end = obj->end, *tell_at = at;

    while ((at = text_skip_space(at, end)) < end) {
        if (!source_pass(source, at, &tell_at, err))
            return false;
        if (*at == '\\' && end - at > 1 && text_is_eol(at[1])) {
            at = text_next_line(at + 1, end);
            continue;
        }
        bool one_letter = end - at == 1 || text_is_separator(at[1]) || at[1] == '\\';
        if (*at == 'v' && one_letter)
            at = read_vertex(obj, at + 1, err);
        else if (*at == 'f' && one_letter)
            at = read_face(obj, at + 1, err);
        else if (*at == '#')
            at = text_eol(at, end);
        else
            at = pass_over(obj, at, err);
        if (!at)
            return false;
    }
    return true;
}

/* What only the end of the file can tell. */
static bool check_whole(struct obj *obj, struct error *err)
{
    const struct source *source = obj->source;

    if (obj->highest_early > (int64_t)obj->vertex_count) {
        struct text_quote quote = text_quote(obj->highest_early_at, obj->end);
        return error_set_line(err, ERROR_DATA, "obj", source_line(source, obj->highest_early_at),
                              "a face names vertex '%s', but the file has %zu vertices; export it again",
                              quote.text, obj->vertex_count);
    }
    if (obj->face_count == 0)
        return error_set_line(
            err, ERROR_EMPTY, "obj", source_line(source, obj->end), "%s",
            obj->free_form ? "no polygons, only free-form curves or surfaces, which are not read; "
                             "convert them to polygons"
            : source->file->dropped_faces ? "no face of three or more corners"
            : obj->vertex_count           ? "vertices but no faces; export the surface, not the points"
                                          : "no faces; the file holds no mesh");
    struct attribute *attributes[] = {&obj->textures, &obj->normals};
    for (size_t i = 0; i < 2; i++) {
        size_t bad = attributes[i]->bad;
        if (attributes[i]->highest > attributes[i]->count)
            bad += attributes[i]->early;
        if (bad)
            warning_add(&source->file->warnings, "bad_texture_index", bad,
                        "corners name texture coordinates or normals that the file does not have; "
                        "the geometry is not affected");
    }
    return true;
}

bool obj_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
              struct error *err)
{
    struct obj obj = {.source = source, .end = source->end};
    size_t bytes = (size_t)(source->end - source->text);

    /* "v 0 0 0" and "f 1 1 1" with a line end take 8 bytes, a corner 2: that bounds every array. */
    size_t most_vertices = bytes / 8 + 1 < MESH_MAX_VERTICES ? bytes / 8 + 1 : MESH_MAX_VERTICES;
    size_t most_corners = bytes / 2 + 1 < MESH_MAX_CORNERS ? bytes / 2 + 1 : MESH_MAX_CORNERS;
    obj.vertex_room = source_room(keep, most_vertices, sizeof *obj.positions, 0.6);
    obj.face_room = source_room(&scratch, bytes / 8 + 1, sizeof *obj.offsets, 0.2);
    obj.corner_room = source_room(&scratch, most_corners, sizeof *obj.corners, 0.7);
    obj.positions = ARENA_NEW(keep, vec3, obj.vertex_room);
    obj.offsets = ARENA_NEW(&scratch, uint32_t, obj.face_room + 1);
    obj.corners = ARENA_NEW(&scratch, uint32_t, obj.corner_room);
    if (!obj.positions || !obj.offsets || !obj.corners)
        return arena_error(err);
    obj.offsets[0] = 0;

    if (!read_statements(&obj, err) || !check_whole(&obj, err))
        return false;
    arena_trim(keep, obj.positions, obj.vertex_count, sizeof *obj.positions);
    mesh->vertex_count = obj.vertex_count;
    mesh->face_count = obj.face_count;
    mesh->positions = obj.positions;
    mesh->face_offsets = ARENA_NEW(keep, uint32_t, obj.face_count + 1);
    mesh->face_vertices = ARENA_NEW(keep, uint32_t, obj.corner_count);
    if (!mesh->face_offsets || !mesh->face_vertices)
        return arena_error(err);
    memcpy(mesh->face_offsets, obj.offsets, (obj.face_count + 1) * sizeof *obj.offsets);
    memcpy(mesh->face_vertices, obj.corners, obj.corner_count * sizeof *obj.corners);
    return obj.crease_count == 0 || obj_read_creases(source, obj.crease_count, mesh, keep, err);
}
