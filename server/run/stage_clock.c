/* stage_clock.c - timings by CLOCK_MONOTONIC, memory by own_status. */
#include "run/stage_clock.h"

#include "run/own_status.h"

#include <assert.h>
#include <math.h>
#include <string.h>
#include <time.h>

static double now(void)
{
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec * 1e-9;
}

#define LOOK_EVERY 0.01 /* seconds between two looks at memory within a stage, at least */

static double *timing_of(struct run_timings *timings, const char *stage)
{
    const struct {
        const char *name;
        double *timing;
    } stages[] = {
        {"read", &timings->read},   {"topology", &timings->topology},   {"quality", &timings->quality},
        {"index", &timings->index}, {"hausdorff", &timings->hausdorff}, {"statistics", &timings->statistics},
        {"limit", &timings->limit}, {"mend", &timings->mend},           {"findings", &timings->findings},
    };
    for (size_t i = 0; i < sizeof stages / sizeof stages[0]; i++)
        if (strcmp(stage, stages[i].name) == 0)
            return stages[i].timing;
    return NULL;
}

/* The system keeps the peak of all resident pages, but of anonymous ones only the present number. An arena's
 * pages stay resident until they are given back, so looking before that, at the end of each stage and now and
 * then within it finds the peak. */
static void look_at_memory(struct stage_clock *clock, double time)
{
    struct run_timings *timings = clock->timings;
    assert(timings);
    struct own_status status = own_status_read();
    clock->looked = time;
    timings->peak_rss_mib = fmax(timings->peak_rss_mib, status.peak_resident_mib);
    timings->peak_anonymous_mib = fmax(timings->peak_anonymous_mib, status.anonymous_mib);
}

/* Under the lock. A stage that the record does not name stays with the one before it. */
static void turn_to(struct stage_clock *clock, const char *stage)
{
    double *next = timing_of(clock->timings, stage), time = now();
    bool is_new = next && next != clock->running;
    if (is_new || time - clock->looked > LOOK_EVERY)
        look_at_memory(clock, time);
    if (!is_new)
        return;
    if (clock->running)
        *clock->running += time - clock->entered;
    clock->running = next;
    clock->entered = time;
}

static bool tell(void *context, const char *stage, double fraction)
{
    struct stage_clock *clock = context;
    pthread_mutex_lock(&clock->lock);
    turn_to(clock, stage);
    bool go_on = progress_tell(clock->listener, stage, fraction);
    pthread_mutex_unlock(&clock->lock);
    return go_on;
}

void stage_clock_start(struct stage_clock *clock, struct run_timings *timings,
                       const struct progress *listener)
{
    memset(timings, 0, sizeof *timings);
    memset(clock, 0, sizeof *clock);
    clock->timings = timings;
    clock->listener = listener;
    clock->progress = (struct progress){tell, clock};
    pthread_mutex_init(&clock->lock, NULL);
    clock->begun = clock->entered = now();
}

bool stage_clock_enter(struct stage_clock *clock, const char *stage, struct error *err)
{
    if (!tell(clock, stage, 0))
        return error_set(err, ERROR_CANCELLED, "the run was cancelled");
    return true;
}

void stage_clock_look(struct stage_clock *clock)
{
    pthread_mutex_lock(&clock->lock);
    look_at_memory(clock, now());
    pthread_mutex_unlock(&clock->lock);
}

void stage_clock_stop(struct stage_clock *clock)
{
    double time = now();
    if (clock->running)
        *clock->running += time - clock->entered;
    clock->timings->total = time - clock->begun;
    look_at_memory(clock, time);
    pthread_mutex_destroy(&clock->lock);
}
