/* tasks.c - threads take chunks from one counter; they are made once, and wait for the next loop.
 *
 * A thread costs some 60 us to make and to end, as much as many a loop. So those of the process are kept, the
 * only state that is, beside the loop that each is in: what a loop finds does not depend on who runs it. One
 * that has nothing to do looks for a while whether something comes, since loops mostly follow each other
 * closely, and then sleeps. A caller that waits for others helps with the loops that their chunks run. */
#include "base/tasks.h"

#include <pthread.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdbool.h>

#define THREADS_MAX 64
#define LOOKS 8000 /* before sleeping: a few tenths of a millisecond; measured, longer is of little use */

/* A loop, as long as it runs. */
struct loop {
    atomic_size_t next;
    size_t count;
    void (*run)(void *context, size_t chunk);
    void *context;
    size_t wanted;        /* threads that may still join */
    atomic_size_t joined; /* threads in it beside the caller's */
    struct loop *older;
    const struct loop *outer; /* that a chunk of runs it, or NULL */
};

static _Thread_local const struct loop *running; /* whose chunk this thread runs, or NULL */

static struct {
    pthread_mutex_t lock; /* of all but `begun` and what is atomic in a loop */
    pthread_cond_t begins, left;
    struct loop *newest;
    atomic_size_t begun; /* loops, so far */
    size_t threads, idle;
} pool = {
    .lock = PTHREAD_MUTEX_INITIALIZER, .begins = PTHREAD_COND_INITIALIZER, .left = PTHREAD_COND_INITIALIZER};

static void work(struct loop *loop)
{
    const struct loop *outer = running;

    running = loop;
    for (;;) {
        size_t chunk = atomic_fetch_add_explicit(&loop->next, 1, memory_order_relaxed);
        if (chunk >= loop->count)
            break;
        loop->run(loop->context, chunk);
    }
    running = outer;
}

/* Lets the other thread of a core have it, where two share one. */
static void pause_shortly(void)
{
#if defined(__x86_64__)
    __builtin_ia32_pause();
#elif defined(__aarch64__)
    __asm__ volatile("yield");
#endif
}

/* Looks for a while, without the lock, whether one of two numbers becomes another. */
static void look_for_change(const atomic_size_t *number, size_t from, const atomic_size_t *other,
                            size_t other_from)
{
    for (int look = 0; look < LOOKS && atomic_load_explicit(number, memory_order_relaxed) == from
                       && atomic_load_explicit(other, memory_order_relaxed) == other_from;
         look++)
        pause_shortly();
}

static bool is_within(const struct loop *loop, const struct loop *outer)
{
    while (loop && loop != outer)
        loop = loop->outer;
    return loop == outer;
}

/* The newest that wants more threads, of those within another, or of all where that is NULL; or NULL. */
static struct loop *find_loop(const struct loop *outer)
{
    struct loop *loop = pool.newest;

    while (loop && (loop->wanted == 0 || !is_within(loop, outer)))
        loop = loop->older;
    return loop;
}

static void join(struct loop *loop)
{
    loop->wanted--;
    atomic_fetch_add(&loop->joined, 1);
    pthread_mutex_unlock(&pool.lock);
    work(loop);
    pthread_mutex_lock(&pool.lock);
    if (atomic_fetch_sub(&loop->joined, 1) == 1)
        pthread_cond_broadcast(&pool.left);
}

static void wait_for_loop(void)
{
    size_t begun = atomic_load(&pool.begun);

    pool.idle++;
    pthread_mutex_unlock(&pool.lock);
    look_for_change(&pool.begun, begun, &pool.begun, begun);
    pthread_mutex_lock(&pool.lock);
    while (atomic_load(&pool.begun) == begun)
        pthread_cond_wait(&pool.begins, &pool.lock);
    pool.idle--;
}

static void *serve(void *unused)
{
    (void)unused;
    pthread_mutex_lock(&pool.lock);
    for (;;) {
        struct loop *loop = find_loop(NULL);
        if (loop)
            join(loop);
        else
            wait_for_loop();
    }
    return NULL;
}

/* Signals are for the threads that the process made itself. */
static bool add_thread(void)
{
    sigset_t all, before;
    pthread_t thread;
    bool made;

    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    made = pthread_create(&thread, NULL, serve, NULL) == 0;
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    if (made)
        pthread_detach(thread);
    return made;
}

/* A chunk's own loop makes no thread: those there are come to it as they get free. */
static void begin(struct loop *loop)
{
    pthread_mutex_lock(&pool.lock);
    for (size_t ready = pool.idle;
         !loop->outer && ready < loop->wanted && pool.threads < THREADS_MAX && add_thread(); ready++)
        pool.threads++;
    loop->older = pool.newest;
    pool.newest = loop;
    atomic_fetch_add(&pool.begun, 1);
    pthread_cond_broadcast(&pool.begins);
    if (loop->outer)
        pthread_cond_broadcast(&pool.left);
    pthread_mutex_unlock(&pool.lock);
}

/* Nobody joins any more; those that did finish what they have begun, and loops of their chunks are helped. */
static void end(struct loop *loop)
{
    struct loop **place = &pool.newest, *inner;

    pthread_mutex_lock(&pool.lock);
    while (*place != loop)
        place = &(*place)->older;
    *place = loop->older;
    for (size_t joined; (joined = atomic_load(&loop->joined)) > 0;) {
        if ((inner = find_loop(loop))) {
            join(inner);
            continue;
        }
        size_t begun = atomic_load(&pool.begun);
        pthread_mutex_unlock(&pool.lock);
        look_for_change(&loop->joined, joined, &pool.begun, begun);
        pthread_mutex_lock(&pool.lock);
        if (atomic_load(&loop->joined) == joined && atomic_load(&pool.begun) == begun)
            pthread_cond_wait(&pool.left, &pool.lock);
    }
    pthread_mutex_unlock(&pool.lock);
}

void tasks_run(size_t threads, size_t count, void (*run)(void *context, size_t chunk), void *context)
{
    size_t together = threads < count ? threads : count;
    struct loop loop = {.count = count, .run = run, .context = context, .outer = running};

    if (together <= 1) {
        for (size_t chunk = 0; chunk < count; chunk++)
            run(context, chunk);
        return;
    }
    loop.wanted = together - 1;
    begin(&loop);
    work(&loop);
    end(&loop);
}
