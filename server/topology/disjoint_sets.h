/* disjoint_sets.h - union-find over 0 .. count - 1 without recursion; the smallest member names its set.
 *
 * parent[i] <= i always holds, so the result does not depend on the order of the unions. Path halving
 * (R. E. Tarjan, J. van Leeuwen, "Worst-case analysis of set union algorithms", J. ACM 31, 1984). */
#ifndef TOPOLOGY_DISJOINT_SETS_H
#define TOPOLOGY_DISJOINT_SETS_H

#include "base/ahead.h"

#include <stddef.h>
#include <stdint.h>

static inline void disjoint_sets_begin(uint32_t *parent, size_t count)
{
    for (size_t i = 0; i < count; i++)
        parent[i] = (uint32_t)i;
}

static inline uint32_t disjoint_sets_find(uint32_t *parent, uint32_t i)
{
    while (parent[i] != i) {
        parent[i] = parent[parent[i]];
        i = parent[i];
    }
    return i;
}

static inline void disjoint_sets_join(uint32_t *parent, uint32_t i, uint32_t j)
{
    if (parent[i] == parent[j]) /* neighbours most often are joined already */
        return;
    i = disjoint_sets_find(parent, i);
    j = disjoint_sets_find(parent, j);
    if (i < j)
        parent[j] = i;
    else
        parent[i] = j;
}

/* Replaces every member by the number of its set, sets numbered by their smallest members; returns how many
 * there are. The parents are gone after this. */
static inline uint32_t disjoint_sets_number(uint32_t *parent, size_t count)
{
    uint32_t set_count = 0;
    for (size_t i = 0; i < count; i++) {
        if (i + AHEAD < count)
            ahead_ask(&parent[parent[i + AHEAD]]);
        parent[i] = parent[i] == i ? set_count++ : parent[parent[i]];
    }
    return set_count;
}

#endif
