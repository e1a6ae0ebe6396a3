/* weld.c - the hash table from coordinates to vertices. */
#include "io/weld.h"

#include <string.h>

enum { AT_ONCE = 48, LEAST_SLOTS = 1024 };

/* Multiply and fold, the product's halves xored: every input bit reaches every output bit. */
static uint64_t mix(uint64_t a, uint64_t b)
{
    unsigned __int128 product = (unsigned __int128)(a ^ 0x9e3779b97f4a7c15u) * (b ^ 0xd1b54a32d192ed03u);
    return (uint64_t)product ^ (uint64_t)(product >> 64);
}

/* Each coordinate meets a seed before it is multiplied: nobody can choose one that makes a product 0. */
static uint64_t hash(const struct weld *weld, vec3 p)
{
    uint64_t x, y, z;
    memcpy(&x, &p.x, sizeof x);
    memcpy(&y, &p.y, sizeof y);
    memcpy(&z, &p.z, sizeof z);
    return mix(mix(x ^ weld->seeds[0], y ^ weld->seeds[1]), z ^ weld->seeds[0]);
}

static size_t home_slot(const struct weld *weld, uint64_t point_hash)
{
    return (size_t)point_hash & (weld->slot_count - 1);
}

static bool make_slots(struct weld *weld, size_t count, struct arena *scratch, struct error *err)
{
    weld->slot_count = count;
    weld->slots = ARENA_ZERO(scratch, uint32_t, count);
    return weld->slots ? true : arena_error(err);
}

bool weld_begin(struct weld *weld, vec3 *positions, size_t room, size_t expected_vertices, uint64_t seed,
                struct arena *scratch, struct error *err)
{
    size_t count = LEAST_SLOTS;
    while (count < 2 * expected_vertices)
        count *= 2;
    *weld = (struct weld){.positions = positions, .room = room, .seeds = {seed, mix(seed, 1)}};
    return make_slots(weld, count, scratch, err);
}

/* Twice the slots; the old ones stay in scratch, which together is less than the new ones. */
static bool grow(struct weld *weld, struct arena *scratch, struct error *err)
{
    if (!make_slots(weld, weld->slot_count * 2, scratch, err))
        return false;
    for (size_t v = 0; v < weld->vertex_count; v++) {
        size_t slot = home_slot(weld, hash(weld, weld->positions[v]));
        while (weld->slots[slot])
            slot = (slot + 1) & (weld->slot_count - 1);
        weld->slots[slot] = (uint32_t)v + 1;
    }
    return true;
}

static bool find_vertex(struct weld *weld, vec3 p, size_t slot, uint32_t *vertex, struct error *err)
{
    for (; weld->slots[slot]; slot = (slot + 1) & (weld->slot_count - 1)) {
        vec3 q = weld->positions[weld->slots[slot] - 1];
        if (q.x == p.x && q.y == p.y && q.z == p.z) {
            *vertex = weld->slots[slot] - 1;
            return true;
        }
    }
    if (weld->vertex_count == weld->room)
        return arena_error(err);
    weld->positions[weld->vertex_count] = p;
    *vertex = (uint32_t)weld->vertex_count++;
    weld->slots[slot] = *vertex + 1;
    return true;
}

/* Where the points are in the table, and then among the vertices, is asked of memory for all of them before
 * the first is waited for. The table is made larger first, so that it need not grow meanwhile. */
static bool weld_some(struct weld *weld, const vec3 *points, size_t count, uint32_t *vertices,
                      struct arena *scratch, struct error *err)
{
    vec3 plain[AT_ONCE];
    uint64_t hashes[AT_ONCE];

    if ((weld->vertex_count + count) * 3 > weld->slot_count * 2 && !grow(weld, scratch, err))
        return false;
    for (size_t i = 0; i < count; i++) {
        plain[i] = (vec3){points[i].x + 0.0, points[i].y + 0.0, points[i].z + 0.0};
        hashes[i] = hash(weld, plain[i]);
        __builtin_prefetch(&weld->slots[home_slot(weld, hashes[i])]);
    }
    for (size_t i = 0; i < count; i++) {
        uint32_t vertex = weld->slots[home_slot(weld, hashes[i])];
        __builtin_prefetch(&weld->positions[vertex ? vertex - 1 : 0]);
    }
    for (size_t i = 0; i < count; i++)
        if (!find_vertex(weld, plain[i], home_slot(weld, hashes[i]), &vertices[i], err))
            return false;
    return true;
}

bool weld_points(struct weld *weld, const vec3 *points, size_t count, uint32_t *vertices,
                 struct arena *scratch, struct error *err)
{
    for (size_t i = 0; i < count; i += AT_ONCE)
        if (!weld_some(weld, points + i, count - i < AT_ONCE ? count - i : AT_ONCE, vertices + i, scratch,
                       err))
            return false;
    return true;
}
