/* workers.c - a bounded ring of work and the threads that take from it. */
#include "http/workers.h"

#include <pthread.h>
#include <stdlib.h>

struct workers {
    pthread_mutex_t lock;
    pthread_cond_t some;
    bool closing;
    size_t first, count, room; /* the ring */
    struct work *ring;
    size_t thread_count;
    pthread_t threads[];
};

static void *serve(void *context)
{
    struct workers *workers = context;
    pthread_mutex_lock(&workers->lock);
    for (;;) {
        while (!workers->count && !workers->closing)
            pthread_cond_wait(&workers->some, &workers->lock);
        if (!workers->count)
            break;
        struct work work = workers->ring[workers->first];
        workers->first = (workers->first + 1) % workers->room;
        workers->count--;
        pthread_mutex_unlock(&workers->lock);
        work.run(work.context);
        pthread_mutex_lock(&workers->lock);
    }
    pthread_mutex_unlock(&workers->lock);
    return NULL;
}

struct workers *workers_open(size_t thread_count, size_t waiting_max, struct error *err)
{
    struct workers *workers = calloc(1, sizeof *workers + thread_count * sizeof(pthread_t));
    struct work *ring = calloc(waiting_max, sizeof *ring);
    if (!workers || !ring) {
        free(workers);
        free(ring);
        error_set(err, ERROR_MACHINE, "no memory for the worker threads");
        return NULL;
    }
    workers->ring = ring;
    workers->room = waiting_max;
    pthread_mutex_init(&workers->lock, NULL);
    pthread_cond_init(&workers->some, NULL);
    for (size_t i = 0; i < thread_count; i++, workers->thread_count++)
        if (pthread_create(&workers->threads[i], NULL, serve, workers)) {
            workers_close(workers);
            error_set(err, ERROR_MACHINE, "cannot start a worker thread");
            return NULL;
        }
    return workers;
}

bool workers_add(struct workers *workers, struct work work)
{
    pthread_mutex_lock(&workers->lock);
    bool fits = workers->count < workers->room && !workers->closing;
    if (fits) {
        workers->ring[(workers->first + workers->count++) % workers->room] = work;
        pthread_cond_signal(&workers->some);
    }
    pthread_mutex_unlock(&workers->lock);
    return fits;
}

void workers_end(struct workers *workers)
{
    pthread_mutex_lock(&workers->lock);
    workers->closing = true;
    pthread_cond_broadcast(&workers->some);
    pthread_mutex_unlock(&workers->lock);
    for (size_t i = 0; i < workers->thread_count; i++)
        pthread_join(workers->threads[i], NULL);
    workers->thread_count = 0;
}

void workers_close(struct workers *workers)
{
    if (!workers)
        return;
    workers_end(workers);
    pthread_cond_destroy(&workers->some);
    pthread_mutex_destroy(&workers->lock);
    free(workers->ring);
    free(workers);
}
