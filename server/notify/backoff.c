/* backoff.c - doubling with a limit. */
#include "notify/backoff.h"

int64_t backoff_ms(int64_t attempts, int64_t first_ms, uint64_t random)
{
    int64_t wait = first_ms;
    for (int64_t i = 1; i < attempts && wait < BACKOFF_MOST_MS; i++)
        wait *= 2;
    if (wait > BACKOFF_MOST_MS)
        wait = BACKOFF_MOST_MS;
    int64_t certain = wait / 2;
    return certain + (int64_t)(random % (uint64_t)(wait - certain + 1));
}
