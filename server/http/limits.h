/* limits.h - every limit of the service in one table: name, unit, default, and what it is for.
 *
 * GET /api/v1/limits prints the table, error messages name the entry, and `fettle serve --limit NAME=VALUE`
 * sets one. The defaults follow nginx, Apache and the OWASP denial-of-service advice where those name a
 * figure; the rest are proposals of this project (common practice, no source). */
#ifndef HTTP_LIMITS_H
#define HTTP_LIMITS_H

#include "base/error.h"

struct http_limits {
    uint64_t header_bytes;         /* request line and header fields of one request */
    uint64_t target_bytes;         /* one request target */
    uint64_t upload_bytes;         /* body of an upload */
    uint64_t json_bytes;           /* JSON body */
    uint64_t disk_keep_bytes;      /* free disk left after an upload; 0: 5 % or 2 GiB, the larger */
    uint64_t header_ms;            /* from the first byte of a connection to the end of the header */
    uint64_t body_gap_ms;          /* between two pieces of a body */
    uint64_t body_grace_ms;        /* after this, the average rate counts */
    uint64_t body_rate_bytes;      /* least average bytes per second of a body */
    uint64_t write_gap_ms;         /* a response that nobody takes */
    uint64_t idle_ms;              /* a kept connection without a request */
    uint64_t linger_ms;            /* reading on after an early refusal */
    uint64_t linger_bytes;         /* the same in bytes */
    uint64_t connections;          /* total */
    uint64_t connections_per_host; /* per client address */
    uint64_t uploads;              /* at once */
    uint64_t unfinished_uploads;   /* in pieces, not whole yet */
    uint64_t upload_keep_s;        /* an upload in pieces, after its last piece */
    uint64_t event_streams;        /* at once */
    uint64_t waiting_requests;     /* for a worker thread */
    uint64_t queued_jobs;          /* total */
    uint64_t page_size;            /* entries of one list */
    uint64_t compared_runs;        /* columns of one comparison */
    uint64_t stop_ms;              /* for responses to finish while stopping */
    uint64_t keep_alive_ms;        /* between two lines of an event stream */
};

struct http_limits http_limits_default(void);

/* One line of the table. */
struct http_limit {
    const char *name;
    const char *unit; /* "bytes", "ms", "s", "bytes/s", "count" */
    const char *text;
    size_t offset; /* of the field in struct http_limits */
    uint64_t value, least, most;
};
size_t http_limit_count(void);
const struct http_limit *http_limit_at(size_t i);
uint64_t http_limit_value(const struct http_limits *limits, const struct http_limit *limit);

/* Sets one limit from "NAME=VALUE"; ERROR_USAGE tells what is wrong with it. */
bool http_limits_set(struct http_limits *limits, const char *text, struct error *err);

#endif
