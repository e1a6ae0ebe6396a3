/* backoff.h - how long a delivery waits before it is tried again. */
#ifndef NOTIFY_BACKOFF_H
#define NOTIFY_BACKOFF_H

#include <stdint.h>

/* Six hours. */
#define BACKOFF_MOST_MS ((int64_t)6 * 3600 * 1000)

/* After the attempts-th failure (1, 2, ...): first_ms doubled with each, at most BACKOFF_MOST_MS, of which
 * half is certain and half is by chance, so that many that failed together do not come back together
 * (exponential backoff with jitter; common practice, no source). random: any 64 bits. */
int64_t backoff_ms(int64_t attempts, int64_t first_ms, uint64_t random);

#endif
