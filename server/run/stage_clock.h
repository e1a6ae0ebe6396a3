/* stage_clock.h - how long each stage of a run took, and the most memory it held.
 *
 * The only clock of a run, and it serves nothing but the timings. Stages are entered by name; a step that
 * tells its progress under another stage's name enters that one. May be told from any thread. */
#ifndef RUN_STAGE_CLOCK_H
#define RUN_STAGE_CLOCK_H

#include "base/progress.h"
#include "run/run.h"

#include <pthread.h>

struct stage_clock {
    struct run_timings *timings;
    const struct progress *listener; /* hears everything the clock is told; NULL: nobody */
    struct progress progress;        /* what the steps are given */
    pthread_mutex_t lock;
    double *running;       /* the timing that grows now */
    double begun, entered; /* CLOCK_MONOTONIC, seconds */
    double looked;         /* when memory was, last */
};

/* Zeroes timings. clock must not move until stage_clock_stop. */
void stage_clock_start(struct stage_clock *clock, struct run_timings *timings,
                       const struct progress *listener);
/* From now on time belongs to stage; false when the listener wants the work to stop (err: ERROR_CANCELLED).
 */
bool stage_clock_enter(struct stage_clock *clock, const char *stage, struct error *err);
/* Notes the memory held now: to be called before any is given back. */
void stage_clock_look(struct stage_clock *clock);
void stage_clock_stop(struct stage_clock *clock);

#endif
