/* mix64.h - a 64-bit integer scrambled so that every bit of the result depends on every bit of the input.
 *
 * The finaliser of G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators",
 * OOPSLA 2014 (their variant 13 of D. Stafford's). For hash tables inside one run; nothing secret, nothing
 * stored. */
#ifndef BASE_MIX64_H
#define BASE_MIX64_H

#include <stdint.h>

static inline uint64_t mix64(uint64_t x)
{
    x += 0x9e3779b97f4a7c15u;
    x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
    x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
    return x ^ (x >> 31);
}

#endif
