/* notifier.h - sends what waits in the store's outbox (store/hooks.h), from a thread of its own, one at a
 * time.
 *
 * A delivery is accepted by an answer of 200 to 299. Everything else is tried again (backoff.h); a hook that
 * has accepted nothing for days is disabled with its reason. What was sent when the service was killed is
 * sent again after its start, with the same Fettle-Delivery. */
#ifndef NOTIFY_NOTIFIER_H
#define NOTIFY_NOTIFIER_H

#include "store/store.h"

struct notifier;

struct notifier_options {
    bool to_private;         /* hooks may lead into private networks and to this machine */
    int64_t first_retry_ms;  /* 0: 5 s */
    int64_t disable_after_s; /* 0: five days */
};
bool notifier_start(struct store *store, const struct notifier_options *options, struct notifier **notifier,
                    struct error *err);
/* Gives up what is being sent; it waits for the next start. */
void notifier_stop(struct notifier *notifier);

#endif
