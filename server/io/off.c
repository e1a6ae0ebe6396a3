/* off.c - one pass over the lines of an OFF file; see off.h for what is read. */
#include "io/off.h"

#include "io/text.h"

#include <string.h>

struct off {
    const struct source *source;
    const char *at, *end;
    bool has_normals, has_colours, has_textures;
    size_t vertex_count, face_count; /* as promised */
    struct mesh *mesh;
    size_t corner_count, corner_room;
};

bool off_is_magic(const char *at, const char *word_end)
{
    if (word_end - at < 3 || memcmp(word_end - 3, "OFF", 3) != 0)
        return false;
    word_end -= 3;
    if (word_end - at >= 2 && memcmp(at, "ST", 2) == 0)
        at += 2;
    if (at < word_end && *at == 'C')
        at++;
    if (at < word_end && *at == 'N')
        at++;
    if (at < word_end && *at == '4')
        at++;
    if (at < word_end && *at == 'n')
        at++;
    return at == word_end;
}

static bool ends_line(const char *at, const char *end)
{
    return at == end || text_is_eol(*at) || *at == '#';
}

/* Moves to the first word of the next line that has one, from within or behind the last one read. */
static bool next_line(struct off *off, const char *what, struct error *err)
{
    for (;;) {
        off->at = text_skip_space(off->at, off->end);
        if (off->at < off->end && *off->at != '#')
            return true;
        if (off->at == off->end)
            return error_set_line(err, ERROR_SYNTAX, "off", source_line(off->source, off->end),
                                  "the file ends where %s is due; it is cut short: export it again", what);
        off->at = text_eol(off->at, off->end);
    }
}

static bool refuse(const struct off *off, const char *at, enum error_code code, struct error *err,
                   const char *text)
{
    struct text_quote quote = text_quote(at, off->end);
    return error_set_line(err, code, "off", source_line(off->source, at), "'%s' %s", quote.text, text);
}

/* The magic word, when there is one; the counts may follow on its line. */
static bool read_magic(struct off *off, struct error *err)
{
    const char *word, *word_end;

    if (!next_line(off, "the word OFF", err))
        return error_set_line(err, ERROR_EMPTY, "off", source_line(off->source, off->end),
                              "nothing but blanks and comments; there is nothing to measure");
    word = off->at;
    word_end = text_word_end(word, off->end);
    if (!off_is_magic(word, word_end))
        return true;
    size_t prefix = (size_t)(word_end - word) - 3;
    if (memchr(word, '4', prefix) || memchr(word, 'n', prefix))
        return refuse(off, word, ERROR_TYPE, err,
                      "has vertices that are not in three dimensions; export plain OFF");
    off->has_textures = prefix >= 2 && memcmp(word, "ST", 2) == 0;
    off->has_colours = memchr(word, 'C', prefix) != NULL;
    off->has_normals = memchr(word, 'N', prefix) != NULL;
    off->at = text_skip_blank(word_end, off->end);
    if (text_is_word(off->at, text_word_end(off->at, off->end), "binary"))
        return refuse(off, word, ERROR_TYPE, err, "BINARY is not read; export ASCII OFF");
    return true;
}

/* Words from here to the end of the line or its comment. */
static size_t words_left(const struct off *off)
{
    size_t words = 0;
    for (const char *at = text_skip_blank(off->at, off->end); !ends_line(at, off->end); words++) {
        while (!ends_line(at, off->end) && !text_is_blank(*at))
            at++;
        at = text_skip_blank(at, off->end);
    }
    return words;
}

/* The next line that has a word, when it has only that one: how files of one number a line go on. Elsewhere
 * nothing moves. */
static bool has_lone_word(struct off *off)
{
    struct off ahead = *off;
    struct error none;
    ahead.at = text_eol(ahead.at, ahead.end);
    if (!next_line(&ahead, "a number", &none) || words_left(&ahead) != 1)
        return false;
    off->at = ahead.at;
    return true;
}

static bool read_count(struct off *off, size_t *count, const char *what, struct error *err)
{
    const char *word = off->at = text_skip_blank(off->at, off->end);
    int64_t value;

    if (ends_line(word, off->end))
        return error_set_line(err, ERROR_SYNTAX, "off", source_line(off->source, word),
                              "the %s count is missing; a line with vertex, face and edge count is due",
                              what);
    if (!(off->at = text_whole_integer(word, off->end, &value)) || value < 0)
        return refuse(off, word, ERROR_SYNTAX, err, "is no count; write a whole number, 0 or more");
    *count = (size_t)value;
    return true;
}

/* Counts are believed only as far as the file has bytes for them. */
static bool check_count(const struct off *off, const char *line, size_t count, size_t least_bytes, size_t max,
                        const char *what, struct error *err)
{
    size_t left = (size_t)(off->end - off->at), need;

    if (__builtin_mul_overflow(count, sizeof(vec3), &need) || count >= 1000000000000000000)
        return error_set_line(err, ERROR_LIMIT, "off", source_line(off->source, line),
                              "%zu %s are beyond any limit; the file is damaged: export it again", count,
                              what);
    if (count * least_bytes > left + 1)
        return error_set_line(err, ERROR_SYNTAX, "off", source_line(off->source, line),
                              "the header promises %zu %s, the file has room for %zu; it may be cut short: "
                              "export it again",
                              count, what, (left + 1) / least_bytes);
    return count <= max || source_refuse_full(off->source, count, max, what, err);
}

static bool read_counts(struct off *off, struct error *err)
{
    const char *line;

    if (!next_line(off, "the line of counts", err))
        return error_set_line(err, ERROR_EMPTY, "off", source_line(off->source, off->end),
                              "no counts, no vertices and no faces; there is nothing to measure");
    line = off->at;
    if (!read_count(off, &off->vertex_count, "vertex", err))
        return false;
    bool one_a_line = words_left(off) == 0 && has_lone_word(off);
    if (!read_count(off, &off->face_count, "face", err))
        return false;
    if (one_a_line)
        has_lone_word(off);
    const char *word = off->at = text_skip_blank(off->at, off->end);
    int64_t edges;
    if (!ends_line(word, off->end) && !(off->at = text_whole_integer(word, off->end, &edges)))
        return refuse(off, word, ERROR_SYNTAX, err, "is no edge count; write a whole number or leave it out");
    off->at = text_skip_blank(off->at, off->end);
    if (!ends_line(off->at, off->end))
        return refuse(off, off->at, ERROR_SYNTAX, err,
                      "is too much behind the three counts; begin a new line");
    if (off->face_count == 0)
        return error_set_line(err, ERROR_EMPTY, "off", source_line(off->source, line),
                              "the face count is 0; there is nothing to measure");
    off->at = text_eol(off->at, off->end);
    /* "0 0 0" and "0", each with a separator */
    return check_count(off, line, off->vertex_count, 6, MESH_MAX_VERTICES, "vertices", err)
           && check_count(off, line, off->face_count, 2, MESH_MAX_CORNERS, "faces", err);
}

/* Numbers of a vertex of this variant without those of a colour. */
static size_t plain_columns(const struct off *off)
{
    return 3 + (off->has_normals ? 3u : 0u) + (off->has_textures ? 2u : 0u);
}

/* True when a vertex of this variant may have so many numbers. */
static bool fits_columns(const struct off *off, size_t columns)
{
    size_t plain = plain_columns(off);
    return off->has_colours ? columns == plain + 3 || columns == plain + 4 : columns == plain;
}

/* A vertex may go on over lines when its last number ends one; not in COFF, where a colour has 3 or 4. */
static bool read_vertex(struct off *off, vec3 *position, struct error *err)
{
    enum { MOST = 12 }; /* STCNOFF: 3 + 3 + 4 + 2 */
    double value[MOST + 1];
    size_t columns = 0, first_columns = 0;
    const char *line = NULL;

    do {
        if (!next_line(off, "a vertex", err))
            return false;
        line = line ? line : off->at;
        for (const char *at = off->at; !ends_line(at, off->end) && columns <= MOST;
             at = text_skip_blank(off->at, off->end)) {
            if (!(off->at = text_number(at, off->end, &value[columns])))
                return text_refuse_number(off->source, at, "a coordinate", err);
            columns++;
        }
        off->at = text_eol(off->at, off->end);
        first_columns = first_columns ? first_columns : columns;
    } while (columns < plain_columns(off) && !off->has_colours);
    if (!fits_columns(off, columns))
        return error_set_line(
            err, ERROR_SYNTAX, "off", source_line(off->source, line),
            "a vertex line has %zu numbers, which this kind of OFF does not allow; write one "
            "vertex a line, and COFF or NOFF where colours or normals follow",
            first_columns);
    *position = (vec3){value[0], value[1], value[2]};
    return true;
}

static bool read_index(struct off *off, size_t corner, struct error *err)
{
    const char *word = off->at = text_skip_blank(off->at, off->end);
    int64_t index;

    if (!(off->at = text_whole_integer(word, off->end, &index)))
        return refuse(off, word, ERROR_SYNTAX, err, "is no vertex index; write a whole number");
    if (index < 0 || (uint64_t)index >= off->vertex_count) {
        struct text_quote quote = text_quote(word, off->end);
        return error_set_line(err, ERROR_DATA, "off", source_line(off->source, word),
                              "a face names vertex '%s', but the file has %zu vertices, numbered from 0; "
                              "export it again",
                              quote.text, off->vertex_count);
    }
    off->mesh->face_vertices[off->corner_count + corner] = (uint32_t)index;
    return true;
}

/* Behind the indices: nothing, a colour index, or 3 or 4 numbers of colour. */
static bool skip_colour(struct off *off, struct error *err)
{
    double value;
    size_t columns = 0;

    for (const char *at; !ends_line(at = text_skip_blank(off->at, off->end), off->end); columns++) {
        if (columns == 4)
            return refuse(off, at, ERROR_SYNTAX, err, "is too much behind a face; write one face a line");
        if (!(off->at = text_number(at, off->end, &value)))
            return text_refuse_number(off->source, at, "a face's colour", err);
    }
    off->at = text_eol(off->at, off->end);
    return true;
}

/* The indices of a face, which may go on over lines when the last ends one; what would be left of the last
 * line belongs to another face then, so that this one has too few. */
static bool read_indices(struct off *off, const char *face, size_t size, struct error *err)
{
    bool is_spread = false;

    for (size_t c = 0; c < size; c++) {
        if (ends_line(text_skip_blank(off->at, off->end), off->end)) {
            struct error none;
            is_spread = true;
            if (!next_line(off, "an index", &none) || words_left(off) > size - c)
                return error_set_line(
                    err, ERROR_SYNTAX, "off", source_line(off->source, face),
                    "a face has fewer indices than it announces; the file may be cut short");
        }
        if (!read_index(off, c, err))
            return false;
    }
    return is_spread || skip_colour(off, err);
}

static bool read_face(struct off *off, struct error *err)
{
    int64_t size;
    struct mesh *mesh = off->mesh;

    if (!next_line(off, "a face", err))
        return false;
    const char *word = off->at;
    if (!(off->at = text_whole_integer(word, off->end, &size)) || size < 0)
        return refuse(off, word, ERROR_SYNTAX, err, "is no corner count; write a whole number");
    if (size > (off->end - off->at) / 2 + 1)
        return refuse(off, word, ERROR_SYNTAX, err,
                      "corners are more than the file has left; it may be cut short");
    if ((size_t)size > MESH_MAX_FACE_CORNERS)
        return refuse(off, word, ERROR_LIMIT, err,
                      "corners are more than a face may have (1000000); split it");
    if (off->corner_room - off->corner_count < (size_t)size)
        return source_refuse_full(off->source, off->corner_room, MESH_MAX_CORNERS, "corners of faces", err);
    if (!read_indices(off, word, (size_t)size, err))
        return false;
    if (size < 3) {
        source_note_dropped_face(off->source, (size_t)size);
        return true;
    }
    if ((size_t)size > SOURCE_LARGE_POLYGON)
        source_note_large_polygon(off->source, (size_t)size);
    off->corner_count += (size_t)size;
    mesh->face_offsets[++mesh->face_count] = (uint32_t)off->corner_count;
    return true;
}

static bool read_rows(struct off *off, struct error *err)
{
    const char *tell_at = off->at;

    for (size_t v = 0; v < off->vertex_count; v++)
        if (!source_pass(off->source, off->at, &tell_at, err)
            || !read_vertex(off, &off->mesh->positions[v], err))
            return false;
    for (size_t f = 0; f < off->face_count; f++)
        if (!source_pass(off->source, off->at, &tell_at, err) || !read_face(off, err))
            return false;
    while ((off->at = text_skip_space(off->at, off->end)) < off->end && *off->at == '#')
        off->at = text_eol(off->at, off->end);
    if (off->at < off->end)
        source_note_trailing(off->source, (size_t)(off->end - off->at));
    return true;
}

bool off_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
              struct error *err)
{
    struct off off = {.source = source, .at = source->text, .end = source->end, .mesh = mesh};

    (void)scratch;
    if (!read_magic(&off, err) || !read_counts(&off, err))
        return false;
    size_t left = (size_t)(off.end - off.at), most = left / 2 + 1;
    mesh->vertex_count = off.vertex_count;
    mesh->face_count = 0;
    mesh->positions = ARENA_NEW(keep, vec3, off.vertex_count);
    mesh->face_offsets = ARENA_NEW(keep, uint32_t, off.face_count + 1);
    if (!mesh->positions || !mesh->face_offsets)
        return arena_error(err);
    mesh->face_offsets[0] = 0;
    off.corner_room = source_room(keep, most < MESH_MAX_CORNERS ? most : MESH_MAX_CORNERS,
                                  sizeof *mesh->face_vertices, 0.9);
    mesh->face_vertices = ARENA_NEW(keep, uint32_t, off.corner_room);
    if (!mesh->face_vertices)
        return arena_error(err);
    if (!read_rows(&off, err))
        return false;
    arena_trim(keep, mesh->face_vertices, off.corner_count, sizeof *mesh->face_vertices);
    if (mesh->face_count == 0)
        return error_set_line(err, ERROR_EMPTY, "off", source_line(source, source->end),
                              "no face of three or more corners; there is nothing to measure");
    return true;
}
