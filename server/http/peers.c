/* peers.c - the register of connections, the watchdog, and lingering closes. */
#include "http/peers.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#define LINGERING_MAX 256
#define TICK_MS 50

enum peer_phase { PEER_HEADER, PEER_BODY, PEER_ANSWER };

struct peer {
    struct peers *peers;
    struct peer *previous, *next;
    int fd;
    enum peer_phase phase;
    int64_t deadline_ms;   /* PEER_HEADER; PEER_BODY: of the next piece */
    int64_t body_begin_ms; /* and the average rate counts from here */
    uint64_t body_bytes;
    bool linger, late;
};

struct lingering {
    int fd;
    int64_t deadline_ms;
    uint64_t bytes_left;
};

struct peers {
    const struct http_limits *limits;
    pthread_mutex_t lock; /* guards the list, every peer and the lingering ones */
    pthread_cond_t stop;
    bool stopping;
    struct peer *first;
    size_t count;
    uint64_t late_count;
    struct lingering lingering[LINGERING_MAX];
    size_t lingering_count;
    pthread_t watchdog;
};

static int64_t now_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static bool is_late(const struct peers *peers, const struct peer *peer, int64_t now)
{
    if (peer->phase == PEER_ANSWER)
        return false;
    if (now > peer->deadline_ms)
        return true;
    int64_t spent = now - peer->body_begin_ms;
    return peer->phase == PEER_BODY && spent > (int64_t)peers->limits->body_grace_ms
           && peer->body_bytes * 1000 < peers->limits->body_rate_bytes * (uint64_t)spent;
}

/* True when the lingering connection is done with. */
static bool read_on(struct lingering *lingering, int64_t now)
{
    char waste[16384];
    for (;;) {
        ssize_t got = recv(lingering->fd, waste, sizeof waste, MSG_DONTWAIT);
        if (got == 0 || (got < 0 && now > lingering->deadline_ms))
            return true;
        if (got < 0)
            return false;
        if ((uint64_t)got >= lingering->bytes_left)
            return true;
        lingering->bytes_left -= (uint64_t)got;
    }
}

static void tick(struct peers *peers)
{
    int64_t now = now_ms();
    for (struct peer *peer = peers->first; peer; peer = peer->next)
        if (!peer->late && is_late(peers, peer, now)) {
            peer->late = true;
            peers->late_count++;
            shutdown(peer->fd, SHUT_RDWR);
        }
    for (size_t i = 0; i < peers->lingering_count;)
        if (read_on(&peers->lingering[i], now)) {
            close(peers->lingering[i].fd);
            peers->lingering[i] = peers->lingering[--peers->lingering_count];
        } else {
            i++;
        }
}

static void *watch(void *context)
{
    struct peers *peers = context;
    pthread_mutex_lock(&peers->lock);
    while (!peers->stopping) {
        struct timespec until;
        clock_gettime(CLOCK_MONOTONIC, &until);
        until.tv_nsec += TICK_MS * 1000000L;
        until.tv_sec += until.tv_nsec / 1000000000L;
        until.tv_nsec %= 1000000000L;
        pthread_cond_timedwait(&peers->stop, &peers->lock, &until);
        tick(peers);
    }
    pthread_mutex_unlock(&peers->lock);
    return NULL;
}

struct peers *peers_open(const struct http_limits *limits, struct error *err)
{
    struct peers *peers = calloc(1, sizeof *peers);
    if (!peers) {
        error_set(err, ERROR_MACHINE, "no memory for the register of connections");
        return NULL;
    }
    peers->limits = limits;
    pthread_mutex_init(&peers->lock, NULL);
    pthread_condattr_t monotonic;
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    pthread_cond_init(&peers->stop, &monotonic);
    pthread_condattr_destroy(&monotonic);
    if (pthread_create(&peers->watchdog, NULL, watch, peers)) {
        free(peers);
        error_set(err, ERROR_MACHINE, "cannot start the watchdog thread");
        return NULL;
    }
    return peers;
}

void peers_close(struct peers *peers)
{
    if (!peers)
        return;
    pthread_mutex_lock(&peers->lock);
    peers->stopping = true;
    pthread_cond_signal(&peers->stop);
    pthread_mutex_unlock(&peers->lock);
    pthread_join(peers->watchdog, NULL);
    for (size_t i = 0; i < peers->lingering_count; i++)
        close(peers->lingering[i].fd);
    pthread_cond_destroy(&peers->stop);
    pthread_mutex_destroy(&peers->lock);
    free(peers);
}

size_t peers_count(struct peers *peers)
{
    pthread_mutex_lock(&peers->lock);
    size_t count = peers->count;
    pthread_mutex_unlock(&peers->lock);
    return count;
}

uint64_t peers_late_count(struct peers *peers)
{
    pthread_mutex_lock(&peers->lock);
    uint64_t count = peers->late_count;
    pthread_mutex_unlock(&peers->lock);
    return count;
}

struct peer *peer_open(struct peers *peers, int fd)
{
    struct peer *peer = calloc(1, sizeof *peer);
    if (!peer)
        return NULL;
    peer->peers = peers;
    peer->fd = fd;
    peer->phase = PEER_HEADER;
    peer->deadline_ms = now_ms() + (int64_t)peers->limits->header_ms;
    pthread_mutex_lock(&peers->lock);
    peer->next = peers->first;
    if (peers->first)
        peers->first->previous = peer;
    peers->first = peer;
    peers->count++;
    pthread_mutex_unlock(&peers->lock);
    return peer;
}

void peer_close(struct peer *peer)
{
    if (!peer)
        return;
    struct peers *peers = peer->peers;
    pthread_mutex_lock(&peers->lock);
    if (peer->previous)
        peer->previous->next = peer->next;
    else
        peers->first = peer->next;
    if (peer->next)
        peer->next->previous = peer->previous;
    peers->count--;
    if (peer->linger && !peer->late && !peers->stopping && peers->lingering_count < LINGERING_MAX) {
        int fd = dup(peer->fd);
        if (fd >= 0)
            peers->lingering[peers->lingering_count++] = (struct lingering){
                fd, now_ms() + (int64_t)peers->limits->linger_ms, peers->limits->linger_bytes};
    }
    pthread_mutex_unlock(&peers->lock);
    free(peer);
}

static void enter(struct peer *peer, enum peer_phase phase, int64_t deadline_ms)
{
    pthread_mutex_lock(&peer->peers->lock);
    peer->phase = phase;
    peer->deadline_ms = deadline_ms;
    pthread_mutex_unlock(&peer->peers->lock);
}

void peer_wait_header(struct peer *peer)
{
    enter(peer, PEER_HEADER, now_ms() + (int64_t)peer->peers->limits->idle_ms);
}

void peer_begin_body(struct peer *peer)
{
    int64_t now = now_ms();
    peer->body_begin_ms = now;
    peer->body_bytes = 0;
    enter(peer, PEER_BODY, now + (int64_t)peer->peers->limits->body_gap_ms);
}

void peer_take_body(struct peer *peer, size_t size)
{
    int64_t now = now_ms();
    pthread_mutex_lock(&peer->peers->lock);
    peer->body_bytes += size;
    peer->deadline_ms = now + (int64_t)peer->peers->limits->body_gap_ms;
    pthread_mutex_unlock(&peer->peers->lock);
}

void peer_end_body(struct peer *peer)
{
    enter(peer, PEER_ANSWER, 0);
}

void peer_linger(struct peer *peer)
{
    pthread_mutex_lock(&peer->peers->lock);
    peer->linger = true;
    pthread_mutex_unlock(&peer->peers->lock);
}
