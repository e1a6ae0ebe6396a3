/* limits.c - the table of limits and the reading of NAME=VALUE. */
#include "http/limits.h"

#include <string.h>

#define KIB ((uint64_t)1024)
#define MIB (KIB * 1024)
#define GIB (MIB * 1024)
#define LIMIT(name, unit, value, least, most, text)                                                          \
    {                                                                                                        \
#name, unit, text, offsetof(struct http_limits, name), value, least, most                            \
    }

static const struct http_limit table[] = {
    LIMIT(header_bytes, "bytes", 32 * KIB, 2 * KIB, MIB, "request line and header fields of one request"),
    LIMIT(target_bytes, "bytes", 8 * KIB, 256, 64 * KIB, "one request target"),
    LIMIT(upload_bytes, "bytes", 8 * GIB, 1, 1024 * GIB, "one uploaded file"),
    LIMIT(json_bytes, "bytes", MIB, 64, 64 * MIB, "one JSON body"),
    LIMIT(disk_keep_bytes, "bytes", 0, 0, 1024 * GIB,
          "disk kept free besides uploads; 0: 5 % or 2 GiB, the larger"),
    LIMIT(header_ms, "ms", 20000, 50, 600000, "from connecting to the end of the request header"),
    LIMIT(body_gap_ms, "ms", 30000, 50, 600000, "between two pieces of a request body"),
    LIMIT(body_grace_ms, "ms", 30000, 50, 600000, "after this, body_rate_bytes counts"),
    LIMIT(body_rate_bytes, "bytes/s", 16 * KIB, 0, GIB, "least average rate of a request body"),
    LIMIT(write_gap_ms, "ms", 30000, 1000, 600000, "a response that nobody takes"),
    LIMIT(idle_ms, "ms", 60000, 1000, 600000, "a kept connection without a request"),
    LIMIT(linger_ms, "ms", 2000, 0, 60000, "reading on after a request was refused early"),
    LIMIT(linger_bytes, "bytes", MIB, 0, GIB, "the same in bytes"),
    LIMIT(connections, "count", 12000, 8, 100000, "connections at once"),
    LIMIT(connections_per_host, "count", 256, 1, 100000, "connections at once from one address"),
    LIMIT(uploads, "count", 32, 1, 1000, "uploads at once"),
    LIMIT(unfinished_uploads, "count", 10000, 1, 1000000, "uploads in pieces that are not whole"),
    LIMIT(upload_keep_s, "s", 604800, 60, 31536000, "an upload in pieces is kept after its last piece"),
    LIMIT(event_streams, "count", 200, 1, 10000, "event streams at once"),
    LIMIT(waiting_requests, "count", 2000, 1, 100000, "requests waiting for a worker thread"),
    LIMIT(queued_jobs, "count", 10000, 1, 1000000, "jobs waiting to be measured"),
    LIMIT(page_size, "count", 500, 1, 10000, "entries of one list"),
    LIMIT(compared_runs, "count", 64, 2, 200, "runs side by side in one comparison"),
    LIMIT(stop_ms, "ms", 10000, 0, 600000, "for responses to finish while the service stops"),
    LIMIT(keep_alive_ms, "ms", 10000, 50, 15000, "between two lines of an event stream"),
};

size_t http_limit_count(void)
{
    return sizeof table / sizeof *table;
}

const struct http_limit *http_limit_at(size_t i)
{
    return &table[i];
}

uint64_t http_limit_value(const struct http_limits *limits, const struct http_limit *limit)
{
    uint64_t value;
    memcpy(&value, (const char *)limits + limit->offset, sizeof value);
    return value;
}

static void set_value(struct http_limits *limits, const struct http_limit *limit, uint64_t value)
{
    memcpy((char *)limits + limit->offset, &value, sizeof value);
}

struct http_limits http_limits_default(void)
{
    struct http_limits limits;
    memset(&limits, 0, sizeof limits);
    for (size_t i = 0; i < http_limit_count(); i++)
        set_value(&limits, &table[i], table[i].value);
    return limits;
}

static const struct http_limit *find(const char *name, size_t size)
{
    for (size_t i = 0; i < http_limit_count(); i++)
        if (strlen(table[i].name) == size && !memcmp(table[i].name, name, size))
            return &table[i];
    return NULL;
}

bool http_limits_set(struct http_limits *limits, const char *text, struct error *err)
{
    const char *equal = strchr(text, '=');
    const struct http_limit *limit = equal ? find(text, (size_t)(equal - text)) : NULL;
    if (!equal)
        return error_set(err, ERROR_USAGE, "--limit wants NAME=VALUE, not \"%s\"", text);
    if (!limit)
        return error_set(err, ERROR_USAGE, "no limit is called \"%.*s\"; GET /api/v1/limits lists them",
                         (int)(equal - text), text);
    const char *digits = equal + 1;
    uint64_t value = 0;
    bool good = *digits != '\0' && strlen(digits) <= 18;
    for (const char *d = digits; good && *d; d++) {
        good = *d >= '0' && *d <= '9';
        value = value * 10 + (uint64_t)(*d - '0');
    }
    if (!good || value < limit->least || value > limit->most)
        return error_set(err, ERROR_USAGE, "limit %s (%s) must be a whole number from %llu to %llu",
                         limit->name, limit->unit, (unsigned long long)limit->least,
                         (unsigned long long)limit->most);
    set_value(limits, limit, value);
    return true;
}
