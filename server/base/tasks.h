/* tasks.h - one loop over numbered chunks on several threads.
 *
 * What a chunk does must depend on its number alone, and it writes only what is its own: then the results are
 * the same for any number of threads. Callers reduce over chunks in order. */
#ifndef BASE_TASKS_H
#define BASE_TASKS_H

#include <stddef.h>

/* Calls run(context, chunk) once for each chunk below count, on up to `threads` threads, and waits for all.
 * Where the machine gives no thread, the caller's own does the work. */
void tasks_run(size_t threads, size_t count, void (*run)(void *context, size_t chunk), void *context);

#endif
