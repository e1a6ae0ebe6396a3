/* progress.h - how a long step tells how far it is, and hears that it should stop.
 *
 * A step calls progress_tell between pieces of work of at most some 100 ms; it never reads a clock. It
 * may tell from any of its threads, but never from two at once (progress_share.h). */
#ifndef BASE_PROGRESS_H
#define BASE_PROGRESS_H

#include <stdbool.h>
#include <stddef.h>

struct progress {
    /* stage is one of the timings' names ("read", "topology", ...); fraction is 0..1 of that stage.
     * Returns false when the work should stop: the step then returns ERROR_CANCELLED. */
    bool (*tell)(void *context, const char *stage, double fraction);
    void *context;
};

/* True when there is nobody to tell, or the listener wants the work to go on. */
static inline bool progress_tell(const struct progress *progress, const char *stage, double fraction)
{
    return !progress || !progress->tell || progress->tell(progress->context, stage, fraction);
}

#endif
