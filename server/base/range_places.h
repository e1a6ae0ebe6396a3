/* range_places.h - where the things of several ranges go that are gathered by a key, range after range: the
 * last step between counting them and putting them there, each range by a thread of its own. */
#ifndef BASE_RANGE_PLACES_H
#define BASE_RANGE_PLACES_H

#include <stddef.h>
#include <stdint.h>

#define RANGE_PLACES_MAX ((size_t)4) /* ranges; more only cost memory */

/* cursors[range][key]: how many there are, then where the first goes. begin[key], and at the end how many in
 * all: key_count + 1. */
static inline void range_places(size_t range_count, size_t key_count, uint32_t *cursors, uint32_t *begin)
{
    uint32_t sum = 0;

    for (size_t key = 0; key < key_count; key++) {
        begin[key] = sum;
        for (size_t range = 0; range < range_count; range++) {
            uint32_t *cursor = &cursors[range * key_count + key], count = *cursor;
            *cursor = sum;
            sum += count;
        }
    }
    begin[key_count] = sum;
}

#endif
