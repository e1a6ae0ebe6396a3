/* obj_crease.c - a second pass over the text of the few files that have creases. */
#include "io/obj_crease.h"

#include "io/text.h"

#include <string.h>

static const char *word_after(const char *at, const char *word, const char *end)
{
    const char *word_end = text_word_end(at, end);
    return text_is_word(at, word_end, word) ? text_skip_blank(word_end, end) : NULL;
}

bool obj_is_crease(const char *at, const char *end)
{
    at = word_after(at, "t", end);
    return at && word_after(at, "crease", end);
}

static bool refuse_form(const struct source *source, const char *line, struct error *err)
{
    return error_set_line(err, ERROR_SYNTAX, "obj", source_line(source, line),
                          "a crease is written 't crease 2/1/0 A B SHARPNESS' with two vertices counted from "
                          "0; correct or remove the line");
}

static bool refuse_vertex(const struct source *source, const char *at, size_t vertex_count, struct error *err)
{
    struct text_quote quote = text_quote(at, source->end);
    return error_set_line(
        err, ERROR_DATA, "obj", source_line(source, at),
        "a crease names vertex '%s', but the file's %zu vertices are counted from 0; export "
        "it again",
        quote.text, vertex_count);
}

/* at is the keyword. */
static bool read_crease(const struct source *source, const char *at, size_t vertex_count, uint32_t edge[2],
                        double *sharpness, struct error *err)
{
    const char *line = at, *end = source->end, *next;
    int64_t index;

    at = word_after(word_after(at, "t", end), "crease", end);
    if (!(at = word_after(at, "2/1/0", end)))
        return refuse_form(source, line, err);
    for (int i = 0; i < 2; i++) {
        if (!(next = text_whole_integer(at, end, &index)))
            return refuse_form(source, line, err);
        if (index < 0 || (uint64_t)index >= vertex_count)
            return refuse_vertex(source, at, vertex_count, err);
        edge[i] = (uint32_t)index;
        at = text_skip_blank(next, end);
    }
    if (at == end || text_is_eol(*at))
        return refuse_form(source, line, err);
    if (!(next = text_number(at, end, sharpness)))
        return text_refuse_number(source, at, "a sharpness", err);
    if (*sharpness < 0)
        return error_set_line(err, ERROR_DATA, "obj", source_line(source, line),
                              "a crease has the sharpness %g; it is 0 or more", *sharpness);
    at = text_skip_blank(next, end);
    return at == end || text_is_eol(*at) || *at == '#' || refuse_form(source, line, err);
}

/* The line end that ends the statement, as the first pass saw it: continued lines included, but a vertex or a
 * face also ends with the line of a comment. */
static const char *statement_end(const char *at, const char *end)
{
    bool is_comment = *at == '#',
         is_polygon =
             (*at == 'v' || *at == 'f') && (end - at == 1 || text_is_separator(at[1]) || at[1] == '\\');
    const char *eol = text_eol(at, end);

    if (is_comment)
        return eol;
    while (eol < end && eol > at && eol[-1] == '\\' && !(is_polygon && memchr(at, '#', (size_t)(eol - at)))) {
        at = text_next_line(eol, end);
        eol = text_eol(at, end);
    }
    return eol;
}

bool obj_read_creases(const struct source *source, size_t count, struct mesh *mesh, struct arena *keep,
                      struct error *err)
{
    const char *at = source->text, *end = source->end, *tell_at = at;
    struct creases *creases = &mesh->creases;

    creases->count = 0;
    creases->edges = (uint32_t(*)[2])arena_alloc(keep, count, sizeof *creases->edges, _Alignof(uint32_t));
    creases->sharpness = ARENA_NEW(keep, double, count);
    if (!creases->edges || !creases->sharpness)
        return arena_error(err);
    while (creases->count < count && (at = text_skip_space(at, end)) < end) {
        if (!source_pass(source, at, &tell_at, err))
            return false;
        if (*at == '\\' && end - at > 1 && text_is_eol(at[1])) {
            at = text_next_line(at + 1, end);
            continue;
        }
        if (obj_is_crease(at, end)) {
            if (!read_crease(source, at, mesh->vertex_count, creases->edges[creases->count],
                             &creases->sharpness[creases->count], err))
                return false;
            creases->count++;
        }
        at = statement_end(at, end);
    }
    warning_add(&source->file->warnings, "creases_read", creases->count,
                "edges are marked as creases; they shape the limit surface of a cage, and nothing else");
    return true;
}
