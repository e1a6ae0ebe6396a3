/* position_key.h - positions as keys of a hash table: equal when all coordinates are, bit by bit; +0 is -0.
 */
#ifndef MEASURE_POSITION_KEY_H
#define MEASURE_POSITION_KEY_H

#include <stdbool.h>
#include <string.h>

#include "base/mix64.h"
#include "geom/vec3.h"

static inline uint64_t coordinate_hash(double x)
{
    uint64_t bits;

    x += 0.0; /* -0 becomes +0 */
    memcpy(&bits, &x, sizeof bits);
    return bits;
}

static inline uint64_t position_hash(vec3 p)
{
    return mix64(coordinate_hash(p.x) + mix64(coordinate_hash(p.y) + mix64(coordinate_hash(p.z))));
}

static inline bool position_equal(vec3 a, vec3 b)
{
    return a.x == b.x && a.y == b.y && a.z == b.z;
}

#endif
