/* obj_plain.c - one branch a character class, eight characters at once. Each reader of a line returns its
 * end, or NULL where the line is not plain, and then has changed nothing that counts. */
#include "io/obj_plain.h"

#include "io/text.h"

#include <string.h>

enum { PLAIN_CORNERS = 8, LONGEST = 256 }; /* bytes of v and f lines, and what is read behind their end */
enum { FORM_TEXTURE = 1, FORM_NORMAL = 2 };

static inline const char *take_three(const char *at, const char *end, double value[3])
{
    for (size_t i = 0; i < 3; i++) {
        if (!(at = number_parse_short(at, end, &value[i])))
            return NULL;
        if (i < 2 && *at++ != ' ')
            return NULL;
    }
    return at;
}

static inline const char *take_vertex(struct obj_part *part, const char *at)
{
    double value[3], colour[3];
    at += *at == ' '; /* some write two blanks */
    if (part->vertex_count == part->vertex_room || !(at = take_three(at, part->end, value)))
        return NULL;
    if (*at == ' ' && !(at = take_three(at + 1, part->end, colour)))
        return NULL;
    if (!text_is_eol(*at))
        return NULL;
    part->positions[part->vertex_count++] = (vec3){value[0], value[1], value[2]};
    return at;
}

/* An index of 1 to `count`; as a number it has at most seven digits. */
static inline const char *take_index(const char *at, uint64_t count, uint32_t *index)
{
    struct digits digits = digits_take(at);
    *index = digits.value - 1;
    return digits.count < 8 && *index < count ? at + digits.count : NULL; /* no digit: 0 - 1 is above all */
}

/* What follows the first slash of a corner. */
static inline const char *take_attributes(const struct obj_part *part, const char *at, unsigned *form)
{
    uint32_t index;
    *form = 0;
    if (*at != '/') {
        *form = FORM_TEXTURE;
        if (!(at = take_index(at, (uint64_t)part->textures.count, &index)) || *at != '/')
            return at;
    }
    *form |= FORM_NORMAL;
    return take_index(at + 1, (uint64_t)part->normals.count, &index);
}

static inline const char *end_face(struct obj_part *part, const char *at, size_t size)
{
    if (size < 3 || !text_is_eol(*at))
        return NULL;
    part->corner_count += size;
    part->offsets[++part->face_count] = (uint32_t)part->corner_count;
    return at;
}

/* Corners with attributes, all in the form of the first. */
static const char *take_slashed_face(struct obj_part *part, const char *at, uint32_t *corners)
{
    unsigned first_form = 0, form;
    size_t size = 0;

    do {
        if (size == PLAIN_CORNERS || !(at = take_index(at, part->vertex_count, &corners[size])) || *at != '/'
            || !(at = take_attributes(part, at + 1, &form)))
            return NULL;
        first_form = size == 0 ? form : first_form;
        if (form != first_form)
            return NULL;
        size++;
    } while (*at == ' ' && !text_is_eol(*++at));
    return end_face(part, at, size);
}

static inline const char *take_face(struct obj_part *part, const char *at)
{
    const char *start = at, *next;
    uint32_t *corners = part->corners + part->corner_count;
    uint64_t vertices = part->vertex_count;
    size_t size = 0;

    if (part->face_count == part->face_room || part->corner_room - part->corner_count < PLAIN_CORNERS)
        return NULL;
    for (; size < PLAIN_CORNERS; size++, at++) {
        if (!(next = take_index(at, vertices, &corners[size])))
            return end_face(part, at, size); /* some write a blank behind the last */
        at = next;
        if (*at == '/')
            return size == 0 ? take_slashed_face(part, start, corners) : NULL;
        if (*at != ' ')
            return end_face(part, at, size + 1);
    }
    return NULL;
}

/* The end of a line that nobody reads; a tab, a control byte or a backslash in it is not plain. Bits are set
 * in the first byte below 14 or equal to a backslash; a borrow can only disturb those behind it. */
static inline const char *pass_line(const char *at, const char *end)
{
    const uint64_t ones = 0x0101010101010101, tops = 0x80 * ones;
    for (; end - at >= 8; at += 8) {
        uint64_t word, backslash;
        memcpy(&word, at, sizeof word);
        backslash = word ^ '\\' * ones;
        uint64_t odd = (((word - 14 * ones) & ~word) | ((backslash - ones) & ~backslash)) & tops;
        if (odd) {
            at += __builtin_ctzll(odd) / 8;
            return text_is_eol(*at) ? at : NULL;
        }
    }
    return NULL;
}

static inline const char *pass_attribute(struct obj_part *part, const char *at)
{
    struct obj_attribute *attribute = at[1] == 't' ? &part->textures : &part->normals;
    const char *line_end = pass_line(at + 3, part->end);
    attribute->count += line_end != NULL;
    return line_end;
}

const char *obj_plain_read(struct obj_part *part, const char *at, const char *stop)
{
    while (at < stop && part->end - at >= LONGEST) {
        const char *line_end = NULL;
        if (at[0] == 'f' && at[1] == ' ')
            line_end = take_face(part, at + 2);
        else if (at[0] == 'v' && at[1] == ' ')
            line_end = take_vertex(part, at + 2);
        else if (at[0] == 'v' && (at[1] == 't' || at[1] == 'n') && at[2] == ' ')
            line_end = pass_attribute(part, at);
        if (!line_end)
            break;
        at = line_end;
        at += at < part->end && *at == '\r';
        at += at < part->end && *at == '\n';
    }
    return at;
}
