/* tasks.c - threads take chunks from one counter. */
#include "base/tasks.h"

#include <pthread.h>
#include <stdatomic.h>

#define THREADS_MAX 64

struct tasks {
    atomic_size_t next;
    size_t count;
    void (*run)(void *context, size_t chunk);
    void *context;
};

static void *work(void *argument)
{
    struct tasks *tasks = argument;

    for (;;) {
        size_t chunk = atomic_fetch_add_explicit(&tasks->next, 1, memory_order_relaxed);
        if (chunk >= tasks->count)
            return NULL;
        tasks->run(tasks->context, chunk);
    }
}

void tasks_run(size_t threads, size_t count, void (*run)(void *context, size_t chunk), void *context)
{
    struct tasks tasks = {.count = count, .run = run, .context = context};
    pthread_t others[THREADS_MAX];
    size_t wanted = threads < count ? threads : count, started = 0;

    while (started + 1 < wanted && started < THREADS_MAX
           && pthread_create(&others[started], NULL, work, &tasks) == 0)
        started++;
    work(&tasks);
    while (started > 0)
        pthread_join(others[--started], NULL);
}
