/* run_memory.h - how much memory a run may use. */
#ifndef RUN_RUN_MEMORY_H
#define RUN_RUN_MEMORY_H

#include "base/arena.h"

/* Opens the run's two arenas, equally large and apart: keep for what the run returns, scratch for the steps.
 * Together they have limit_bytes of address space or, where that is 0, a default from the files' sizes that
 * leaves room for a small file that inflates 200 times. Less where RLIMIT_AS leaves less, or where the system
 * promises less. Only what is touched costs memory. Errors: ERROR_MACHINE. */
bool run_memory_open(size_t limit_bytes, size_t file_bytes, size_t threads, struct arena *keep,
                     struct arena *scratch, struct error *err);

#endif
