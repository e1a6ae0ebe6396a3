/* ahead.h - asking memory for what a loop needs a little later.
 *
 * Files number vertices as they like: where neighbours have far apart numbers, a loop over faces or edges
 * waits for memory at every step, and the more so the larger the mesh. It waits less where it says what it
 * needs so many steps before. A pointer that leads nowhere is no harm. */
#ifndef BASE_AHEAD_H
#define BASE_AHEAD_H

#define AHEAD 24 /* steps */

static inline void ahead_ask(const void *place)
{
    __builtin_prefetch(place);
}

#endif
