/* post.h - one POST over HTTP, by libcurl, which is loaded at its first use: processes that send nothing, the
 * measuring ones above all, start without it. */
#ifndef NOTIFY_POST_H
#define NOTIFY_POST_H

#include "base/error.h"

#include <stdatomic.h>
#include <stdint.h>

struct poster;

/* ERROR_MACHINE where the library is missing or too old: says which package has it. One thread uses it. */
bool poster_open(struct poster **poster, struct error *err);
void poster_close(struct poster *poster);

enum { POST_ANSWER_SIZE = 201, POST_ERROR_SIZE = 240, POST_HEADERS_MAX = 8 };

struct post {
    const char *url, *body;
    const char *headers[POST_HEADERS_MAX]; /* "Name: value"; NULL ends them */
    bool to_private;                       /* addresses that are not public (address.h) may be reached */
    long connect_ms, total_ms;
    const atomic_bool *stop; /* set: given up at once */
};
struct post_answer {
    long status; /* 0: none came */
    bool was_stopped;
    char begin[POST_ANSWER_SIZE]; /* of the body, UTF-8 or cut where it is none; nothing more is kept */
    char error[POST_ERROR_SIZE];  /* "" where an answer came, whatever its status */
};
/* http and https alone; no redirect is followed, no proxy of the environment is used, no cookie is kept. */
void poster_send(struct poster *poster, const struct post *post, struct post_answer *answer);

#endif
