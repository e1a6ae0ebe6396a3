/* deviation_plain.c - vertex by vertex: the triangles there, and which of their sides meet just one other. */
#include "measure/deviation_plain.h"

#include "base/ahead.h"
#include "base/tasks.h"

#include <string.h>

#define CHUNK ((size_t)1 << 11)
#define STAR_LANES 8
#define STAR_MAX ((size_t)8 * STAR_LANES) /* triangles at a vertex: one bit each */

struct plain {
    const struct deviation_surface *surface;
    const struct deviation_side *side;
    unsigned char *plain;
};

/* The triangles at a vertex: their slots, and what follows and comes before the vertex in each; padded by
 * what is no vertex. */
struct star {
    size_t count;
    uint32_t slots[STAR_MAX], next[STAR_MAX], last[STAR_MAX];
};

/* For those that follow a little later. */
static void ask_ahead(const struct plain *plain, size_t first, size_t count)
{
    const size_t all = plain->side->offsets[plain->surface->point_count];

    for (size_t k = first + AHEAD; k < first + AHEAD + count && k < all; k++)
        ahead_ask(plain->surface->bvh.corners[plain->side->slots[k]]);
}

static void put_star(const struct plain *plain, uint32_t vertex, struct star *star)
{
    static const unsigned char after[3] = {1, 2, 0};
    const size_t first = plain->side->offsets[vertex];

    star->count = plain->side->offsets[vertex + 1] - first;
    ask_ahead(plain, first, star->count);
    for (size_t i = 0; i < star->count; i++) {
        const uint32_t slot = plain->side->slots[first + i], *corner = plain->surface->bvh.corners[slot];
        /* without branches, which nothing foretells */
        const unsigned at = -(unsigned)(corner[0] != vertex) & (1 + (unsigned)(corner[1] != vertex));
        star->slots[i] = slot;
        star->next[i] = corner[after[at]];
        star->last[i] = corner[after[after[at]]];
    }
    for (size_t i = star->count; i % STAR_LANES; i++)
        star->next[i] = star->last[i] = UINT32_MAX;
}

/* Whether two triangles with a side from a to b, and c and d beside it, are on both sides of it, as their
 * normals tell: (u x c) . (u x d) = |u|^2 c . d - (u . c) (u . d). */
static bool is_unfolded(const vec3 *points, uint32_t a, uint32_t b, uint32_t c, uint32_t d)
{
    vec3 u = vec3_sub(points[b], points[a]), to_c = vec3_sub(points[c], points[a]),
         to_d = vec3_sub(points[d], points[a]);

    return vec3_length_sq(u) * vec3_dot(to_c, to_d) < vec3_dot(u, to_c) * vec3_dot(u, to_d);
}

/* Others may do so too. */
static void keep_bits(const struct plain *plain, uint32_t slot, unsigned char bits)
{
    __atomic_fetch_and(&plain->plain[slot], bits, __ATOMIC_RELAXED);
}

/* Where no corner is named twice and the vertices that follow differ in their last bits, as do those that
 * come before: each side is met by the one triangle that runs through it the other way, if by any, and one
 * look tells which. False, and nothing done, where they are not so. */
static bool look_at_once(const struct plain *plain, uint32_t vertex, const struct star *star)
{
    uint64_t next_bits = 0, last_bits = 0, met = 0; /* of vertices, and the triangles with such a `last` */
    unsigned char with_last[STAR_MAX];

    for (uint32_t i = 0; i < star->count; i++) {
        const uint32_t next = star->next[i], last = star->last[i];
        const uint64_t next_bit = (uint64_t)1 << next % STAR_MAX, last_bit = (uint64_t)1 << last % STAR_MAX;
        if (next == vertex || last == vertex || next == last || next_bits & next_bit || last_bits & last_bit)
            return false;
        next_bits |= next_bit;
        last_bits |= last_bit;
        with_last[last % STAR_MAX] = (unsigned char)i;
    }
    for (uint32_t i = 0; i < star->count; i++) {
        const uint32_t to = star->next[i];
        const bool maybe = last_bits >> to % STAR_MAX & 1;
        const uint32_t other = maybe ? with_last[to % STAR_MAX] : i;
        const bool is_met = maybe && star->last[other] == to;
        met |= (uint64_t)is_met << other;
        if (to < vertex
            || (is_met && is_unfolded(plain->surface->points, vertex, to, star->last[i], star->next[other])))
            continue;
        keep_bits(plain, star->slots[i], 0);
        if (is_met)
            keep_bits(plain, star->slots[other], 0);
    }
    for (uint32_t i = 0; i < star->count; i++)
        if (!(met >> i & 1) && star->last[i] > vertex)
            keep_bits(plain, star->slots[i], 0);
    return true;
}

/* How many are the same as wanted, and the sum of their places. */
struct matches {
    uint32_t count, sum;
};

static struct matches find_matches(const uint32_t *list, size_t count, uint32_t wanted)
{
    struct matches found = {0, 0};

    for (uint32_t begin = 0; begin < count; begin += STAR_LANES)
        for (uint32_t i = begin; i < begin + STAR_LANES; i++) {
            found.count += list[i] == wanted;
            found.sum += list[i] == wanted ? i : 0;
        }
    return found;
}

/* The side of triangle i from the vertex to `to`, with `beside` as its third corner. The first of two that
 * share it looks for both. */
static void look_at_side(const struct plain *plain, uint32_t vertex, const struct star *star, uint32_t i,
                         uint32_t to, uint32_t beside)
{
    struct matches next = find_matches(star->next, star->count, to),
                   last = find_matches(star->last, star->count, to);
    uint32_t other = next.sum + last.sum - i; /* where there is just one */
    bool fit = next.count + last.count == 2 && other != i && to != vertex && beside != vertex && beside != to;
    unsigned char bits = next.count == 1 ? OVERLAY_PLAIN | OVERLAY_ALIKE : OVERLAY_PLAIN;

    if (fit && other < i)
        return;
    if (!fit
        || !is_unfolded(plain->surface->points, vertex, to, beside,
                        star->next[other] == to ? star->last[other] : star->next[other]))
        bits = 0;
    if (bits == (OVERLAY_PLAIN | OVERLAY_ALIKE))
        return;
    keep_bits(plain, star->slots[i], bits);
    if (fit)
        keep_bits(plain, star->slots[other], bits);
}

/* Of each side the lesser vertex sees to it. Very many triangles at one vertex are left to others, so that
 * the work stays linear. */
static void find_plain_at(const struct plain *plain, uint32_t vertex)
{
    struct star star;

    if (plain->side->offsets[vertex + 1] - plain->side->offsets[vertex] > STAR_MAX) {
        for (uint32_t k = plain->side->offsets[vertex]; k < plain->side->offsets[vertex + 1]; k++)
            keep_bits(plain, plain->side->slots[k], 0);
        return;
    }
    put_star(plain, vertex, &star);
    if (look_at_once(plain, vertex, &star))
        return;
    for (uint32_t i = 0; i < star.count; i++) {
        if (star.next[i] >= vertex)
            look_at_side(plain, vertex, &star, i, star.next[i], star.last[i]);
        if (star.last[i] >= vertex)
            look_at_side(plain, vertex, &star, i, star.last[i], star.next[i]);
    }
}

static void find_plain_chunk(void *context, size_t chunk)
{
    struct plain *plain = context;
    size_t count = plain->surface->point_count;

    for (size_t vertex = chunk * CHUNK; vertex < (chunk + 1) * CHUNK && vertex < count; vertex++)
        find_plain_at(plain, (uint32_t)vertex);
}

const unsigned char *plain_find(const struct deviation_surface *surface, const struct deviation_side *side,
                                size_t threads, struct arena *keep)
{
    size_t count = surface->bvh.triangle_count;
    struct plain plain = {surface, side, ARENA_NEW(keep, unsigned char, count)};
    struct arena rest = *keep;
    struct deviation_side own;
    struct error err;

    if (!plain.plain)
        return NULL;
    if (!side) {
        plain.side = &own;
        if (!deviation_side_build(surface, threads, &own, &rest, &err))
            return NULL;
    }
    memset(plain.plain, OVERLAY_PLAIN | OVERLAY_ALIKE, count);
    tasks_run(threads, tasks_chunks(surface->point_count, CHUNK), find_plain_chunk, &plain);
    return plain.plain;
}
