/* test_progress_share.c
 *   sum_*    what the listener hears is what all steps have done
 *   stop_*   its answer goes to each step
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "base/progress_share.h"
#include "base/tasks.h"

struct heard {
    size_t count;
    double last, least_rise;
    bool goes_on;
};

static bool hear(void *context, const char *stage, double fraction)
{
    struct heard *heard = context;

    cr_expect(eq(str, (char *)stage, "statistics"));
    heard->count++;
    if (fraction - heard->last < heard->least_rise)
        heard->least_rise = fraction - heard->last;
    heard->last = fraction;
    return heard->goes_on;
}

struct shared {
    struct progress_share share;
    struct progress_step steps[2]; /* the second from a quarter on */
};

static void open_shared(struct shared *shared, const struct progress *listener)
{
    progress_share_open(&shared->share, listener);
    progress_share_add(&shared->share, 0, &shared->steps[0]);
    progress_share_add(&shared->share, 0.25, &shared->steps[1]);
}

#define TELLS 64 /* fractions are multiples of a power of two, and so are the sums */

static void tell_all(void *context, size_t i)
{
    const struct progress_step *step = (const struct progress_step *)context + i;
    const double from = i * 0.25, to = i == 0 ? 0.25 : 1;

    for (int t = 1; t <= TELLS; t++)
        cr_expect(progress_tell(&step->progress, "statistics", from + (to - from) * t / TELLS));
}

Test(progress_share, sum_of_steps_that_run_at_once_rises_to_all, .timeout = 60)
{
    struct heard heard = {.goes_on = true};
    const struct progress listener = {hear, &heard};
    struct shared shared;

    open_shared(&shared, &listener);
    tasks_run(2, 2, tell_all, shared.steps);
    progress_share_close(&shared.share);
    cr_expect(eq(sz, heard.count, 2 * TELLS));
    cr_expect(eq(dbl, heard.last, 1));
    cr_expect(ge(dbl, heard.least_rise, 0));
}

Test(progress_share, stop_is_heard_by_each)
{
    struct heard heard = {.goes_on = false};
    const struct progress listener = {hear, &heard};
    struct shared shared;

    open_shared(&shared, &listener);
    cr_expect(not(progress_tell(&shared.steps[0].progress, "statistics", 0.125)));
    cr_expect(not(progress_tell(&shared.steps[1].progress, "statistics", 0.5)));
    cr_expect(eq(dbl, heard.last, 0.375));
    progress_share_close(&shared.share);
}

Test(progress_share, stop_comes_from_nobody_where_none_listens)
{
    struct shared shared;

    open_shared(&shared, NULL);
    cr_expect(progress_tell(&shared.steps[0].progress, "statistics", 0.5));
    progress_share_close(&shared.share);
}
