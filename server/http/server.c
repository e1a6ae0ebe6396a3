/* server.c - opening, starting and stopping of the service. */
#include "http/server.h"

#include "http/access.h"
#include "http/log.h"
#include "http/specs.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#define WORKER_THREADS 8
#define CONNECTION_THREADS 2
#define HEADER_ROOM 512 /* the library's own needs beside the header, per connection */

bool http_server_open(const struct http_settings *settings, struct store *store, struct service **made,
                      struct error *err)
{
    struct service *service = calloc(1, sizeof *service);
    *made = service;
    if (!service)
        return error_set(err, ERROR_MACHINE, "no memory for the service");
    service->limits = settings->limits;
    service->store = store;
    service->listen_fd = -1;
    if (getrandom(&service->id_seed, sizeof service->id_seed, 0) != sizeof service->id_seed)
        service->id_seed = (uint64_t)time(NULL);
    bool ok =
        measures_open(&service->measures, err)
        && (!settings->page_folder || page_files_open(settings->page_folder, &service->page, err))
        && (service->peers = peers_open(&service->limits, err)) != NULL
        && (service->workers = workers_open(WORKER_THREADS, (size_t)service->limits.waiting_requests, err))
               != NULL
        && (service->events = events_open(store, &service->limits, err)) != NULL
        && (service->checks = checks_open(store, err)) != NULL;
    if (!ok) {
        http_server_close(service);
        *made = NULL;
        return false;
    }
    struct error fault;
    if (!specs_seed(store, &service->measures, &fault)) /* a store that only reads still answers */
        log_event("starting specs not added", "reason", fault.text);
    return true;
}

/* The loopback address to bind, with port; false with ERROR_USAGE for any other. */
static bool parse_address(const char *text, uint16_t port, struct sockaddr_storage *address, socklen_t *size,
                          struct error *err)
{
    struct sockaddr_in *four = (struct sockaddr_in *)address;
    struct sockaddr_in6 *six = (struct sockaddr_in6 *)address;
    memset(address, 0, sizeof *address);
    if (!strcmp(text, "localhost"))
        text = "127.0.0.1";
    if (inet_pton(AF_INET, text, &four->sin_addr) == 1 && ntohl(four->sin_addr.s_addr) >> 24 == 127) {
        four->sin_family = AF_INET;
        four->sin_port = htons(port);
        *size = sizeof *four;
        return true;
    }
    if (!strcmp(text, "::1")) {
        six->sin6_family = AF_INET6;
        six->sin6_addr = in6addr_loopback;
        six->sin6_port = htons(port);
        *size = sizeof *six;
        return true;
    }
    return error_set(err, ERROR_USAGE,
                     "there are no accounts yet, so the service listens on 127.0.0.1, ::1 or localhost only");
}

static bool bind_socket(struct service *service, const struct http_settings *settings, struct error *err)
{
    struct sockaddr_storage address;
    socklen_t size = sizeof address;
    int on = 1;
    if (!parse_address(settings->address, settings->port, &address, &size, err))
        return false;
    int fd = socket(address.ss_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    service->listen_fd = fd;
    if (fd < 0 || setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on)
        || bind(fd, (struct sockaddr *)&address, size) || listen(fd, 511)
        || getsockname(fd, (struct sockaddr *)&address, &size))
        return error_set(err, ERROR_MACHINE, "cannot listen on port %u: %s", settings->port, strerror(errno));
    bool six = address.ss_family == AF_INET6;
    char name[INET6_ADDRSTRLEN];
    inet_ntop(address.ss_family,
              six ? (void *)&((struct sockaddr_in6 *)&address)->sin6_addr
                  : (void *)&((struct sockaddr_in *)&address)->sin_addr,
              name, sizeof name);
    snprintf(service->address, sizeof service->address, six ? "http://[%s]:%u/" : "http://%s:%u/", name,
             ntohs(six ? ((struct sockaddr_in6 *)&address)->sin6_port
                       : ((struct sockaddr_in *)&address)->sin_port));
    return true;
}

/* As many descriptors as connections want, as far as the system lets us. */
static void raise_descriptor_limit(struct service *service)
{
    struct rlimit limit;
    rlim_t wanted = (rlim_t)service->limits.connections + 512;
    if (getrlimit(RLIMIT_NOFILE, &limit) || limit.rlim_cur >= wanted)
        return;
    limit.rlim_cur = limit.rlim_max < wanted ? limit.rlim_max : wanted;
    if (!setrlimit(RLIMIT_NOFILE, &limit) && limit.rlim_cur < wanted && limit.rlim_cur > 1024)
        service->limits.connections = limit.rlim_cur - 512;
}

static void note_library(void *context, const char *format, va_list args)
    __attribute__((format(printf, 2, 0)));
static void note_library(void *context, const char *format, va_list args)
{
    char text[512];
    (void)context;
    vsnprintf(text, sizeof text, format, args);
    log_event("library", "text", text);
}

/* Of new connections: none once the service stops. (MHD_quiesce_daemon ends the program now and then: of the
 * library's threads and its own, who takes the socket out of the epoll set second calls that fatal; seen in
 * 0.9.75.) */
static enum MHD_Result accept_unless_stopping(void *context, const struct sockaddr *address, socklen_t size)
{
    struct service *service = context;
    (void)address;
    (void)size;
    return atomic_load(&service->stopping) ? MHD_NO : MHD_YES;
}

bool http_server_start(struct service *service, const struct http_settings *settings,
                       struct scheduler *scheduler, struct error *err)
{
    const struct http_limits *limits = &service->limits;
    service->scheduler = scheduler;
    if (!bind_socket(service, settings, err))
        return false;
    raise_descriptor_limit(service);
    service->daemon = MHD_start_daemon(
        MHD_USE_EPOLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME | MHD_USE_ERROR_LOG, 0,
        accept_unless_stopping, service, access_step, service, MHD_OPTION_EXTERNAL_LOGGER, note_library, NULL,
        MHD_OPTION_LISTEN_SOCKET, service->listen_fd, MHD_OPTION_THREAD_POOL_SIZE,
        (unsigned)CONNECTION_THREADS, MHD_OPTION_CONNECTION_MEMORY_LIMIT,
        (size_t)limits->header_bytes + HEADER_ROOM, MHD_OPTION_CONNECTION_LIMIT,
        (unsigned)limits->connections, MHD_OPTION_PER_IP_CONNECTION_LIMIT,
        (unsigned)limits->connections_per_host, MHD_OPTION_CONNECTION_TIMEOUT,
        (unsigned)(limits->idle_ms / 1000), MHD_OPTION_URI_LOG_CALLBACK, access_target, service,
        MHD_OPTION_UNESCAPE_CALLBACK, access_unescape, service, MHD_OPTION_NOTIFY_COMPLETED, access_completed,
        service, MHD_OPTION_NOTIFY_CONNECTION, access_connection, service, MHD_OPTION_END);
    if (!service->daemon)
        return error_set(err, ERROR_MACHINE, "the HTTP library refuses to start");
    return true;
}

const char *http_server_address(const struct service *service)
{
    return service->address;
}

static void wait_for_answers(struct service *service)
{
    const struct timespec pause = {0, 20 * 1000000L};
    for (uint64_t waited = 0; waited < service->limits.stop_ms; waited += 20) {
        if (atomic_load(&service->in_flight) <= 0 && !events_stream_count(service->events))
            break;
        nanosleep(&pause, NULL);
    }
}

void http_server_stop(struct service *service)
{
    if (!service->daemon)
        return;
    atomic_store(&service->stopping, true);
    events_end_streams(service->events);
    wait_for_answers(service);
    workers_end(service->workers); /* resumes whatever is suspended */
    MHD_stop_daemon(service->daemon);
    service->daemon = NULL;
    service->listen_fd = -1; /* closed with it */
}

void http_server_close(struct service *service)
{
    if (!service)
        return;
    http_server_stop(service);
    if (service->listen_fd >= 0)
        close(service->listen_fd);
    checks_close(service->checks);
    events_close(service->events);
    workers_close(service->workers);
    peers_close(service->peers);
    page_files_close(&service->page);
    measures_close(&service->measures);
    free(service);
}

void http_routes_print(void)
{
    for (size_t i = 0; i < route_count(); i++) {
        const struct route *route = route_at(i);
        printf("%s %s%s%s\n", route->method, route->pattern, *route->query ? " " : "", route->query);
    }
}
