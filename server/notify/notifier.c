/* notifier.c - the thread that sends. */
#include "notify/notifier.h"

#include "notify/backoff.h"
#include "notify/post.h"
#include "notify/signature.h"
#include "run/version.h"
#include "store/hooks.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>

#define ARENA_BYTES ((size_t)8 << 20)

enum { CONNECT_MS = 5000, TOTAL_MS = 10000, LOOK_MS = 60000, TROUBLE_MS = 5000, DAYS_FAILING = 5 };

struct notifier {
    struct store *store;
    struct notifier_options options;
    struct arena arena;
    struct poster *poster; /* NULL until something is sent */
    pthread_t thread;
    pthread_mutex_t lock; /* of news */
    pthread_cond_t some;
    bool news;
    atomic_bool stop;
};

static void wake(struct notifier *notifier)
{
    pthread_mutex_lock(&notifier->lock);
    notifier->news = true;
    pthread_cond_signal(&notifier->some);
    pthread_mutex_unlock(&notifier->lock);
}

/* The store's listener. What hooks are told of moves its specimen. */
static void hear(void *context, const struct store_change *change)
{
    if (change->kind == STORE_CHANGED_HOOK || change->kind == STORE_CHANGED_SPECIMEN)
        wake(context);
}

static void wait_for_news(struct notifier *notifier, int64_t ms)
{
    struct timespec until;
    int rc = 0;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_sec += ms / 1000;
    until.tv_nsec += ms % 1000 * 1000000;
    if (until.tv_nsec >= 1000000000) {
        until.tv_sec++;
        until.tv_nsec -= 1000000000;
    }
    pthread_mutex_lock(&notifier->lock);
    while (!notifier->news && rc == 0)
        rc = pthread_cond_timedwait(&notifier->some, &notifier->lock, &until);
    notifier->news = false;
    pthread_mutex_unlock(&notifier->lock);
}

static uint64_t some_bits(void)
{
    uint64_t bits = 0;
    if (getrandom(&bits, sizeof bits, 0) != (ssize_t)sizeof bits)
        bits = (uint64_t)store_now_ms();
    return bits;
}

static void send_one(struct notifier *notifier, const struct store_delivery *delivery,
                     struct post_answer *answer)
{
    char agent[80], event[80], uid[80], timestamp[48], signature[SIGNATURE_SIZE], signed_by[112];
    int64_t now_s = store_now_ms() / 1000;
    struct error err;
    memset(answer, 0, sizeof *answer);
    if (!notifier->poster && !poster_open(&notifier->poster, &err)) {
        snprintf(answer->error, sizeof answer->error, "%s", err.text);
        return;
    }
    signature_make(delivery->secret, now_s, delivery->body, signature);
    snprintf(agent, sizeof agent, "User-Agent: fettle/%.40s", engine_version());
    snprintf(event, sizeof event, "Fettle-Event: %.40s", delivery->event);
    snprintf(uid, sizeof uid, "Fettle-Delivery: %.40s", delivery->uid);
    snprintf(timestamp, sizeof timestamp, "Fettle-Timestamp: %lld", (long long)now_s);
    snprintf(signed_by, sizeof signed_by, "Fettle-Signature: %s", signature);
    struct post post = {
        .url = delivery->url,
        .body = delivery->body,
        .headers = {"Content-Type: application/json", agent, event, uid, timestamp, signed_by, "Expect:"},
        .to_private = notifier->options.to_private,
        .connect_ms = CONNECT_MS,
        .total_ms = TOTAL_MS,
        .stop = &notifier->stop,
    };
    poster_send(notifier->poster, &post, answer);
}

/* Sends it and writes down how it went; false where the store cannot. */
static bool try_one(struct notifier *notifier, const struct store_delivery *delivery)
{
    struct post_answer answer;
    char refused[48];
    struct error err;
    send_one(notifier, delivery, &answer);
    if (answer.was_stopped)
        return false;
    snprintf(refused, sizeof refused, "the answer was %ld, not 200 to 299", answer.status);
    bool accepted = answer.status >= 200 && answer.status <= 299;
    int64_t wait = backoff_ms(delivery->attempts + 1, notifier->options.first_retry_ms, some_bits());
    struct store_attempt attempt = {
        .accepted = accepted,
        .status = answer.status,
        .error = accepted        ? NULL
                 : *answer.error ? answer.error
                                 : refused,
        .answer = answer.status ? answer.begin : NULL,
        .again_ms = store_now_ms() + wait,
        .disable_after_s = notifier->options.disable_after_s,
    };
    return store_delivery_tried(notifier->store, delivery, &attempt, &err);
}

/* Sends what is due; how long to wait for the next. */
static int64_t send_due(struct notifier *notifier)
{
    struct store_delivery delivery;
    struct error err;
    bool found = true;
    int64_t next_ms = 0;
    while (!atomic_load(&notifier->stop)) {
        struct arena keep = notifier->arena;
        if (!store_delivery_due(notifier->store, store_now_ms(), &keep, &delivery, &found, &next_ms, &err))
            return TROUBLE_MS;
        if (!found)
            break;
        if (!try_one(notifier, &delivery))
            return TROUBLE_MS;
    }
    int64_t wait = next_ms ? next_ms - store_now_ms() : LOOK_MS;
    return wait < 0 ? 0 : wait < LOOK_MS ? wait : LOOK_MS;
}

static void *run(void *context)
{
    struct notifier *notifier = context;
    while (!atomic_load(&notifier->stop))
        wait_for_news(notifier, send_due(notifier));
    return NULL;
}

static bool begin(struct notifier *notifier, struct error *err)
{
    pthread_condattr_t monotonic;
    pthread_mutex_init(&notifier->lock, NULL);
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    pthread_cond_init(&notifier->some, &monotonic);
    pthread_condattr_destroy(&monotonic);
    if (!arena_open(&notifier->arena, ARENA_BYTES, err))
        return false;
    if (!store_listen(notifier->store, hear, notifier, err)) {
        arena_close(&notifier->arena);
        return false;
    }
    if (pthread_create(&notifier->thread, NULL, run, notifier) == 0)
        return true;
    store_unlisten(notifier->store, notifier);
    arena_close(&notifier->arena);
    return error_set(err, ERROR_MACHINE, "cannot start the thread that sends to hooks");
}

bool notifier_start(struct store *store, const struct notifier_options *options, struct notifier **made,
                    struct error *err)
{
    struct notifier *notifier = calloc(1, sizeof *notifier);
    *made = NULL;
    if (!notifier)
        return error_set(err, ERROR_MACHINE, "no memory for what sends to hooks");
    notifier->store = store;
    notifier->options = *options;
    if (!notifier->options.first_retry_ms)
        notifier->options.first_retry_ms = 5000;
    if (!notifier->options.disable_after_s)
        notifier->options.disable_after_s = (int64_t)DAYS_FAILING * 86400;
    if (!begin(notifier, err)) {
        free(notifier);
        return false;
    }
    *made = notifier;
    return true;
}

void notifier_stop(struct notifier *notifier)
{
    atomic_store(&notifier->stop, true);
    wake(notifier);
    pthread_join(notifier->thread, NULL);
    store_unlisten(notifier->store, notifier);
    poster_close(notifier->poster);
    arena_close(&notifier->arena);
    pthread_cond_destroy(&notifier->some);
    pthread_mutex_destroy(&notifier->lock);
    free(notifier);
}
