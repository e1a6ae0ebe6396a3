/* mend_match.c - numbering positions over both meshes, then looking up the subject's faces among the
 * reference's. A mend mostly keeps the order of what it leaves alone: after a vertex or face that was found,
 * the next one is tried first, and only where that fails the table is asked. */
#include "measure/mend_match.h"

#include <assert.h>
#include <string.h>

#include "base/tasks.h"
#include "measure/hash_places.h"
#include "measure/position_key.h"

enum { CHUNK = 1 << 14 };

/* --- positions --- */

struct positioning {
    struct mend_match *match;
    struct hash_places table; /* of vertices of one mesh */
    uint64_t *hashes;         /* [vertex_count] of the reference */
    bool may_share;           /* some face of the subject has all corners where the reference has vertices */
};

static void hash_positions(void *context, size_t chunk)
{
    struct positioning *positioning = context;
    const struct mesh *mesh = positioning->match->mesh[MEND_REFERENCE];

    for (size_t v = chunk * CHUNK; v < tasks_chunk_end(chunk, CHUNK, mesh->vertex_count); v++)
        positioning->hashes[v] = position_hash(mesh->positions[v]);
}

/* Where the table has a vertex of the mesh at p, or the free place where it would go. */
static uint64_t *look_up_position(const struct hash_places *table, const struct mesh *mesh, vec3 p,
                                  uint64_t hash)
{
    size_t at = hash_places_start(table, hash);

    while (table->places[at] != HASH_PLACE_FREE
           && !(hash_place_may_hold(table->places[at], hash)
                && position_equal(mesh->positions[hash_place_number(table->places[at])], p)))
        at = hash_places_after(table, at);
    return &table->places[at];
}

/* Vertex v of the mesh, which is the first at its position or a later one. */
static uint32_t enter_position(const struct hash_places *table, const struct mesh *mesh, uint32_t v,
                               uint64_t hash)
{
    uint64_t *place = look_up_position(table, mesh, mesh->positions[v], hash);

    if (*place == HASH_PLACE_FREE)
        *place = hash_place_of(hash, v);
    return hash_place_number(*place);
}

/* The subject's vertices that stand where one of the reference's does. */
static void find_positions(void *context, size_t chunk)
{
    struct positioning *positioning = context;
    struct mend_match *match = positioning->match;
    const struct mesh *subject = match->mesh[MEND_SUBJECT], *reference = match->mesh[MEND_REFERENCE];
    size_t next = chunk * CHUNK; /* of the reference: tried first */

    for (size_t v = chunk * CHUNK; v < tasks_chunk_end(chunk, CHUNK, subject->vertex_count); v++) {
        vec3 p = subject->positions[v];
        if (next >= reference->vertex_count || !position_equal(reference->positions[next], p)) {
            uint64_t place = *look_up_position(&positioning->table, reference, p, position_hash(p));
            if (place == HASH_PLACE_FREE) {
                match->positions[MEND_SUBJECT][v] = MEND_NONE;
                continue;
            }
            next = hash_place_number(place);
        }
        match->positions[MEND_SUBJECT][v] = match->positions[MEND_REFERENCE][next++];
    }
}

static void look_for_shared(void *context, size_t chunk)
{
    struct positioning *positioning = context;
    const struct mesh *subject = positioning->match->mesh[MEND_SUBJECT];
    const uint32_t *positions = positioning->match->positions[MEND_SUBJECT];
    bool may_share = false;

    for (size_t f = chunk * CHUNK; !may_share && f < tasks_chunk_end(chunk, CHUNK, subject->face_count);
         f++) {
        const uint32_t *face = mesh_face(subject, f);
        may_share = true;
        for (size_t c = 0; may_share && c < mesh_face_size(subject, f); c++)
            may_share = positions[face[c]] != MEND_NONE;
    }
    if (may_share)
        __atomic_store_n(&positioning->may_share, true, __ATOMIC_RELAXED);
}

static bool number_new_positions(struct mend_match *match, struct arena scratch)
{
    const struct mesh *subject = match->mesh[MEND_SUBJECT];
    uint32_t *positions = match->positions[MEND_SUBJECT];
    size_t reference_count = match->mesh[MEND_REFERENCE]->vertex_count, count = 0;
    struct hash_places table;

    for (size_t v = 0; v < subject->vertex_count; v++)
        count += positions[v] == MEND_NONE;
    if (!hash_places_open(&table, count, &scratch))
        return false;
    for (uint32_t v = 0; count > 0 && v < subject->vertex_count; v++)
        if (positions[v] == MEND_NONE)
            positions[v] =
                (uint32_t)(reference_count
                           + enter_position(&table, subject, v, position_hash(subject->positions[v])));
    return true;
}

/* *may_share: false where there is no shared face; then the subject's own positions have no numbers. */
static bool number_positions(struct mend_match *match, size_t threads, bool *may_share, struct arena scratch)
{
    const struct mesh *subject = match->mesh[MEND_SUBJECT], *reference = match->mesh[MEND_REFERENCE];
    struct positioning positioning = {.match = match};

    positioning.hashes = ARENA_NEW(&scratch, uint64_t, reference->vertex_count);
    if (!positioning.hashes || !hash_places_open(&positioning.table, reference->vertex_count, &scratch))
        return false;
    tasks_run(threads, tasks_chunks(reference->vertex_count, CHUNK), hash_positions, &positioning);
    for (uint32_t v = 0; v < reference->vertex_count; v++)
        match->positions[MEND_REFERENCE][v] =
            enter_position(&positioning.table, reference, v, positioning.hashes[v]);
    tasks_run(threads, tasks_chunks(subject->vertex_count, CHUNK), find_positions, &positioning);
    match->position_end = reference->vertex_count + subject->vertex_count;
    tasks_run(threads, tasks_chunks(subject->face_count, CHUNK), look_for_shared, &positioning);
    *may_share = positioning.may_share;
    return !*may_share || number_new_positions(match, scratch);
}

/* --- faces --- */

/* The corners of a face as positions. */
struct outline {
    const uint32_t *positions, *vertices;
    size_t size;
    bool turned; /* read backwards */
};

static struct outline outline_of(const struct mend_match *match, enum mend_side side, size_t f, bool turned)
{
    return (struct outline){match->positions[side], mesh_face(match->mesh[side], f),
                            mesh_face_size(match->mesh[side], f), turned};
}

/* i below twice the size. */
static uint32_t corner(const struct outline *outline, size_t i)
{
    i = i < outline->size ? i : i - outline->size;
    return outline->positions[outline->vertices[outline->turned ? outline->size - 1 - i : i]];
}

/* Where the smallest of the cyclic sequences starts; linear (K. S. Booth, "Lexicographically least circular
 * substrings", Information Processing Letters 10, 1980, in its two-pointer form). */
static size_t least_start(const struct outline *outline)
{
    size_t i = 0, j = 1, same = 0, size = outline->size;

    while (i < size && j < size && same < size) {
        uint32_t a = corner(outline, i + same), b = corner(outline, j + same);
        if (a == b) {
            same++;
            continue;
        }
        if (a > b)
            i += same + 1;
        else
            j += same + 1;
        j += i == j;
        same = 0;
    }
    return i < j ? i : j;
}

static bool agree_from(const struct outline *a, size_t a_start, const struct outline *b, size_t b_start)
{
    for (size_t i = 0; i < a->size; i++)
        if (corner(a, a_start + i) != corner(b, b_start + i))
            return false;
    return true;
}

/* The same cyclic sequence. */
static bool outlines_agree(const struct outline *a, const struct outline *b)
{
    if (a->size != b->size)
        return false;
    if (a->size > 4)
        return agree_from(a, least_start(a), b, least_start(b));
    for (size_t start = 0; start < a->size; start++)
        if (agree_from(a, start, b, 0))
            return true;
    return false;
}

/* The same from every corner and in both directions. */
static uint64_t face_hash(const struct mend_match *match, enum mend_side side, size_t f)
{
    const struct outline outline = outline_of(match, side, f, false);
    uint64_t sum = outline.size, last = mix64(corner(&outline, outline.size - 1));

    for (size_t i = 0; i < outline.size; i++) {
        uint64_t here = mix64(corner(&outline, i));
        sum += outline.size == 3 ? here : mix64(last + here);
        last = here;
    }
    return mix64(sum);
}

/* Faces of the reference that are the same in the same direction are a class, named by its first member. */
struct facing {
    struct mend_match *match;
    struct hash_places table; /* of classes */
    uint64_t *hashes;         /* [reference face_count] */
    uint32_t *class;          /* [reference face_count] */
    uint32_t *next;           /* [reference face_count] the next member of the same class */
    uint32_t *first;          /* [reference face_count] of a class, the first member without a partner */
    uint32_t *last;           /* [reference face_count] of a class, its last member */
    uint32_t *found;          /* [subject face_count] the class of each face */
    bool turned;              /* looking for those listed in the other direction */
};

static void hash_faces(void *context, size_t chunk)
{
    struct facing *facing = context;
    size_t count = facing->match->mesh[MEND_REFERENCE]->face_count;

    for (size_t f = chunk * CHUNK; f < tasks_chunk_end(chunk, CHUNK, count); f++)
        facing->hashes[f] = face_hash(facing->match, MEND_REFERENCE, f);
}

/* Where the table has a face of the reference with that outline, or the free place where it would go. */
static uint64_t *look_up_face(const struct facing *facing, const struct outline *outline, uint64_t hash)
{
    size_t at = hash_places_start(&facing->table, hash);

    for (; facing->table.places[at] != HASH_PLACE_FREE; at = hash_places_after(&facing->table, at)) {
        uint64_t place = facing->table.places[at];
        if (!hash_place_may_hold(place, hash))
            continue;
        struct outline other = outline_of(facing->match, MEND_REFERENCE, hash_place_number(place), false);
        if (outlines_agree(outline, &other))
            break;
    }
    return &facing->table.places[at];
}

static void enter_face(struct facing *facing, uint32_t f)
{
    struct outline outline = outline_of(facing->match, MEND_REFERENCE, f, false);
    uint64_t *place = look_up_face(facing, &outline, facing->hashes[f]);

    facing->next[f] = MEND_NONE;
    if (*place == HASH_PLACE_FREE) {
        *place = hash_place_of(facing->hashes[f], f);
        facing->first[f] = facing->last[f] = facing->class[f] = f;
        return;
    }
    uint32_t class = hash_place_number(*place);
    facing->class[f] = class;
    facing->next[facing->last[class]] = f;
    facing->last[class] = f;
}

static void find_faces(void *context, size_t chunk)
{
    struct facing *facing = context;
    const struct mend_match *match = facing->match;
    size_t next = chunk * CHUNK, reference_count = match->mesh[MEND_REFERENCE]->face_count;

    for (size_t f = chunk * CHUNK; f < tasks_chunk_end(chunk, CHUNK, match->mesh[MEND_SUBJECT]->face_count);
         f++) {
        facing->found[f] = MEND_NONE;
        if (match->partner[MEND_SUBJECT][f] != MEND_NONE)
            continue;
        struct outline outline = outline_of(match, MEND_SUBJECT, f, facing->turned);
        struct outline guess = {0};
        if (next < reference_count)
            guess = outline_of(match, MEND_REFERENCE, next, false);
        if (!outlines_agree(&outline, &guess)) {
            uint64_t place = *look_up_face(facing, &outline, face_hash(match, MEND_SUBJECT, f));
            if (place == HASH_PLACE_FREE)
                continue;
            next = hash_place_number(place);
        }
        facing->found[f] = facing->class[next++];
    }
}

/* Each face takes the first member of its class that no other has taken. */
static void pair_faces(struct facing *facing)
{
    struct mend_match *match = facing->match;

    for (uint32_t f = 0; f < match->mesh[MEND_SUBJECT]->face_count; f++) {
        if (facing->found[f] == MEND_NONE || facing->first[facing->found[f]] == MEND_NONE)
            continue;
        uint32_t other = facing->first[facing->found[f]];
        facing->first[facing->found[f]] = facing->next[other];
        match->partner[MEND_SUBJECT][f] = other;
        match->partner[MEND_REFERENCE][other] = f;
        match->turned[f] = facing->turned;
        match->shared_count++;
        match->turned_count += facing->turned;
    }
}

static bool match_faces(struct mend_match *match, size_t threads, struct arena scratch)
{
    size_t subject_count = match->mesh[MEND_SUBJECT]->face_count,
           reference_count = match->mesh[MEND_REFERENCE]->face_count;
    struct facing facing = {
        .match = match,
        .hashes = ARENA_NEW(&scratch, uint64_t, reference_count),
        .class = ARENA_NEW(&scratch, uint32_t, reference_count),
        .next = ARENA_NEW(&scratch, uint32_t, reference_count),
        .first = ARENA_NEW(&scratch, uint32_t, reference_count),
        .last = ARENA_NEW(&scratch, uint32_t, reference_count),
        .found = ARENA_NEW(&scratch, uint32_t, subject_count),
    };

    if (!hash_places_open(&facing.table, reference_count, &scratch) || scratch.failed)
        return false;
    tasks_run(threads, tasks_chunks(reference_count, CHUNK), hash_faces, &facing);
    for (uint32_t f = 0; f < reference_count; f++)
        enter_face(&facing, f);
    tasks_run(threads, tasks_chunks(subject_count, CHUNK), find_faces, &facing);
    pair_faces(&facing);
    if (match->shared_count < subject_count && match->shared_count < reference_count) {
        facing.turned = true;
        tasks_run(threads, tasks_chunks(subject_count, CHUNK), find_faces, &facing);
        pair_faces(&facing);
    }
    return true;
}

size_t mend_match_bytes(const struct mesh *subject, const struct mesh *reference)
{
    size_t numbers =
        subject->vertex_count + reference->vertex_count + subject->face_count + reference->face_count;

    return numbers * sizeof(uint32_t) + subject->face_count * sizeof(bool) + 1024; /* alignment and guards */
}

bool mend_match_build(const struct mesh *subject, const struct mesh *reference, size_t threads,
                      struct mend_match *match, struct arena *keep, struct arena scratch, struct error *err)
{
    bool may_share;

    *match = (struct mend_match){.mesh = {[MEND_REFERENCE] = reference, [MEND_SUBJECT] = subject}};
    for (int side = 0; side < MEND_SIDES; side++) {
        match->positions[side] = ARENA_NEW(keep, uint32_t, match->mesh[side]->vertex_count);
        match->partner[side] = ARENA_NEW(keep, uint32_t, match->mesh[side]->face_count);
    }
    match->turned = ARENA_ZERO(keep, bool, subject->face_count);
    if (keep->failed)
        return arena_error(err);
    for (int side = 0; side < MEND_SIDES; side++)
        memset(match->partner[side], 0xff, match->mesh[side]->face_count * sizeof *match->partner[side]);
    return (number_positions(match, threads, &may_share, scratch)
            && (!may_share || match_faces(match, threads, scratch)))
           || arena_error(err);
}
