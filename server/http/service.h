/* service.h - what all requests share; inside the room only. */
#ifndef HTTP_SERVICE_H
#define HTTP_SERVICE_H

#include "http/checks.h"
#include "http/events.h"
#include "http/limits.h"
#include "http/page_files.h"
#include "http/peers.h"
#include "http/workers.h"
#include "job/scheduler.h"
#include "store/store.h"
#include "json/measures.h"

#include <stdatomic.h>

struct MHD_Daemon;

struct service {
    struct http_limits limits;
    struct store *store;         /* the caller's */
    struct scheduler *scheduler; /* the caller's */
    struct measure_list measures;
    struct page_files page; /* none: the service answers without its page */
    struct peers *peers;
    struct workers *workers;
    struct events *events;
    struct checks *checks;
    struct MHD_Daemon *daemon;
    int listen_fd;
    char address[64]; /* "http://127.0.0.1:43127/" */

    uint64_t id_seed;
    atomic_ulong request_number;
    atomic_ulong answers[6]; /* by the first digit of the status */
    atomic_ulong upload_bytes;
    atomic_long uploads_open;
    atomic_long in_flight; /* requests begun and not ended, event streams apart */
    atomic_bool stopping;
};

#endif
