/* ply_header.c - the declarations of a PLY file, checked before anything is believed. */
#include "io/ply.h"

#include "io/text.h"

#include <string.h>

/* Shortest lines "element a 0" and "property char a", with their ends: they bound the two arrays. */
enum { HEADER_MAX = 64 * 1024, ELEMENTS_MAX = HEADER_MAX / 12 + 1, PROPERTIES_MAX = HEADER_MAX / 16 + 1 };

const size_t ply_type_size[PLY_TYPE_COUNT] = {
    [PLY_INT8] = 1,  [PLY_UINT8] = 1,  [PLY_INT16] = 2,   [PLY_UINT16] = 2,
    [PLY_INT32] = 4, [PLY_UINT32] = 4, [PLY_FLOAT32] = 4, [PLY_FLOAT64] = 8,
};

struct header_reader {
    const struct source *source;
    struct ply_header *header;
    const char *line, *line_end; /* the current line without its end */
    const char *at;              /* within it */
    bool has_format, cr_only;
    struct ply_property *properties; /* [PROPERTIES_MAX], shared by all elements in order */
    size_t property_count;
};

static bool refuse(const struct header_reader *reader, enum error_code code, struct error *err,
                   const char *text)
{
    return error_set_line(err, code, "ply", source_line(reader->source, reader->line), "%s", text);
}

static bool refuse_word(const struct header_reader *reader, const char *word, struct error *err,
                        const char *text)
{
    struct text_quote quote = text_quote(word, reader->line_end);
    return error_set_line(err, ERROR_SYNTAX, "ply", source_line(reader->source, word), "'%s' %s", quote.text,
                          text);
}

/* Moves to the next line. Lines end with LF or CRLF, or all with CR where the first one does. */
static bool next_line(struct header_reader *reader, const char *from, struct error *err)
{
    const char *end = reader->source->end;
    size_t left = (size_t)(end - from), most = HEADER_MAX - (size_t)(from - reader->source->text);
    const char *stop =
        from < end ? memchr(from, reader->cr_only ? '\r' : '\n', left < most ? left : most) : NULL;

    reader->line = reader->at = from;
    if (!stop && left >= most)
        return refuse(reader, ERROR_LIMIT, err,
                      "the header is longer than 64 KiB; remove comments or properties");
    if (!stop)
        return error_set_line(err, ERROR_SYNTAX, "ply", source_line(reader->source, end),
                              "the file ends within the header, before 'end_header'; export it again");
    reader->header->body = stop + 1;
    reader->line_end = stop > from && stop[-1] == '\r' ? stop - 1 : stop;
    if (memchr(from, '\0', (size_t)(stop - from)))
        return refuse(reader, ERROR_SYNTAX, err,
                      "a NUL byte in the header; the file is damaged: export it again");
    return true;
}

/* The next word of the line; empty (at line_end) behind the last. */
static const char *next_word(struct header_reader *reader, const char **word_end)
{
    const char *word = text_skip_blank(reader->at, reader->line_end);
    reader->at = *word_end = text_word_end(word, reader->line_end);
    return word;
}

static bool same_name(const char *a, size_t a_size, const char *b, size_t b_size)
{
    return a_size == b_size && memcmp(a, b, a_size) == 0;
}

static bool is_name(const char *name, size_t size, const char *text)
{
    return same_name(name, size, text, strlen(text));
}

static bool read_format(struct header_reader *reader, struct error *err)
{
    static const char *const forms[] = {
        [PLY_ASCII] = "ascii", [PLY_LITTLE] = "binary_little_endian", [PLY_BIG] = "binary_big_endian"};
    const char *word_end, *word = next_word(reader, &word_end);
    size_t form = 0;

    if (reader->has_format)
        return refuse(reader, ERROR_SYNTAX, err, "a second format line; keep the one that is true");
    while (form < 3 && !is_name(word, (size_t)(word_end - word), forms[form]))
        form++;
    if (form == 3)
        return refuse_word(reader, word, err,
                           "is no format of PLY; write ascii, binary_little_endian or binary_big_endian");
    word = next_word(reader, &word_end);
    if (!is_name(word, (size_t)(word_end - word), "1.0"))
        return refuse(reader, ERROR_TYPE, err, "only version 1.0 of PLY is read; export the file as 1.0");
    reader->header->form = (enum ply_form)form;
    reader->has_format = true;
    return true;
}

/* A count fits 63 bits or is refused; its size against the file is checked later, with the row's size. */
static bool read_count(struct header_reader *reader, const char *word, const char *word_end, size_t *count,
                       struct error *err)
{
    uint64_t sum = 0;
    const char *p = word;

    for (; p < word_end && *p >= '0' && *p <= '9'; p++)
        if (__builtin_mul_overflow(sum, (uint64_t)10, &sum)
            || __builtin_add_overflow(sum, (uint64_t)(*p - '0'), &sum))
            return refuse_word(reader, word, err,
                               "is an element count beyond 64 bits; export the file again");
    if (p == word || p < word_end)
        return refuse_word(reader, word, err, "is not an element count; write a whole number, 0 or more");
    *count = (size_t)sum;
    return true;
}

static bool read_element(struct header_reader *reader, struct error *err)
{
    struct ply_header *header = reader->header;
    struct ply_element *element = &header->elements[header->element_count];
    const char *name_end, *name = next_word(reader, &name_end);
    const char *word_end, *word = next_word(reader, &word_end);
    size_t name_size = (size_t)(name_end - name);

    if (name_size == 0)
        return refuse(reader, ERROR_SYNTAX, err, "an element line needs a name and a count");
    for (size_t e = 0; e < header->element_count; e++)
        if (same_name(header->elements[e].name, header->elements[e].name_size, name, name_size))
            return refuse_word(reader, name, err, "is declared twice as an element; keep one");
    *element = (struct ply_element){.name = name,
                                    .name_size = name_size,
                                    .line = reader->line,
                                    .properties = reader->properties + reader->property_count};
    if (!read_count(reader, word, word_end, &element->count, err))
        return false;
    header->element_count++;
    return true;
}

static enum ply_type type_of(const char *word, size_t size)
{
    static const char *const names[PLY_TYPE_COUNT][2] = {[PLY_NONE] = {"", ""},
                                                         [PLY_INT8] = {"char", "int8"},
                                                         [PLY_UINT8] = {"uchar", "uint8"},
                                                         [PLY_INT16] = {"short", "int16"},
                                                         [PLY_UINT16] = {"ushort", "uint16"},
                                                         [PLY_INT32] = {"int", "int32"},
                                                         [PLY_UINT32] = {"uint", "uint32"},
                                                         [PLY_FLOAT32] = {"float", "float32"},
                                                         [PLY_FLOAT64] = {"double", "float64"}};
    for (int type = PLY_INT8; type < PLY_TYPE_COUNT; type++)
        if (is_name(word, size, names[type][0]) || is_name(word, size, names[type][1]))
            return (enum ply_type)type;
    return PLY_NONE;
}

static bool read_type(struct header_reader *reader, enum ply_type *type, struct error *err)
{
    const char *word_end, *word = next_word(reader, &word_end);
    *type = type_of(word, (size_t)(word_end - word));
    return *type != PLY_NONE || refuse_word(reader, word, err, "is no type of PLY; its size is not known");
}

static bool read_property(struct header_reader *reader, struct error *err)
{
    struct ply_header *header = reader->header;
    struct ply_property property = {.length_type = PLY_NONE};
    const char *word_end, *word;

    if (header->element_count == 0)
        return refuse(reader, ERROR_SYNTAX, err, "a property stands before any element");
    struct ply_element *element = &header->elements[header->element_count - 1];

    const char *rest = reader->at;
    word = next_word(reader, &word_end);
    if (is_name(word, (size_t)(word_end - word), "list")) {
        if (!read_type(reader, &property.length_type, err))
            return false;
        if (property.length_type >= PLY_FLOAT32)
            return refuse(reader, ERROR_SYNTAX, err,
                          "the length of a list has a floating type; make it an integer");
        element->has_list = true;
    } else {
        reader->at = rest;
    }
    if (!read_type(reader, &property.type, err))
        return false;
    property.name = next_word(reader, &word_end);
    property.name_size = (size_t)(word_end - property.name);
    if (property.name_size == 0)
        return refuse(reader, ERROR_SYNTAX, err, "a property line ends before the property's name");
    for (size_t p = 0; p < element->property_count; p++)
        if (same_name(element->properties[p].name, element->properties[p].name_size, property.name,
                      property.name_size))
            return refuse_word(reader, property.name, err, "is declared twice in one element; keep one");
    element->properties[element->property_count++] = property;
    reader->property_count++;
    element->least_bytes += ply_type_size[property.length_type ? property.length_type : property.type];
    return true;
}

/* One line after the magic; *done at end_header. */
static bool read_declaration(struct header_reader *reader, bool *done, struct error *err)
{
    const char *word_end, *word = next_word(reader, &word_end);
    size_t size = (size_t)(word_end - word);
    bool ok;

    *done = is_name(word, size, "end_header");
    if (is_name(word, size, "comment") || is_name(word, size, "obj_info") || size == 0)
        return true;
    if (*done)
        ok = true;
    else if (is_name(word, size, "format"))
        ok = read_format(reader, err);
    else if (is_name(word, size, "element"))
        ok = read_element(reader, err);
    else if (is_name(word, size, "property"))
        ok = read_property(reader, err);
    else
        return refuse_word(reader, word, err, "is no declaration of a PLY header; is 'end_header' missing?");
    if (!ok)
        return false;
    word = next_word(reader, &word_end);
    return word == reader->line_end
           || refuse_word(reader, word, err, "is too much on this line of the header");
}

static struct ply_element *find_element(struct ply_header *header, const char *name)
{
    for (size_t e = 0; e < header->element_count; e++)
        if (is_name(header->elements[e].name, header->elements[e].name_size, name))
            return &header->elements[e];
    return NULL;
}

static struct ply_property *find_property(struct ply_element *element, const char *name)
{
    for (size_t p = 0; p < element->property_count; p++)
        if (is_name(element->properties[p].name, element->properties[p].name_size, name))
            return &element->properties[p];
    return NULL;
}

static bool check_vertex(struct header_reader *reader, struct error *err)
{
    static const char *const names[] = {"x", "y", "z"};
    struct ply_element *vertex = reader->header->vertex;

    reader->line = vertex->line;
    for (int i = 0; i < 3; i++) {
        struct ply_property *property = find_property(vertex, names[i]);
        if (!property || property->length_type)
            return error_set_line(err, ERROR_SYNTAX, "ply", source_line(reader->source, vertex->line),
                                  "the element 'vertex' needs a scalar property '%s'%s", names[i],
                                  property ? ", not a list" : "; export the file again");
        property->role = (enum ply_role)(PLY_X + i);
    }
    return true;
}

static bool check_face(struct header_reader *reader, struct error *err)
{
    struct ply_element *face = reader->header->face;
    struct ply_property *property = find_property(face, "vertex_indices");

    reader->line = face->line;
    if (!property)
        property = find_property(face, "vertex_index");
    if (!property || !property->length_type)
        return refuse(reader, ERROR_SYNTAX, err, "the element 'face' needs a list property 'vertex_indices'");
    if (property->type >= PLY_FLOAT32)
        return refuse(reader, ERROR_SYNTAX, err,
                      "the vertex indices of faces have a floating type; make them integers");
    property->role = PLY_INDICES;
    return true;
}

/* Every row takes at least some bytes: no count is believed that the file has no room for. */
static bool check_counts(struct header_reader *reader, struct error *err)
{
    const struct source *source = reader->source;
    size_t left = (size_t)(source->end - reader->header->body);

    for (size_t e = 0; e < reader->header->element_count; e++) {
        struct ply_element *element = &reader->header->elements[e];
        /* ASCII: a character and a separator for each value; the last line may lack its end */
        size_t row = reader->header->form == PLY_ASCII ? 2 * element->property_count : element->least_bytes;
        size_t need;
        reader->line = element->line;
        if (element->count == 0)
            continue;
        if (row == 0)
            return refuse(reader, ERROR_SYNTAX, err, "an element has a count, but no properties; remove it");
        if (__builtin_mul_overflow(element->count, row, &need))
            return refuse(reader, ERROR_LIMIT, err,
                          "an element's count times the size of its rows exceeds 64 bits");
        if (need > left + 1)
            return error_set_line(
                err, ERROR_SYNTAX, "ply", source_line(source, element->line),
                "the header promises %zu rows of at least %zu bytes, the file has %zu bytes left; "
                "it may be cut short: export it again",
                element->count, row, left);
    }
    return true;
}

static bool check_header(struct header_reader *reader, struct error *err)
{
    struct ply_header *header = reader->header;

    if (!reader->has_format)
        return refuse(reader, ERROR_SYNTAX, err, "the header has no format line");
    header->vertex = find_element(header, "vertex");
    header->face = find_element(header, "face");
    if (!header->face || header->face->count == 0)
        return refuse(reader, ERROR_EMPTY, err,
                      find_element(header, "tristrips")
                          ? "triangle strips but no faces; strips are not read: export faces"
                          : "no faces, a cloud of points at most; export the surface");
    if (!header->vertex)
        return refuse(reader, ERROR_DATA, err, "faces but no element 'vertex'; export the file again");
    return check_vertex(reader, err) && check_face(reader, err) && check_counts(reader, err);
}

bool ply_header_read(const struct source *source, struct ply_header *header, struct arena *scratch,
                     struct error *err)
{
    struct header_reader reader = {.source = source, .header = header};
    const char *eol = text_eol(source->text, source->end);
    bool done = false;

    *header = (struct ply_header){.elements = ARENA_NEW(scratch, struct ply_element, ELEMENTS_MAX)};
    reader.properties = ARENA_NEW(scratch, struct ply_property, PROPERTIES_MAX);
    if (!header->elements || !reader.properties)
        return arena_error(err);
    reader.cr_only = eol < source->end && *eol == '\r' && (eol + 1 == source->end || eol[1] != '\n');
    if (!next_line(&reader, source->text, err)) /* the magic, which chose this reader */
        return false;
    while (!done)
        if (!next_line(&reader, header->body, err) || !read_declaration(&reader, &done, err))
            return false;
    return check_header(&reader, err);
}
