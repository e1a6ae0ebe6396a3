/* peers.h - every open connection and the moment it must have got on by.
 *
 * libmicrohttpd's own timer is one of inactivity, which a byte now and then defeats. Here each connection has
 * a deadline for its header, and a body has one for the gap between pieces and for its average rate; a
 * watchdog thread shuts late ones down. Moments are of CLOCK_MONOTONIC.
 *
 * A connection whose last request was refused before its body was read is, when the library closes it, read
 * on for a moment (linger): otherwise the client's own sending destroys the answer before it is read
 * (RFC 9112 section 9.6). */
#ifndef HTTP_PEERS_H
#define HTTP_PEERS_H

#include "http/limits.h"

struct peers;
struct peer;

struct peers *peers_open(const struct http_limits *limits, struct error *err);
void peers_close(struct peers *peers);
size_t peers_count(struct peers *peers);
/* How many the watchdog has shut down. */
uint64_t peers_late_count(struct peers *peers);

/* NULL when memory is short. */
struct peer *peer_open(struct peers *peers, int fd);
void peer_close(struct peer *peer);

void peer_wait_header(struct peer *peer);            /* a kept connection: idle until the next header ends */
void peer_begin_body(struct peer *peer);             /* the header is complete, a body comes */
void peer_take_body(struct peer *peer, size_t size); /* a piece has come */
void peer_end_body(struct peer *peer);               /* no deadline: we work, or write an answer */
void peer_linger(struct peer *peer);                 /* read on when it closes */

#endif
