/* route.h - the routes: one table, which the OpenAPI document and the tests are held against. */
#ifndef HTTP_ROUTE_H
#define HTTP_ROUTE_H

#include "http/reply.h"
#include "http/target.h"

struct request;
struct arena;

enum route_body {
    ROUTE_NO_BODY,       /* one that comes all the same is refused */
    ROUTE_JSON,          /* a JSON object; Content-Type must say so */
    ROUTE_JSON_OR_EMPTY, /* the same, or nothing */
    ROUTE_UPLOAD,        /* raw bytes of any type, streamed to the store */
    ROUTE_TUS,           /* no body, in the tus protocol: request and answer say Tus-Resumable */
    ROUTE_TUS_PIECE      /* the same with bytes of one of its pieces, or nothing */
};

/* Fills reply, or err and returns false. Runs on a worker thread; what it takes from keep is gone after. */
typedef bool route_handler(struct request *request, struct reply *reply, struct arena *keep,
                           struct error *err);

struct route {
    const char *method;  /* "GET" (HEAD too, where it has no row of its own), "POST", "PATCH", ... */
    const char *pattern; /* "/api/v1/runs/{id}/fields/{name}": {id} takes an id, {name} one segment */
    const char *query;   /* the parameters there are, parted by spaces */
    enum route_body body;
    bool is_quick;          /* neither database nor disk: runs on the connection's own thread */
    route_handler *prepare; /* may refuse, by filling reply, before the body is read; NULL: nothing to do */
    route_handler *handle;
};

static inline bool route_is_tus(const struct route *route)
{
    return route && (route->body == ROUTE_TUS || route->body == ROUTE_TUS_PIECE);
}

size_t route_count(void);
const struct route *route_at(size_t i);

struct route_match {
    const struct route *route; /* NULL: no such address, or not with this method */
    bool is_known;             /* the address exists, with other methods */
    char allow[64];            /* which */
    int64_t id;                /* of {id} */
    const char *name;          /* of {name} */
};
/* An {id} that is no id makes the address unknown. */
struct route_match route_find(const char *method, const struct target *target);

#endif
