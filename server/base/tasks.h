/* tasks.h - chunks of one loop shared out to threads.
 *
 * What a chunk is must not depend on the number of threads, and each chunk writes only where no other does:
 * then the result is the same to the byte for any number of threads. Callers reduce over chunks in order.
 *
 * Threads are made when they are first wanted, 64 at most in all, and kept for the loops of every caller. A
 * chunk may run a loop of its own: that makes no thread, and those come to it that have nothing else to do,
 * also the caller that waits for the chunk. They are not there in a child that was forked: there each caller
 * works alone, and none may fork while another thread is in tasks_run. */
#ifndef BASE_TASKS_H
#define BASE_TASKS_H

#include <stddef.h>

/* Calls run(context, chunk) once for each chunk below count, on up to `threads` threads, and waits for all;
 * chunks begin in ascending order. Where the machine gives no thread, the caller's own does the work. */
void tasks_run(size_t threads, size_t count, void (*run)(void *context, size_t chunk), void *context);

/* How many chunks of chunk_size make count. */
static inline size_t tasks_chunks(size_t count, size_t chunk_size)
{
    return count / chunk_size + (count % chunk_size != 0);
}

/* One past the last of a chunk. */
static inline size_t tasks_chunk_end(size_t chunk, size_t chunk_size, size_t count)
{
    return (chunk + 1) * chunk_size < count ? (chunk + 1) * chunk_size : count;
}

#endif
