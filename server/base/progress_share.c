/* progress_share.c - adds up, under a lock. */
#include "base/progress_share.h"

void progress_share_open(struct progress_share *share, const struct progress *listener)
{
    share->listener = listener;
    share->done = 0;
    pthread_mutex_init(&share->lock, NULL);
}

void progress_share_close(struct progress_share *share)
{
    pthread_mutex_destroy(&share->lock);
}

static bool tell(void *context, const char *stage, double fraction)
{
    struct progress_step *step = context;
    struct progress_share *share = step->share;

    pthread_mutex_lock(&share->lock);
    share->done += fraction - step->at;
    step->at = fraction;
    const bool goes_on = progress_tell(share->listener, stage, share->done);
    pthread_mutex_unlock(&share->lock);
    return goes_on;
}

void progress_share_add(struct progress_share *share, double from, struct progress_step *step)
{
    *step = (struct progress_step){share, from, {tell, step}};
}
