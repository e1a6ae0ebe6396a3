/* deviation_shared.c - both lists side by side, as a mended mesh keeps its order; then, of what that leaves,
 * hashes of the points and of the triangles whose points are shared. */
#include "measure/deviation_shared.h"

#include "base/ahead.h"
#include "base/tasks.h"
#include "measure/hash_places.h"
#include "measure/position_key.h"

#include <string.h>

#define CHUNK ((size_t)1 << 13)

static inline vec3 corner_of(const struct deviation_surface *surface, size_t triangle, int i)
{
    return surface->points[surface->triangulation.corners[triangle][i]];
}

/* True when the corners of triangle s are, in their order, corners i, j and k of triangle t. */
static inline bool same_corners(const struct deviation_surface *a, size_t s,
                                const struct deviation_surface *b, size_t t, int i, int j, int k)
{
    return position_equal(corner_of(a, s, 0), corner_of(b, t, i))
           && position_equal(corner_of(a, s, 1), corner_of(b, t, j))
           && position_equal(corner_of(a, s, 2), corner_of(b, t, k));
}

static inline bool same_triangle(const struct deviation_surface *a, size_t s,
                                 const struct deviation_surface *b, size_t t)
{
    return same_corners(a, s, b, t, 0, 1, 2) || same_corners(a, s, b, t, 1, 2, 0)
           || same_corners(a, s, b, t, 2, 0, 1) || same_corners(a, s, b, t, 2, 1, 0)
           || same_corners(a, s, b, t, 1, 0, 2) || same_corners(a, s, b, t, 0, 2, 1);
}

/* --- side by side --- */

#define LOOK_AHEAD 1024 /* triangles that one list may have and the other not, in a row */
#define LOOKS 4096      /* that may be in vain, */
#define LOOKS_OF_ONE 4  /* and more for each triangle that was not */

/* From one end of both lists to the middle of the first. */
struct walk {
    const struct deviation_surface *const *surfaces;
    uint32_t *const *twins;
};

/* Triangle i of a list, from its beginning or its end. */
static size_t listed(const struct deviation_surface *surface, bool backwards, size_t i)
{
    return backwards ? surface->triangulation.triangle_count - 1 - i : i;
}

static bool are_same(const struct walk *walk, bool backwards, size_t i, size_t j)
{
    const struct deviation_surface *a = walk->surfaces[0], *b = walk->surfaces[1];

    return i < a->triangulation.triangle_count && j < b->triangulation.triangle_count
           && same_triangle(a, listed(a, backwards, i), b, listed(b, backwards, j));
}

/* Goes on from triangles that differ to the next two that are the same: where one list has some that the
 * other has not, or both have as many others. Returns how many were looked at; all of LOOK_AHEAD in vain. */
static size_t go_on(const struct walk *walk, bool backwards, size_t *i, size_t *j)
{
    for (size_t ahead = 1; ahead < LOOK_AHEAD; ahead++) {
        bool in_a = are_same(walk, backwards, *i + ahead, *j),
             in_b = are_same(walk, backwards, *i, *j + ahead),
             in_both = are_same(walk, backwards, *i + ahead, *j + ahead);
        if (!in_a && !in_b && !in_both)
            continue;
        *i += in_b ? 0 : ahead;
        *j += in_a && !in_b ? 0 : ahead;
        return ahead;
    }
    *i += LOOK_AHEAD;
    *j += LOOK_AHEAD;
    return LOOK_AHEAD;
}

/* Of several that are equal to it the first, whichever thread comes first. */
static void lower_twin(uint32_t *twin, uint32_t to)
{
    uint32_t now = __atomic_load_n(twin, __ATOMIC_RELAXED);

    while (to < now
           && !__atomic_compare_exchange_n(twin, &now, to, false, __ATOMIC_RELAXED, __ATOMIC_RELAXED)) {
    }
}

static void walk_from(void *context, size_t from)
{
    const struct walk *walk = context;
    const struct deviation_surface *a = walk->surfaces[0], *b = walk->surfaces[1];
    const bool backwards = from == 1;
    size_t half = a->triangulation.triangle_count / 2,
           end = backwards ? a->triangulation.triangle_count - half : half, allowed = LOOKS, i = 0, j = 0;

    while (i < end && j < b->triangulation.triangle_count && allowed >= LOOK_AHEAD) {
        if (!are_same(walk, backwards, i, j)) {
            allowed -= go_on(walk, backwards, &i, &j);
            continue;
        }
        size_t t = listed(a, backwards, i++), s = listed(b, backwards, j++);
        walk->twins[0][t] = (uint32_t)s;
        lower_twin(&walk->twins[1][s], (uint32_t)t);
        allowed += LOOKS_OF_ONE;
    }
}

/* Whether the lists are the same soon after one of their ends. */
static bool begin_alike(const struct walk *walk)
{
    for (int backwards = 0; backwards < 2; backwards++) {
        size_t i = 0, j = 0;
        if (are_same(walk, backwards, 0, 0) || go_on(walk, backwards, &i, &j) < LOOK_AHEAD)
            return true;
    }
    return false;
}

/* --- by hashes --- */

/* A surface's points, and a bit for each of their hashes, by which most that it has not are told. */
struct point_set {
    uint64_t *words;
    size_t bit_mask;
    struct hash_places table; /* of vertices */
};

/* A surface in the search for shared triangles. */
struct sharer {
    const struct deviation_surface *surface;
    uint64_t *hashes; /* [point_count] */
    uint32_t *twins;  /* [triangle_count] what is found */
    bool *may; /* [point_count] triangles with a corner that is not set are no candidates; NULL: those that
                * have a twin already are none */
};

/* Those of few that have no twin yet, and all of many. The candidates of one surface are in a table of open
 * addressing, those of the other are looked up; of equal copies in the table one stands for all. */
struct sharing {
    struct sharer few, many;
    struct point_set points; /* of few */
    size_t in_both;          /* points of many that are among them */
    struct sharer *kept, *asked;
    uint64_t *places; /* upper half of the hash, then the triangle; FREE where there is none */
    size_t mask;
    size_t candidates; /* of many */
    size_t copies;     /* candidates that were in the table already */
};

#define FREE UINT64_MAX

static size_t count_of(const struct sharer *sharer)
{
    return sharer->surface->triangulation.triangle_count;
}

static void hash_points(void *context, size_t chunk)
{
    struct sharer *sharer = context;

    for (size_t v = chunk * CHUNK; v < tasks_chunk_end(chunk, CHUNK, sharer->surface->point_count); v++)
        sharer->hashes[v] = position_hash(sharer->surface->points[v]);
}

/* The same for any order of the corners. */
static uint64_t hash_triangle(const struct sharer *sharer, size_t triangle)
{
    const uint32_t *corner = sharer->surface->triangulation.corners[triangle];

    return sharer->hashes[corner[0]] + sharer->hashes[corner[1]] + sharer->hashes[corner[2]];
}

static bool is_candidate(const struct sharer *sharer, size_t triangle)
{
    const uint32_t *corner = sharer->surface->triangulation.corners[triangle];

    if (!sharer->may)
        return sharer->twins[triangle] == BVH_NONE;
    return sharer->may[corner[0]] && sharer->may[corner[1]] && sharer->may[corner[2]];
}

static void count_candidates(void *context, size_t chunk)
{
    struct sharing *sharing = context;
    size_t count = 0;

    for (size_t t = chunk * CHUNK; t < tasks_chunk_end(chunk, CHUNK, count_of(&sharing->many)); t++)
        count += is_candidate(&sharing->many, t);
    __atomic_fetch_add(&sharing->candidates, count, __ATOMIC_RELAXED);
}

/* The entry of a triangle equal to that one, or FREE; *at is where it is, or would go. */
static inline uint64_t look_up(const struct sharing *sharing, const struct sharer *sharer, size_t triangle,
                               size_t *at)
{
    uint64_t hash = hash_triangle(sharer, triangle);

    for (*at = hash & sharing->mask;; *at = (*at + 1) & sharing->mask) {
        uint64_t entry = __atomic_load_n(&sharing->places[*at], __ATOMIC_RELAXED);
        if (entry == FREE
            || (entry >> 32 == hash >> 32
                && same_triangle(sharer->surface, triangle, sharing->kept->surface, (uint32_t)entry)))
            return entry;
    }
}

static void ask_ahead(const struct sharing *sharing, const struct sharer *sharer, size_t triangle)
{
    if (triangle + AHEAD < count_of(sharer))
        ahead_ask(&sharing->places[hash_triangle(sharer, triangle + AHEAD) & sharing->mask]);
}

/* False when a copy of it is in the table. Of several threads the first to come to a free place has it, and
 * the others look on from there: which copy is in the table may differ. */
static bool keep_triangle(const struct sharing *sharing, size_t triangle)
{
    uint64_t entry = hash_triangle(sharing->kept, triangle) >> 32 << 32 | triangle, unclaimed;
    size_t at;

    do {
        unclaimed = FREE;
        if (look_up(sharing, sharing->kept, triangle, &at) != FREE)
            return false;
    } while (!__atomic_compare_exchange_n(&sharing->places[at], &unclaimed, entry, false, __ATOMIC_RELAXED,
                                          __ATOMIC_RELAXED));
    return true;
}

static void keep_candidates(void *context, size_t chunk)
{
    struct sharing *sharing = context;
    size_t copies = 0;

    for (size_t t = chunk * CHUNK; t < tasks_chunk_end(chunk, CHUNK, count_of(sharing->kept)); t++)
        if (is_candidate(sharing->kept, t)) {
            ask_ahead(sharing, sharing->kept, t);
            copies += !keep_triangle(sharing, t);
        }
    __atomic_fetch_add(&sharing->copies, copies, __ATOMIC_RELAXED);
}

static void match_candidates(void *context, size_t chunk)
{
    struct sharing *sharing = context;
    const struct sharer *asked = sharing->asked, *kept = sharing->kept;
    size_t next = SIZE_MAX, at; /* most often the equal of the next one follows that of the last one */

    for (size_t t = chunk * CHUNK; t < tasks_chunk_end(chunk, CHUNK, count_of(asked)); t++) {
        if (!asked->may && asked->twins[t] != BVH_NONE)
            continue;
        if (sharing->copies > 0 || next >= count_of(kept)
            || !same_triangle(asked->surface, t, kept->surface, next)) {
            uint64_t equal = is_candidate(asked, t) ? look_up(sharing, asked, t, &at) : FREE;
            if (equal == FREE)
                continue;
            next = (uint32_t)equal;
        }
        lower_twin(&asked->twins[t], (uint32_t)next);
        lower_twin(&kept->twins[next++], (uint32_t)t);
    }
}

/* What stands for the copies was matched, or not; so are they. */
static void match_copies(const struct sharing *sharing)
{
    const struct sharer *kept = sharing->kept;
    size_t at;

    for (size_t t = 0; sharing->copies > 0 && t < count_of(kept); t++)
        if (is_candidate(kept, t))
            kept->twins[t] = kept->twins[(uint32_t)look_up(sharing, kept, t, &at)];
}

static bool find_hashes(struct sharer *sharer, size_t threads, struct arena *arena)
{
    size_t count = sharer->surface->point_count;

    sharer->hashes = ARENA_NEW(arena, uint64_t, count);
    if (!sharer->hashes)
        return false;
    tasks_run(threads, tasks_chunks(count, CHUNK), hash_points, sharer);
    return true;
}

/* Where a point is among those of few, or would go. */
static size_t place_of(const struct sharing *sharing, vec3 p, uint64_t hash)
{
    const struct hash_places *table = &sharing->points.table;
    const vec3 *points = sharing->few.surface->points;
    size_t at = hash_places_start(table, hash);

    while (table->places[at] != HASH_PLACE_FREE
           && !(hash_place_may_hold(table->places[at], hash)
                && position_equal(points[hash_place_number(table->places[at])], p)))
        at = hash_places_after(table, at);
    return at;
}

static void put_point(struct sharing *sharing, uint32_t v)
{
    struct point_set *points = &sharing->points;
    uint64_t hash = sharing->few.hashes[v];
    size_t bit = hash & points->bit_mask;

    points->words[bit / 64] |= (uint64_t)1 << bit % 64;
    points->table.places[place_of(sharing, sharing->few.surface->points[v], hash)] = hash_place_of(hash, v);
}

static bool has_point(const struct sharing *sharing, vec3 p)
{
    const struct point_set *points = &sharing->points;
    uint64_t hash = position_hash(p);
    size_t bit = hash & points->bit_mask;

    return (points->words[bit / 64] >> bit % 64 & 1)
           && points->table.places[place_of(sharing, p, hash)] != HASH_PLACE_FREE;
}

/* Of the triangles of few without a twin: open_count of them. */
static bool open_points(struct sharing *sharing, size_t open_count, struct arena *arena)
{
    const struct sharer *few = &sharing->few;
    struct point_set *points = &sharing->points;
    const size_t count = few->surface->point_count, most = 3 * open_count < count ? 3 * open_count : count;
    const bool all = open_count == count_of(few) && most == count;
    size_t size = 64;

    while (size < 16 * most)
        size *= 2;
    points->words = ARENA_ZERO(arena, uint64_t, size / 64);
    points->bit_mask = size - 1;
    if (!points->words || !hash_places_open(&points->table, most, arena))
        return false;
    for (size_t v = 0; all && v < count; v++)
        put_point(sharing, (uint32_t)v);
    for (size_t t = 0; !all && t < count_of(few); t++)
        for (int i = 0; i < 3 && (!few->twins || few->twins[t] == BVH_NONE); i++)
            put_point(sharing, few->surface->triangulation.corners[t][i]);
    return true;
}

static void mark_points(void *context, size_t chunk)
{
    struct sharing *sharing = context;
    const struct deviation_surface *many = sharing->many.surface;
    size_t count = 0;

    for (size_t v = chunk * CHUNK; v < tasks_chunk_end(chunk, CHUNK, many->point_count); v++) {
        sharing->many.may[v] = has_point(sharing, many->points[v]);
        count += sharing->many.may[v];
    }
    __atomic_fetch_add(&sharing->in_both, count, __ATOMIC_RELAXED);
}

/* Which points of many few has too. */
static bool find_in_both(struct sharing *sharing, size_t threads, struct arena *arena)
{
    size_t count = sharing->many.surface->point_count;

    sharing->many.may = ARENA_NEW(arena, bool, count);
    if (!sharing->many.may)
        return false;
    tasks_run(threads, tasks_chunks(count, CHUNK), mark_points, sharing);
    return true;
}

/* Room for the candidates of few, or those of many, whichever are fewer. */
static bool open_places(struct sharing *sharing, size_t open_count, struct arena *arena)
{
    bool few_are_kept = open_count <= sharing->candidates;
    size_t size = 4, count = few_are_kept ? open_count : sharing->candidates;

    sharing->kept = few_are_kept ? &sharing->few : &sharing->many;
    sharing->asked = few_are_kept ? &sharing->many : &sharing->few;
    while (size < 2 * count)
        size *= 2;
    sharing->places = ARENA_NEW(arena, uint64_t, size);
    sharing->mask = size - 1;
    if (sharing->places)
        memset(sharing->places, 0xff, size * sizeof *sharing->places);
    return sharing->places != NULL;
}

/* Of triangles without a twin. */
static size_t count_open(const struct deviation_surface *surface, const uint32_t *twins)
{
    size_t triangle_count = surface->triangulation.triangle_count, count = 0;

    if (!twins)
        return triangle_count;
    for (size_t t = 0; t < triangle_count; t++)
        count += twins[t] == BVH_NONE;
    return count;
}

/* Once something may be shared. */
static bool open_twins(const struct deviation_surface *const surfaces[2], struct shared_triangles *shared,
                       struct arena *keep)
{
    for (int i = 0; i < 2 && !shared->twins[i]; i++) {
        size_t count = surfaces[i]->triangulation.triangle_count;
        shared->twins[i] = ARENA_NEW(keep, uint32_t, count);
        if (!shared->twins[i])
            return false;
        memset(shared->twins[i], 0xff, count * sizeof *shared->twins[i]);
    }
    return true;
}

/* Finds the twins of those triangles of surface `few` that have none yet. Of surfaces without a point in
 * common no more is looked at than their points. */
static bool find_open(const struct deviation_surface *const surfaces[2], size_t few, size_t threads,
                      struct shared_triangles *shared, struct arena *keep, struct arena scratch,
                      struct error *err)
{
    struct sharing sharing = {.few = {.surface = surfaces[few]}, .many = {.surface = surfaces[1 - few]}};
    size_t open_count = count_open(surfaces[few], shared->twins[few]);

    if (open_count == 0)
        return true;
    sharing.few.twins = shared->twins[few];
    if (!find_hashes(&sharing.few, threads, &scratch) || !open_points(&sharing, open_count, &scratch)
        || !find_in_both(&sharing, threads, &scratch))
        return arena_error(err);
    if (sharing.in_both == 0)
        return true;
    tasks_run(threads, tasks_chunks(count_of(&sharing.many), CHUNK), count_candidates, &sharing);
    if (sharing.candidates == 0)
        return true;
    if (!find_hashes(&sharing.many, threads, &scratch) || !open_twins(surfaces, shared, keep)
        || !open_places(&sharing, open_count, &scratch))
        return arena_error(err);
    sharing.few.twins = shared->twins[few];
    sharing.many.twins = shared->twins[1 - few];
    tasks_run(threads, tasks_chunks(count_of(sharing.kept), CHUNK), keep_candidates, &sharing);
    tasks_run(threads, tasks_chunks(count_of(sharing.asked), CHUNK), match_candidates, &sharing);
    match_copies(&sharing);
    shared->unique = shared->unique && sharing.copies == 0;
    return true;
}

static bool find_by_hashes(const struct deviation_surface *const surfaces[2], bool walked, size_t threads,
                           struct shared_triangles *shared, struct arena *keep, struct arena scratch,
                           struct error *err)
{
    size_t open[2] = {count_open(surfaces[0], shared->twins[0]), count_open(surfaces[1], shared->twins[1])},
           few = open[0] < open[1] ? 0 : 1;

    return open[1 - few] == 0
           || (find_open(surfaces, few, threads, shared, keep, scratch, err)
               && (!walked || find_open(surfaces, 1 - few, threads, shared, keep, scratch, err)));
}

bool shared_find(const struct deviation_surface *const surfaces[2], size_t threads,
                 struct shared_triangles *shared, struct arena *keep, struct arena scratch, struct error *err)
{
    struct walk walk = {surfaces, shared->twins};
    bool walks = begin_alike(&walk);

    *shared = (struct shared_triangles){.unique = true};
    if (walks && !open_twins(surfaces, shared, keep))
        return arena_error(err);
    if (walks)
        tasks_run(threads, 2, walk_from, &walk);
    if (!find_by_hashes(surfaces, walks, threads, shared, keep, scratch, err))
        return false;
    for (int i = 0; i < 2; i++)
        shared->counts[i] =
            surfaces[i]->triangulation.triangle_count - count_open(surfaces[i], shared->twins[i]);
    return true;
}
