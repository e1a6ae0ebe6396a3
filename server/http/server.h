/* server.h - the HTTP service: opened over a store, started once there is a scheduler, stopped in order.
 *
 *     http_server_open -> scheduler_start -> http_server_start -> ... -> http_server_stop -> scheduler_stop
 *     -> http_server_close */
#ifndef HTTP_SERVER_H
#define HTTP_SERVER_H

#include "http/limits.h"
#include "job/scheduler.h"

struct service;

struct http_settings {
    const char *address;     /* loopback only: "127.0.0.1", "::1", "localhost" */
    uint16_t port;           /* 0: any free one */
    const char *page_folder; /* NULL: without the page */
    struct http_limits limits;
};

/* Makes everything but the socket, and begins to listen to the store's changes; no job may run before. */
bool http_server_open(const struct http_settings *settings, struct store *store, struct service **service,
                      struct error *err);
/* Binds and answers from now on. ERROR_USAGE for an address that is not a loopback one. */
bool http_server_start(struct service *service, const struct http_settings *settings,
                       struct scheduler *scheduler, struct error *err);
/* "http://127.0.0.1:43127/" */
const char *http_server_address(const struct service *service);
/* Accepts no more, ends event streams, lets answers finish for limits.stop_ms, then ends what is left. */
void http_server_stop(struct service *service);
void http_server_close(struct service *service);

/* Each route as "METHOD PATTERN\n", then its parameters after a blank: for the tests. */
void http_routes_print(void);

#endif
