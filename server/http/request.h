/* request.h - one request while it is being answered, and what handlers ask of it. */
#ifndef HTTP_REQUEST_H
#define HTTP_REQUEST_H

#include "http/headers.h"
#include "http/peers.h"
#include "http/reply.h"
#include "http/route.h"
#include "http/service.h"
#include "http/tus.h"
#include "store/part.h"
#include "json/body.h"

struct MHD_Connection;

enum request_stage {
    REQUEST_NEW,       /* the target is known, the header is not complete */
    REQUEST_PREPARING, /* a worker judges it before its body is read */
    REQUEST_PREPARED,
    REQUEST_BODY,     /* the body comes in */
    REQUEST_HANDLING, /* a worker makes the answer */
    REQUEST_ANSWERED  /* the reply is there, to be queued */
};

struct request {
    struct service *service;
    struct MHD_Connection *connection;
    struct peer *peer;
    enum request_stage stage;
    bool in_flight; /* counted in service->in_flight */
    char id[17];
    char method[16]; /* cut: a longer one is none of ours */
    char *raw_target;
    struct target target;
    const struct route *route; /* NULL: a file of the page, or refused */
    int64_t path_id;
    const char *path_name;
    struct header_facts facts;
    bool has_body;
    int64_t begin_us;

    char *body; /* JSON, malloc'ed */
    size_t body_size, body_room;
    struct store_version_new version; /* an upload: what is to be made of it; strings of target */
    struct store_upload *upload;
    struct store_piece *piece; /* of an upload in pieces */
    struct store_part part;    /* just made, by a request that creates one */
    struct tus_checksum checksum;
    bool holds_upload_slot;
    uint64_t upload_bytes;

    struct reply reply;
};

/* A header field's value, or NULL; safe on the worker that has the request. */
const char *request_header(const struct request *request, const char *name);
/* A parameter's value, or NULL. */
const char *request_parameter(const struct request *request, const char *name);
/* A parameter that is an id; 0 when missing, ERROR_USAGE when it is none. */
bool request_id_parameter(const struct request *request, const char *name, int64_t *id, struct error *err);
/* ?limit=, 50 when missing, at most limits.page_size. */
bool request_limit(const struct request *request, size_t *limit, struct error *err);
/* What the answer is written as: the ?format= where there is one, else the first media type of Accept that is
 * one of them, else formats[0]. ERROR_USAGE for another ?format=. */
struct request_format {
    const char *word, *media_type;
};
bool request_format(const struct request *request, const struct request_format *formats, size_t count,
                    size_t *chosen, struct error *err);
bool request_is_changing(const struct request *request); /* neither GET nor HEAD */

/* Gives up the upload or piece, finished or not, and its place among those that run. */
void request_close_upload(struct request *request);

/* The JSON body; the caller owes body_close. */
bool request_body(const struct request *request, struct body *body, struct error *err);
/* A body there may be, but it must hold nothing: ERROR_USAGE. */
bool request_empty_body(const struct request *request, struct error *err);

/* Compares If-Match with etag. True when the change may go on, with *any set for "*"; else reply holds a 428
 * or 412. */
bool request_may_change(const struct request *request, const char *etag, struct reply *reply, bool *any);
/* The 412 for a change that lost a race. */
void request_reply_stale(const struct request *request, struct reply *reply);
/* The tag of one thing at a revision: other programs may write the same thing in other words. */
void request_etag_of_revision(int64_t revision, char etag[ETAG_SIZE]);

#endif
