/* events.c - the ring, its streams, and the thread that fills it. */
#include "http/events.h"

#include "job/reason.h"
#include "json/api_run.h"
#include "json/api_specimen.h"

#include <microhttpd.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define RING_EVENTS 1024
#define RING_BYTES ((size_t)4 << 20)
#define NOTICES_MAX 4096
#define GATHER_MS 200
#define ARENA_BYTES ((size_t)16 << 20)

struct event {
    uint64_t id;
    int64_t specimen;
    char *text; /* as it goes over the wire */
    size_t size;
};

struct event_stream {
    struct events *events;
    struct event_stream *previous, *next;
    struct MHD_Connection *connection;
    int64_t specimen;
    uint64_t last_id;
    char *out; /* being sent */
    size_t out_size, out_sent;
    bool is_suspended;
    int64_t spoke_ms;
};

struct events {
    struct store *store;
    const struct http_limits *limits;
    pthread_t thread;
    pthread_mutex_t lock; /* guards all below */
    pthread_cond_t some;
    bool ending, stopping;
    struct event ring[RING_EVENTS]; /* id at [id % RING_EVENTS] */
    uint64_t first_id, next_id;     /* the ring holds first_id ... next_id - 1 */
    size_t ring_bytes;
    struct event_stream *streams;
    size_t stream_count;
    size_t notice_count;
    bool notices_lost;
    struct store_change notices[NOTICES_MAX];
};

static int64_t now_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* The store's listener: quick, on any thread. */
static void note(void *context, const struct store_change *change)
{
    struct events *events = context;
    if (change->kind == STORE_CHANGED_HOOK)
        return;
    pthread_mutex_lock(&events->lock);
    size_t i = 0;
    while (i < events->notice_count
           && (events->notices[i].kind != change->kind || events->notices[i].id != change->id))
        i++;
    if (i < NOTICES_MAX)
        events->notices[i] = *change;
    else
        events->notices_lost = true;
    if (i == events->notice_count && i < NOTICES_MAX)
        events->notice_count++;
    pthread_cond_signal(&events->some);
    pthread_mutex_unlock(&events->lock);
}

/* Under the lock. */
static void wake_streams(struct events *events, int64_t spoke_before_ms)
{
    for (struct event_stream *stream = events->streams; stream; stream = stream->next)
        if (stream->is_suspended && stream->spoke_ms <= spoke_before_ms) {
            stream->is_suspended = false;
            MHD_resume_connection(stream->connection);
        }
}

static void drop_oldest(struct events *events)
{
    struct event *event = &events->ring[events->first_id++ % RING_EVENTS];
    events->ring_bytes -= event->size;
    free(event->text);
    event->text = NULL;
}

static void publish(struct events *events, const char *type, int64_t specimen, const struct api_text *body)
{
    char *text = NULL;
    pthread_mutex_lock(&events->lock);
    int size = asprintf(&text, "id: %llu\nevent: %s\ndata: %.*s\n\n", (unsigned long long)events->next_id,
                        type, (int)body->size, body->bytes);
    if (size > 0) {
        while (events->first_id < events->next_id
               && (events->next_id - events->first_id == RING_EVENTS
                   || events->ring_bytes + (size_t)size > RING_BYTES))
            drop_oldest(events);
        events->ring[events->next_id % RING_EVENTS] =
            (struct event){events->next_id, specimen, text, (size_t)size};
        events->ring_bytes += (size_t)size;
        events->next_id++;
        wake_streams(events, INT64_MAX);
    }
    pthread_mutex_unlock(&events->lock);
}

static void announce(struct events *events, const struct store_change *change, struct arena keep)
{
    static const char *const types[] = {[STORE_CHANGED_SPECIMEN] = "specimen",
                                        [STORE_CHANGED_VERSION] = "version",
                                        [STORE_CHANGED_RUN] = "run",
                                        [STORE_CHANGED_JOB] = "job"};
    struct api_text body = {NULL, 0};
    struct store_specimen specimen;
    struct store_version version;
    struct store_job job;
    struct error err;
    bool ok = false;
    switch (change->kind) {
    case STORE_CHANGED_SPECIMEN:
        ok = store_specimen_get(events->store, change->id, &keep, &specimen, &err)
             && api_specimen_write(&specimen, &body, &err);
        break;
    case STORE_CHANGED_VERSION:
        ok = store_version_get(events->store, change->id, &keep, &version, &err)
             && api_version_write(&version, &body, &err);
        break;
    case STORE_CHANGED_RUN:
        ok = api_run_event_write(change->id, change->version, change->specimen, &body, &err);
        break;
    case STORE_CHANGED_HOOK: /* note() lets none in */
        return;
    case STORE_CHANGED_JOB:
        ok = store_job_get(events->store, change->id, &keep, &job, &err)
             && api_job_write(&job, reason_advice, &body, &err);
        break;
    }
    if (ok) /* what cannot be read now will be told with its next change */
        publish(events, types[change->kind], change->specimen, &body);
    free(body.bytes);
}

/* Waits for notices, for the time of a keep-alive, or for the end; takes the notices. */
static size_t wait_for_notices(struct events *events, struct store_change *taken)
{
    int64_t keep_alive = (int64_t)events->limits->keep_alive_ms;
    pthread_mutex_lock(&events->lock);
    if (!events->notice_count && !events->stopping) {
        struct timespec until;
        int64_t pause = keep_alive / 4 < GATHER_MS ? keep_alive / 4 : GATHER_MS;
        clock_gettime(CLOCK_MONOTONIC, &until);
        until.tv_nsec += pause * 1000000;
        until.tv_sec += until.tv_nsec / 1000000000;
        until.tv_nsec %= 1000000000;
        pthread_cond_timedwait(&events->some, &events->lock, &until);
    }
    wake_streams(events, now_ms() - keep_alive);
    size_t count = events->notice_count;
    memcpy(taken, events->notices, count * sizeof *taken);
    events->notice_count = 0;
    if (events->notices_lost) { /* nobody can say what changed: every stream reads everything anew */
        while (events->first_id < events->next_id)
            drop_oldest(events);
        events->first_id = ++events->next_id;
        events->notices_lost = false;
    }
    pthread_mutex_unlock(&events->lock);
    return count;
}

static void *serve(void *context)
{
    struct events *events = context;
    struct store_change *taken = malloc(NOTICES_MAX * sizeof *taken);
    struct arena arena;
    struct error err;
    bool ok = taken && arena_open(&arena, ARENA_BYTES, &err), stopping = !ok;
    while (!stopping) {
        size_t count = wait_for_notices(events, taken);
        for (size_t i = 0; i < count; i++)
            announce(events, &taken[i], arena);
        if (count) /* gather what follows closely */
            nanosleep(&(struct timespec){0, GATHER_MS * 1000000L}, NULL);
        pthread_mutex_lock(&events->lock);
        stopping = events->stopping;
        pthread_mutex_unlock(&events->lock);
    }
    if (ok)
        arena_close(&arena);
    free(taken);
    return NULL;
}

struct events *events_open(struct store *store, const struct http_limits *limits, struct error *err)
{
    struct events *events = calloc(1, sizeof *events);
    if (!events) {
        error_set(err, ERROR_MACHINE, "no memory for events");
        return NULL;
    }
    events->store = store;
    events->limits = limits;
    /* Seconds times 2^20: numbers go on growing over restarts and stay exact in a double. */
    events->first_id = events->next_id = (uint64_t)time(NULL) << 20;
    pthread_mutex_init(&events->lock, NULL);
    pthread_condattr_t monotonic;
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    pthread_cond_init(&events->some, &monotonic);
    pthread_condattr_destroy(&monotonic);
    if (pthread_create(&events->thread, NULL, serve, events)) {
        error_set(err, ERROR_MACHINE, "cannot start the thread for events");
        free(events);
        return NULL;
    }
    if (!store_listen(store, note, events, err)) {
        events_close(events);
        return NULL;
    }
    return events;
}

void events_end_streams(struct events *events)
{
    pthread_mutex_lock(&events->lock);
    events->ending = true;
    wake_streams(events, INT64_MAX);
    pthread_mutex_unlock(&events->lock);
}

void events_close(struct events *events)
{
    if (!events)
        return;
    pthread_mutex_lock(&events->lock);
    events->stopping = true;
    pthread_cond_signal(&events->some);
    pthread_mutex_unlock(&events->lock);
    pthread_join(events->thread, NULL);
    while (events->first_id < events->next_id)
        drop_oldest(events);
    pthread_cond_destroy(&events->some);
    pthread_mutex_destroy(&events->lock);
    free(events);
}

size_t events_stream_count(struct events *events)
{
    pthread_mutex_lock(&events->lock);
    size_t count = events->stream_count;
    pthread_mutex_unlock(&events->lock);
    return count;
}

struct event_stream *event_stream_open(struct events *events, struct MHD_Connection *connection,
                                       int64_t specimen, const char *last_id)
{
    struct event_stream *stream = calloc(1, sizeof *stream);
    char *end = NULL;
    pthread_mutex_lock(&events->lock);
    bool fits = stream && events->stream_count < events->limits->event_streams && !events->ending;
    if (fits) {
        stream->events = events;
        stream->connection = connection;
        stream->specimen = specimen;
        stream->spoke_ms = now_ms();
        stream->last_id = events->next_id - 1;
        if (last_id && *last_id)
            stream->last_id = strtoull(last_id, &end, 10);
        if (end && *end)
            stream->last_id = 0; /* not a number of ours: leads to a reset */
        stream->out = strdup("retry: 2000\n\n");
        stream->out_size = stream->out ? strlen(stream->out) : 0;
        stream->next = events->streams;
        if (events->streams)
            events->streams->previous = stream;
        events->streams = stream;
        events->stream_count++;
    }
    pthread_mutex_unlock(&events->lock);
    if (fits)
        return stream;
    free(stream);
    return NULL;
}

/* Under the lock: fills stream->out with what comes next; false when nothing does. */
static bool next_text(struct event_stream *stream)
{
    struct events *events = stream->events;
    char *text = NULL;
    if (stream->last_id + 1 < events->first_id || stream->last_id >= events->next_id) {
        stream->last_id = events->next_id - 1;
        if (asprintf(&text, "id: %llu\nevent: reset\ndata: {}\n\n", (unsigned long long)stream->last_id) < 0)
            text = NULL;
    }
    while (!text && stream->last_id + 1 < events->next_id) {
        const struct event *event = &events->ring[++stream->last_id % RING_EVENTS];
        if (!stream->specimen || event->specimen == stream->specimen)
            text = strdup(event->text);
    }
    if (!text && now_ms() - stream->spoke_ms >= (int64_t)events->limits->keep_alive_ms)
        text = strdup(": keep-alive\n\n");
    stream->out = text;
    stream->out_size = text ? strlen(text) : 0;
    stream->out_sent = 0;
    return text != NULL;
}

ssize_t event_stream_read(void *context, uint64_t position, char *out, size_t room)
{
    struct event_stream *stream = context;
    struct events *events = stream->events;
    (void)position;
    pthread_mutex_lock(&events->lock);
    if (!stream->out && !next_text(stream)) {
        ssize_t nothing = 0;
        if (events->ending) {
            nothing = MHD_CONTENT_READER_END_OF_STREAM;
        } else {
            stream->is_suspended = true;
            MHD_suspend_connection(stream->connection);
        }
        pthread_mutex_unlock(&events->lock);
        return nothing;
    }
    size_t left = stream->out_size - stream->out_sent, size = left < room ? left : room;
    memcpy(out, stream->out + stream->out_sent, size);
    stream->out_sent += size;
    stream->spoke_ms = now_ms();
    if (stream->out_sent == stream->out_size) {
        free(stream->out);
        stream->out = NULL;
    }
    pthread_mutex_unlock(&events->lock);
    return (ssize_t)size;
}

void event_stream_close(void *context)
{
    struct event_stream *stream = context;
    struct events *events = stream->events;
    pthread_mutex_lock(&events->lock);
    if (stream->previous)
        stream->previous->next = stream->next;
    else
        events->streams = stream->next;
    if (stream->next)
        stream->next->previous = stream->previous;
    events->stream_count--;
    pthread_mutex_unlock(&events->lock);
    free(stream->out);
    free(stream);
}
