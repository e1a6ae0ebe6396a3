/* obj.c - an OBJ file in one part or in several that are read at the same time, joined into a mesh. */
#include "io/obj.h"

#include "base/tasks.h"
#include "io/obj_crease.h"
#include "io/obj_part.h"
#include "io/text.h"

#include <pthread.h>
#include <string.h>

enum { PART_BYTES = 1 << 20, PARTS_MAX = 64 };

/* Statements that later parts count on, and what bounds a part's faces and corners. Counted by a glance at
 * how lines begin, which odd files mislead; reading the parts tells whether it was right. */
struct glance {
    size_t vertices, textures, normals;
    size_t faces;
    size_t blanks; /* a corner stands behind one, or behind a continued line */
};

struct obj {
    const struct source *source;
    size_t part_count;
    struct obj_part *parts;
    struct source *sources; /* [part_count] with the part's own file and progress */
    struct mesh_file *files;
    struct error *errors;
    struct glance *glances;
    bool *done;
    vec3 *positions;
    size_t *first_face, *first_corner; /* [part_count + 1] */
    struct mesh *mesh;
    pthread_mutex_t lock; /* of what follows */
    size_t told_bytes;
};

static bool tell(void *context, const char *stage, double fraction)
{
    struct obj *obj = context;
    const struct source *whole = obj->source;
    size_t bytes = (size_t)(whole->end - whole->begin);
    struct error err;

    (void)stage, (void)fraction;
    pthread_mutex_lock(&obj->lock);
    bool go_on = source_tell(whole, whole->begin + obj->told_bytes, &err);
    obj->told_bytes +=
        bytes - obj->told_bytes < SOURCE_TELL_BYTES ? bytes - obj->told_bytes : SOURCE_TELL_BYTES;
    pthread_mutex_unlock(&obj->lock);
    return go_on;
}

/* The first place from at on where a statement may begin whatever stands before: behind a line feed that no
 * backslash precedes. */
static const char *statement_border(const char *at, const char *begin, const char *end)
{
    for (;;) {
        const char *feed = memchr(at, '\n', (size_t)(end - at));
        if (!feed)
            return end;
        const char *last = feed > begin && feed[-1] == '\r' ? feed - 1 : feed;
        if (last > begin && last[-1] != '\\')
            return feed + 1;
        at = feed + 1;
    }
}

static void divide(struct obj *obj)
{
    const char *begin = obj->source->text, *end = obj->source->end, *at = begin;
    size_t bytes = (size_t)(end - begin);
    for (size_t i = 0; i < obj->part_count; i++) {
        const char *goal = begin + bytes / obj->part_count * (i + 1);
        const char *next = i + 1 == obj->part_count ? end
                           : goal <= at             ? at
                                                    : statement_border(goal, begin, end);
        obj->parts[i].begin = at;
        obj->parts[i].end = at = next;
    }
}

static size_t count_blanks(const char *at, const char *end)
{
    size_t count = 0;
    for (; at < end; at++)
        count += text_is_blank(*at);
    return count;
}

static void glance_at_lines(const char *at, const char *end, struct glance *glance)
{
    glance->blanks += count_blanks(at, end);
    while (at < end) {
        at = text_skip_blank(at, end);
        if (end - at > 2 && *at == 'v') {
            glance->vertices += text_is_blank(at[1]);
            glance->textures += at[1] == 't';
            glance->normals += at[1] == 'n';
        }
        glance->faces += at < end && *at == 'f';
        const char *feed = at < end ? memchr(at, '\n', (size_t)(end - at)) : NULL;
        at = feed ? feed + 1 : end;
    }
}

/* Sixteen bytes at once; comparing gives -1 in each that is equal. */
typedef uint8_t bytes16 __attribute__((vector_size(16)));

static bytes16 bytes16_at(const char *at)
{
    bytes16 bytes;
    memcpy(&bytes, at, sizeof bytes);
    return bytes;
}

static size_t bytes16_sum(bytes16 bytes)
{
    size_t sum = 0;
    for (size_t i = 0; i < 16; i++)
        sum += bytes[i];
    return sum;
}

static bytes16 bytes16_blanks(bytes16 bytes)
{
    return (bytes16)(bytes == ' ') | (bytes16)(bytes == '\t');
}

/* The same for all lines that follow a line feed in [at, *stopped): false where one of them is indented. */
static bool glance_at_feeds(const char *at, const char *end, const char **stopped, struct glance *glance)
{
    bytes16 indented = {0};
    while (end - at >= 18) {
        bytes16 vertices = {0}, textures = {0}, normals = {0}, faces = {0}, blanks = {0};
        for (size_t i = 0; i < 255 && end - at >= 18; i++, at += 16) { /* no sum of a byte exceeds 255 */
            bytes16 first = bytes16_at(at), second = bytes16_at(at + 1), third = bytes16_at(at + 2);
            bytes16 feed = (bytes16)(first == '\n'), v = feed & (bytes16)(second == 'v');
            vertices -= v & bytes16_blanks(third);
            textures -= v & (bytes16)(third == 't');
            normals -= v & (bytes16)(third == 'n');
            faces -= feed & (bytes16)(second == 'f');
            blanks -= bytes16_blanks(first);
            indented |= feed & bytes16_blanks(second);
        }
        glance->vertices += bytes16_sum(vertices);
        glance->textures += bytes16_sum(textures);
        glance->normals += bytes16_sum(normals);
        glance->faces += bytes16_sum(faces);
        glance->blanks += bytes16_sum(blanks);
    }
    *stopped = at;
    return bytes16_sum(indented) == 0;
}

static void glance_at_part(void *context, size_t i)
{
    struct obj *obj = context;
    const char *begin = obj->parts[i].begin, *end = obj->parts[i].end, *stopped;
    struct glance glance = {0};
    const char *feed = begin < end ? memchr(begin, '\n', (size_t)(end - begin)) : NULL;
    if (feed && glance_at_feeds(feed, end, &stopped, &glance)) {
        glance_at_lines(begin, feed, &glance);
        feed = memchr(stopped, '\n', (size_t)(end - stopped));
        const char *next = feed ? feed + 1 : end;
        glance.blanks += count_blanks(stopped, next);
        glance_at_lines(next, end, &glance);
    } else {
        glance = (struct glance){0};
        glance_at_lines(begin, end, &glance);
    }
    obj->glances[i] = glance;
}

static void read_part(void *context, size_t i)
{
    struct obj *obj = context;
    obj->parts[i].offsets[0] = 0; /* not before: the thread that fills a page is the one to fetch it */
    obj->done[i] = obj_part_read(&obj->parts[i], &obj->errors[i]);
}

static bool make_parts(struct obj *obj, struct arena *scratch)
{
    size_t count = obj->part_count;
    obj->parts = ARENA_ZERO(scratch, struct obj_part, count);
    obj->sources = ARENA_NEW(scratch, struct source, count);
    obj->files = ARENA_ZERO(scratch, struct mesh_file, count);
    obj->errors = ARENA_ZERO(scratch, struct error, count);
    obj->glances = ARENA_ZERO(scratch, struct glance, count);
    obj->done = ARENA_ZERO(scratch, bool, count);
    obj->first_face = ARENA_ZERO(scratch, size_t, count + 1);
    obj->first_corner = ARENA_ZERO(scratch, size_t, count + 1);
    return !scratch->failed;
}

/* Gives every part its counts and arrays. False where memory is short. */
static bool furnish_parts(struct obj *obj, const struct progress *progress, struct arena *keep,
                          struct arena *scratch)
{
    struct glance sum = {0};
    for (size_t i = 0; i < obj->part_count; i++) {
        struct obj_part *part = &obj->parts[i];
        obj->sources[i] = *obj->source;
        obj->sources[i].file = &obj->files[i];
        obj->sources[i].progress = progress;
        part->source = &obj->sources[i];
        part->vertex_count = sum.vertices;
        part->textures.count = (int64_t)sum.textures;
        part->normals.count = (int64_t)sum.normals;
        sum.vertices += obj->glances[i].vertices;
        sum.textures += obj->glances[i].textures;
        sum.normals += obj->glances[i].normals;
        part->vertex_room = sum.vertices;
        part->face_room = obj->glances[i].faces;
        part->corner_room =
            obj->glances[i].blanks < MESH_MAX_CORNERS ? obj->glances[i].blanks : MESH_MAX_CORNERS;
        part->offsets = ARENA_NEW(scratch, uint32_t, part->face_room + 1);
        part->corners = ARENA_NEW(scratch, uint32_t, part->corner_room);
        if (scratch->failed)
            return false;
    }
    obj->positions = sum.vertices <= MESH_MAX_VERTICES ? ARENA_NEW(keep, vec3, sum.vertices) : NULL;
    for (size_t i = 0; i < obj->part_count; i++)
        obj->parts[i].positions = obj->positions;
    return obj->positions != NULL;
}

/* True when each part ended with the counts that the next began with, up to the first that was refused;
 * *refused is its number, or part_count. */
static bool glances_were_right(const struct obj *obj, size_t *refused)
{
    struct glance sum = {0};
    for (*refused = 0; *refused < obj->part_count; ++*refused) {
        const struct obj_part *part = &obj->parts[*refused];
        const struct glance *glance = &obj->glances[*refused];
        if (part->overflown)
            return false;
        if (!obj->done[*refused])
            return true;
        sum.vertices += glance->vertices;
        sum.textures += glance->textures;
        sum.normals += glance->normals;
        if (part->vertex_count != sum.vertices || part->textures.count != (int64_t)sum.textures
            || part->normals.count != (int64_t)sum.normals)
            return false;
    }
    return true;
}

static void join_attribute(struct obj_attribute *whole, const struct obj_attribute *part)
{
    whole->count = part->count;
    whole->highest = part->highest > whole->highest ? part->highest : whole->highest;
    whole->early += part->early;
    whole->bad += part->bad;
}

/* What the parts noted, in their order, as one part would have noted it. */
static void join_notes(struct obj *obj, struct obj_part *whole)
{
    struct mesh_file *file = obj->source->file;
    for (size_t i = 0; i < obj->part_count; i++) {
        const struct obj_part *part = &obj->parts[i];
        const struct warning_list *warnings = &obj->files[i].warnings;
        for (size_t w = 0; w < warnings->count; w++)
            warning_add(&file->warnings, warnings->entries[w].code, warnings->entries[w].count, "%s",
                        warnings->entries[w].text);
        file->dropped_faces += obj->files[i].dropped_faces;
        whole->vertex_count = part->vertex_count;
        whole->face_count += part->face_count;
        whole->corner_count += part->corner_count;
        whole->free_form += part->free_form;
        whole->crease_count += part->crease_count;
        join_attribute(&whole->textures, &part->textures);
        join_attribute(&whole->normals, &part->normals);
        if (part->highest_early > whole->highest_early) {
            whole->highest_early = part->highest_early;
            whole->highest_early_at = part->highest_early_at;
        }
        obj->first_face[i + 1] = whole->face_count;
        obj->first_corner[i + 1] = whole->corner_count;
    }
}

/* What only the end of the file can tell. */
static bool check_whole(const struct source *source, const struct obj_part *whole, struct error *err)
{
    if (whole->highest_early > (int64_t)whole->vertex_count) {
        struct text_quote quote = text_quote(whole->highest_early_at, source->end);
        return error_set_line(err, ERROR_DATA, "obj", source_line(source, whole->highest_early_at),
                              "a face names vertex '%s', but the file has %zu vertices; export it again",
                              quote.text, whole->vertex_count);
    }
    if (whole->face_count == 0)
        return error_set_line(
            err, ERROR_EMPTY, "obj", source_line(source, source->end), "%s",
            whole->free_form ? "no polygons, only free-form curves or surfaces, which are not read; "
                               "convert them to polygons"
            : source->file->dropped_faces ? "no face of three or more corners"
            : whole->vertex_count         ? "vertices but no faces; export the surface, not the points"
                                          : "no faces; the file holds no mesh");
    if (whole->corner_count > MESH_MAX_CORNERS)
        return source_refuse_full(source, whole->corner_count, MESH_MAX_CORNERS, "corners of faces", err);
    const struct obj_attribute *attributes[] = {&whole->textures, &whole->normals};
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

static void copy_part(void *context, size_t i)
{
    const struct obj *obj = context;
    const struct obj_part *part = &obj->parts[i];
    struct mesh *mesh = obj->mesh;
    uint32_t first_corner = (uint32_t)obj->first_corner[i];
    memcpy(mesh->face_vertices + first_corner, part->corners, part->corner_count * sizeof *part->corners);
    for (size_t f = 1; f <= part->face_count; f++)
        mesh->face_offsets[obj->first_face[i] + f] = first_corner + part->offsets[f];
}

/* The mesh from parts that were all read. */
static bool join_parts(struct obj *obj, struct mesh *mesh, struct arena *keep, struct error *err)
{
    struct obj_part whole = {.vertex_count = 0};
    join_notes(obj, &whole);
    if (!check_whole(obj->source, &whole, err))
        return false;
    mesh->vertex_count = whole.vertex_count;
    mesh->face_count = whole.face_count;
    mesh->positions = obj->positions;
    mesh->face_offsets = ARENA_NEW(keep, uint32_t, whole.face_count + 1);
    mesh->face_vertices = ARENA_NEW(keep, uint32_t, whole.corner_count);
    if (!mesh->face_offsets || !mesh->face_vertices)
        return arena_error(err);
    mesh->face_offsets[0] = 0;
    obj->mesh = mesh;
    tasks_run(obj->source->threads, obj->part_count, copy_part, obj);
    return whole.crease_count == 0 || obj_read_creases(obj->source, whole.crease_count, mesh, keep, err);
}

/* Rooms for so many bytes: "f 1 1 1" with a line end takes 8, a corner 2. */
static size_t most_faces(size_t bytes)
{
    return bytes / 8 + 1;
}
static size_t most_corners(size_t bytes)
{
    return bytes / 2 + 1 < MESH_MAX_CORNERS ? bytes / 2 + 1 : MESH_MAX_CORNERS;
}

/* The whole file as one part, whose rooms are bounded by its bytes and the arenas. */
static bool read_whole(const struct source *source, struct mesh *mesh, struct arena *keep,
                       struct arena scratch, struct error *err)
{
    struct obj obj = {.source = source, .part_count = 1};
    size_t bytes = (size_t)(source->end - source->text);
    size_t most_vertices = bytes / 8 + 1 < MESH_MAX_VERTICES ? bytes / 8 + 1 : MESH_MAX_VERTICES;

    if (!make_parts(&obj, &scratch))
        return arena_error(err);
    struct obj_part *part = obj.parts;
    obj.sources[0] = *source;
    obj.sources[0].file = &obj.files[0];
    *part = (struct obj_part){.source = obj.sources, .begin = source->text, .end = source->end};
    part->vertex_room = source_room(keep, most_vertices, sizeof *part->positions, 0.6);
    part->face_room = source_room(&scratch, most_faces(bytes), sizeof *part->offsets, 0.2);
    part->corner_room = source_room(&scratch, most_corners(bytes), sizeof *part->corners, 0.7);
    part->positions = obj.positions = ARENA_NEW(keep, vec3, part->vertex_room);
    part->offsets = ARENA_NEW(&scratch, uint32_t, part->face_room + 1);
    part->corners = ARENA_NEW(&scratch, uint32_t, part->corner_room);
    if (!part->positions || !part->offsets || !part->corners)
        return arena_error(err);
    part->offsets[0] = 0;
    if (!obj_part_read(part, err))
        return false;
    arena_trim(keep, part->positions, part->vertex_count, sizeof *part->positions);
    return join_parts(&obj, mesh, keep, err);
}

/* The file in parts, which gives the same mesh, notes and error as in one. False in *settled where a glance
 * was wrong or memory is short: then nothing was noted, and the file is to be read whole. */
static bool read_in_parts(struct obj *obj, struct mesh *mesh, struct arena *keep, struct arena scratch,
                          bool *settled, struct error *err)
{
    const struct progress progress = {tell, obj};
    size_t threads = obj->source->threads, refused;
    struct arena before = *keep;

    *settled = false;
    if (!make_parts(obj, &scratch))
        return false;
    divide(obj);
    tasks_run(threads, obj->part_count, glance_at_part, obj);
    if (!furnish_parts(obj, &progress, keep, &scratch)) {
        *keep = before;
        return false;
    }
    tasks_run(threads, obj->part_count, read_part, obj);
    if (!glances_were_right(obj, &refused)) {
        *keep = before;
        return false;
    }
    *settled = true;
    if (refused < obj->part_count) {
        *err = obj->errors[refused];
        return false;
    }
    return join_parts(obj, mesh, keep, err);
}

bool obj_read(const struct source *source, struct mesh *mesh, struct arena *keep, struct arena scratch,
              struct error *err)
{
    size_t parts = (size_t)(source->end - source->text) / PART_BYTES;
    bool settled = false, ok = false;

    if (source->threads > 1 && parts > 1) {
        struct obj obj = {.source = source, .part_count = parts < PARTS_MAX ? parts : PARTS_MAX};
        pthread_mutex_init(&obj.lock, NULL);
        ok = read_in_parts(&obj, mesh, keep, scratch, &settled, err);
        pthread_mutex_destroy(&obj.lock);
    }
    return settled ? ok : read_whole(source, mesh, keep, scratch, err);
}
