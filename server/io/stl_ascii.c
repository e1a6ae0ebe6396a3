/* stl_ascii.c - ASCII STL as a stream of words: line ends matter only where a solid's name ends. */
#include "io/stl.h"

#include "io/text.h"

/* "facet normal 0 0 0 outer loop vertex 0 0 0 vertex 0 0 0 vertex 0 0 0 endloop endfacet" and a separator */
enum { SHORTEST_FACET = 86 };

struct stl_ascii {
    const struct source *source;
    const char *at, *end;
    struct stl_mesh mesh;
};

/* Skips the word `lower` with the space before it. */
static bool take(struct stl_ascii *stl, const char *lower)
{
    const char *word = text_skip_space(stl->at, stl->end);
    const char *word_end = text_word_end(word, stl->end);
    if (!text_is_word(word, word_end, lower))
        return false;
    stl->at = word_end;
    return true;
}

static bool expect(struct stl_ascii *stl, const char *lower, struct error *err)
{
    if (take(stl, lower))
        return true;
    const char *word = text_skip_space(stl->at, stl->end);
    if (word == stl->end)
        return error_set_line(err, ERROR_SYNTAX, "stl", source_line(stl->source, word),
                              "the file ends where '%s' is due; it may be cut short: export it again", lower);
    struct text_quote quote = text_quote(word, stl->end);
    return error_set_line(
        err, ERROR_SYNTAX, "stl", source_line(stl->source, word),
        "'%s' stands where '%s' is due; a facet is 'facet normal' and 3 numbers, 'outer loop', "
        "three times 'vertex' and 3 numbers, 'endloop', 'endfacet'",
        quote.text, lower);
}

/* Three coordinates; those of a normal may be anything that names a number. */
static bool take_vec3(struct stl_ascii *stl, bool is_normal, vec3 *v, struct error *err)
{
    double value[3];

    for (size_t i = 0; i < 3; i++) {
        const char *word = text_skip_space(stl->at, stl->end);
        const char *next = text_number(word, stl->end, &value[i]);
        if (!next) {
            next = text_word_end(word, stl->end);
            if (!is_normal || !text_is_not_finite(word, next))
                return text_refuse_number(stl->source, word,
                                          is_normal ? "a component of a normal" : "a coordinate", err);
            value[i] = (double)NAN; /* counted in normals_ignored */
        }
        stl->at = next;
    }
    *v = (vec3){value[0], value[1], value[2]};
    return true;
}

/* Behind "facet". */
static bool take_facet(struct stl_ascii *stl, struct arena *scratch, struct error *err)
{
    vec3 normal, corners[3];

    if (!expect(stl, "normal", err) || !take_vec3(stl, true, &normal, err) || !expect(stl, "outer", err)
        || !expect(stl, "loop", err))
        return false;
    for (size_t c = 0; c < 3; c++)
        if (!expect(stl, "vertex", err) || !take_vec3(stl, false, &corners[c], err))
            return false;
    if (!expect(stl, "endloop", err) || !expect(stl, "endfacet", err))
        return false;
    if (stl->mesh.facet_count == stl->mesh.facet_room)
        return source_refuse_full(stl->source, stl->mesh.facet_count, MESH_MAX_CORNERS / 3, "facets", err);
    return stl_mesh_add(&stl->mesh, &normal, corners, 1, scratch, err);
}

/* True when "normal" and a number stand at `at`, behind the word "facet". */
static bool normal_follows(const char *at, const char *eol)
{
    const char *word = text_skip_blank(at, eol), *word_end = text_word_end(word, eol);
    double value;
    if (!text_is_word(word, word_end, "normal"))
        return false;
    return number_parse(text_skip_blank(word_end, eol), eol, &value) != NULL;
}

/* A name behind "solid" or "endsolid" ends with its line; where the whole file is one line it ends before the
 * first facet ("facet normal" and a number) or, after "endsolid", before the "solid" that the facet belongs
 * to. The name itself may hold any of these words. */
static void skip_name(struct stl_ascii *stl, bool behind_end)
{
    const char *eol = text_eol(stl->at, stl->end), *stop = eol, *solid = NULL;

    for (const char *word = text_skip_blank(stl->at, eol); word < eol;) {
        const char *word_end = text_word_end(word, eol);
        if (behind_end && text_is_word(word, word_end, "solid"))
            solid = word;
        if (text_is_word(word, word_end, "facet") && normal_follows(word_end, eol)) {
            stop = solid ? solid : word;
            break;
        }
        word = text_skip_blank(word_end, eol);
    }
    text_check_name(stl->source, stl->at, stop);
    stl->at = stop;
}

/* Behind "solid": its facets up to "endsolid" or the end of the file. */
static bool take_solid(struct stl_ascii *stl, struct arena *scratch, const char **tell_at, struct error *err)
{
    skip_name(stl, false);
    while (take(stl, "facet")) {
        if (!take_facet(stl, scratch, err) || !source_pass(stl->source, stl->at, tell_at, err))
            return false;
    }
    if (take(stl, "endsolid")) {
        skip_name(stl, true);
        return true;
    }
    if (text_skip_space(stl->at, stl->end) < stl->end)
        return expect(stl, "facet", err);
    warning_add(&stl->source->file->warnings, "missing_end", 1,
                "the last solid has no 'endsolid'; all facets are complete, but the file may be cut short");
    stl->at = stl->end;
    return true;
}

bool stl_ascii_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
                    struct error *err)
{
    struct stl_ascii stl = {.source = source, .at = source->text, .end = source->end};
    const char *tell_at = stl.at;
    size_t bytes = (size_t)(stl.end - stl.at);

    size_t most =
        bytes / SHORTEST_FACET < MESH_MAX_CORNERS / 3 ? bytes / SHORTEST_FACET + 1 : MESH_MAX_CORNERS / 3;
    if (!stl_mesh_begin(&stl.mesh, source, most, 3 * most, keep, &scratch, err)
        || !expect(&stl, "solid", err))
        return false;
    do {
        if (!take_solid(&stl, &scratch, &tell_at, err))
            return false;
    } while (take(&stl, "solid"));

    const char *rest = text_skip_space(stl.at, stl.end);
    if (take(&stl, "facet") || take(&stl, "endsolid"))
        return error_set_line(err, ERROR_SYNTAX, "stl", source_line(source, rest),
                              "a facet or 'endsolid' stands outside of any solid; export the file again");
    if (rest < stl.end)
        source_note_trailing(source, (size_t)(stl.end - rest));
    if (stl.mesh.facet_count == 0)
        return error_set_line(err, ERROR_EMPTY, "stl", source_line(source, stl.end),
                              "the solid has no facets; there is nothing to measure");
    return stl_mesh_join(source, &stl.mesh, 1, mesh, keep, &scratch, err);
}
