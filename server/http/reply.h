/* reply.h - what a handler answers, before libmicrohttpd hears of it.
 *
 * A handler fills one with the functions below; the access code adds the headers that every answer carries,
 * answers If-None-Match and Range, and frees what is left over. */
#ifndef HTTP_REPLY_H
#define HTTP_REPLY_H

#include "base/error.h"
#include "http/etag.h"
#include "json/api_text.h"

#define REPLY_HEADERS_MAX 10

struct event_stream;

struct reply_header {
    const char *name; /* a constant */
    char *value;      /* malloc'ed */
};

struct reply {
    unsigned status; /* 0: nothing decided yet */
    const char *content_type;
    char *bytes;        /* malloc'ed, or NULL */
    const char *shared; /* bytes that outlive the server's threads, instead */
    uint64_t size;
    int fd;                      /* a file instead of bytes; -1: none. Its ranges may be asked for. */
    struct event_stream *stream; /* an endless answer instead */
    char etag[ETAG_SIZE];        /* "" when there is none */
    const char *cache;           /* Cache-Control */
    bool is_download;            /* uploaded bytes: sandboxed */
    const char *policy;          /* Content-Security-Policy; NULL: the page's, or a download's */
    size_t header_count;
    struct reply_header headers[REPLY_HEADERS_MAX];
};

extern const char REPLY_JSON[];  /* application/json; charset=utf-8 */
extern const char REPLY_BYTES[]; /* application/octet-stream */

void reply_init(struct reply *reply);
/* Frees bytes, headers and fd, and makes it empty again. */
void reply_clear(struct reply *reply);

/* Takes text; private, no-cache, with a tag of the bytes. */
void reply_json(struct reply *reply, unsigned status, struct api_text *text);
/* Takes bytes. */
void reply_text(struct reply *reply, unsigned status, const char *content_type, char *bytes, size_t size);
/* Bytes that are never freed. */
void reply_shared(struct reply *reply, const char *content_type, const char *bytes, size_t size);
/* Takes fd. */
void reply_file(struct reply *reply, int fd, uint64_t size);
/* An extra header; one that does not fit or has no memory is left out. */
void reply_header(struct reply *reply, const char *name, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* Content-Disposition: "attachment" or "inline", with the name as RFC 6266 and RFC 8187 write it. */
void reply_disposition(struct reply *reply, const char *disposition, const char *name);
void reply_attachment(struct reply *reply, const char *name);

/* Replaces whatever was there by a problem. code NULL: the word of err's code. */
void reply_problem(struct reply *reply, unsigned status, const char *code, const struct error *err,
                   const char *request_id);
/* The same with the status by err's code: the one table that turns codes into statuses. is_changing: the
 * request wanted to write, so that ERROR_MACHINE most likely is a full disk. */
void reply_error(struct reply *reply, const struct error *err, bool is_changing, const char *request_id);

const char *status_title(unsigned status);

#endif
