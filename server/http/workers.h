/* workers.h - a few threads for what must not run on a connection's thread: SQLite, fsync, large bodies. */
#ifndef HTTP_WORKERS_H
#define HTTP_WORKERS_H

#include "base/error.h"

struct workers;

struct work {
    void (*run)(void *context);
    void *context;
};

/* At most waiting_max pieces wait. */
struct workers *workers_open(size_t thread_count, size_t waiting_max, struct error *err);
/* False when too many wait already. */
bool workers_add(struct workers *workers, struct work work);
/* Runs what waits, then ends the threads; workers_add is false from now on. */
void workers_end(struct workers *workers);
/* The same, and frees them. NULL is allowed. */
void workers_close(struct workers *workers);

#endif
