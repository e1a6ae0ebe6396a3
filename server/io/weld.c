/* weld.c - the hash table from coordinates to vertices. */
#include "io/weld.h"

#include <string.h>

/* Multiply and fold, the product's halves xored: every input bit reaches every output bit. */
static uint64_t mix(uint64_t a, uint64_t b)
{
    unsigned __int128 product = (unsigned __int128)(a ^ 0x9e3779b97f4a7c15u) * (b ^ 0xd1b54a32d192ed03u);
    return (uint64_t)product ^ (uint64_t)(product >> 64);
}

uint64_t weld_hash(const struct weld *weld, vec3 p)
{
    uint64_t x, y, z;
    memcpy(&x, &p.x, sizeof x);
    memcpy(&y, &p.y, sizeof y);
    memcpy(&z, &p.z, sizeof z);
    return mix(mix(x, weld->seed), mix(y, z ^ weld->seed));
}

static size_t home_slot(const struct weld *weld, uint64_t hash)
{
    return (size_t)hash & (weld->slot_count - 1);
}

void weld_expect_slot(const struct weld *weld, uint64_t hash)
{
    __builtin_prefetch(&weld->slots[home_slot(weld, hash)]);
}

void weld_expect_vertex(const struct weld *weld, uint64_t hash)
{
    uint32_t vertex = weld->slots[home_slot(weld, hash)];
    if (vertex)
        __builtin_prefetch(&weld->positions[vertex - 1]);
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
    size_t count = 1024;
    while (count < 2 * expected_vertices)
        count *= 2;
    *weld = (struct weld){.positions = positions, .room = room, .seed = seed};
    return make_slots(weld, count, scratch, err);
}

/* Twice the slots; the old ones stay in scratch, which together is less than the new ones. */
static bool grow(struct weld *weld, struct arena *scratch, struct error *err)
{
    if (!make_slots(weld, weld->slot_count * 2, scratch, err))
        return false;
    for (size_t v = 0; v < weld->vertex_count; v++) {
        size_t slot = home_slot(weld, weld_hash(weld, weld->positions[v]));
        while (weld->slots[slot])
            slot = (slot + 1) & (weld->slot_count - 1);
        weld->slots[slot] = (uint32_t)v + 1;
    }
    return true;
}

bool weld_vertex(struct weld *weld, vec3 p, uint64_t hash, uint32_t *vertex, struct arena *scratch,
                 struct error *err)
{
    size_t slot = home_slot(weld, hash);
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
    return weld->vertex_count * 3 <= weld->slot_count * 2 || grow(weld, scratch, err);
}
