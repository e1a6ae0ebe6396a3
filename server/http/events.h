/* events.h - what happens, told to whoever listens: server-sent events (WHATWG HTML section 9.2).
 *
 * A ring of the latest events serves every stream: a stream keeps only the number of the last event it has
 * sent, so a slow reader costs nothing and one that comes back goes on where it was (Last-Event-ID). One
 * whose place has left the ring is told "reset" and should read everything anew. A thread turns changes of
 * the store into events; changes of the same thing within a fifth of a second become one. */
#ifndef HTTP_EVENTS_H
#define HTTP_EVENTS_H

#include "http/limits.h"
#include "store/store.h"

#include <sys/types.h>

struct events;
struct event_stream;
struct MHD_Connection;

/* Starts listening to the store; call before work begins there. */
struct events *events_open(struct store *store, const struct http_limits *limits, struct error *err);
/* Every stream ends soon. No stream may be left when events_close is called. */
void events_end_streams(struct events *events);
void events_close(struct events *events);
size_t events_stream_count(struct events *events);

/* A stream of the events of one specimen (0: of all) after last_id (NULL: from now on). NULL when there are
 * too many. */
struct event_stream *event_stream_open(struct events *events, struct MHD_Connection *connection,
                                       int64_t specimen, const char *last_id);
/* These two have the form of libmicrohttpd's content callbacks. */
ssize_t event_stream_read(void *stream, uint64_t position, char *out, size_t room);
void event_stream_close(void *stream);

#endif
