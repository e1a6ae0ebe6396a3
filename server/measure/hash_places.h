/* hash_places.h - a table of numbers by hash: open addressing, at most half full, filled once.
 *
 * A place holds the upper half of the hash and the number, so that most that do not match are passed over
 * without a look at what the number stands for. Who asks walks from hash_places_start by hash_places_after
 * until a place is free or holds what was wanted. */
#ifndef MEASURE_HASH_PLACES_H
#define MEASURE_HASH_PLACES_H

#include <string.h>

#include "base/arena.h"

#define HASH_PLACE_FREE UINT64_MAX

struct hash_places {
    uint64_t *places;
    size_t mask;
};

/* Room for count numbers; false when the arena is too small. */
static inline bool hash_places_open(struct hash_places *table, size_t count, struct arena *arena)
{
    size_t size = 4;

    while (size < 2 * count)
        size *= 2;
    table->mask = size - 1;
    table->places = ARENA_NEW(arena, uint64_t, size);
    if (table->places)
        memset(table->places, 0xff, size * sizeof *table->places);
    return table->places != NULL;
}

static inline size_t hash_places_start(const struct hash_places *table, uint64_t hash)
{
    return hash & table->mask;
}
static inline size_t hash_places_after(const struct hash_places *table, size_t at)
{
    return (at + 1) & table->mask;
}
static inline bool hash_place_may_hold(uint64_t place, uint64_t hash)
{
    return place >> 32 == hash >> 32;
}
static inline uint64_t hash_place_of(uint64_t hash, uint32_t number)
{
    return hash >> 32 << 32 | number;
}
static inline uint32_t hash_place_number(uint64_t place)
{
    return (uint32_t)place;
}

#endif
