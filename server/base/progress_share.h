/* progress_share.h - one listener for steps that run at once.
 *
 * Each step has a progress of its own, which may be told in any thread; the listener hears one after the
 * other, and of the stage what all steps have done together. */
#ifndef BASE_PROGRESS_SHARE_H
#define BASE_PROGRESS_SHARE_H

#include "base/progress.h"

#include <pthread.h>

struct progress_share {
    const struct progress *listener; /* or NULL */
    pthread_mutex_t lock;
    double done; /* of the stage, by all steps */
};

struct progress_step {
    struct progress_share *share;
    double at; /* of the stage: what the step told last */
    struct progress progress;
};

void progress_share_open(struct progress_share *share, const struct progress *listener);
void progress_share_close(struct progress_share *share);

/* A step that tells the stage from `from` on, as if those before had ended there. Share and step stay where
 * they are; &step->progress is what the step is to tell. */
void progress_share_add(struct progress_share *share, double from, struct progress_step *step);

#endif
