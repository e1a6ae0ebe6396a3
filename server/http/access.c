/* access.c - the steps of a request. */
#include "http/access.h"

#include "http/answer.h"
#include "http/log.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <time.h>

#define ARENA_BYTES ((size_t)128 << 20) /* address space; pages are taken as they are used */

static int64_t now_us(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000000 + now.tv_nsec / 1000;
}

size_t access_unescape(void *service, struct MHD_Connection *connection, char *text)
{
    (void)service;
    (void)connection;
    return strlen(text); /* decoding is target.c's */
}

void *access_target(void *context, const char *target, struct MHD_Connection *connection)
{
    struct service *service = context;
    struct request *request = calloc(1, sizeof *request);
    if (!request)
        return NULL;
    request->service = service;
    request->connection = connection;
    request->raw_target = strdup(target);
    request->begin_us = now_us();
    uint64_t number = atomic_fetch_add(&service->request_number, 1);
    snprintf(request->id, sizeof request->id, "%016llx",
             (unsigned long long)(service->id_seed + number * 0x9e3779b97f4a7c15u));
    reply_init(&request->reply);
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    request->peer = info ? info->socket_context : NULL;
    return request;
}

static void refuse(struct request *request, unsigned status, const char *code, const struct error *err)
{
    reply_problem(&request->reply, status, code, err, request->id);
}

static enum MHD_Result note_header(void *context, enum MHD_ValueKind kind, const char *name,
                                   const char *value)
{
    (void)kind;
    headers_note(context, name, value);
    return MHD_YES;
}

/* The route, or a file of the page; false: refused. */
static bool find_route(struct request *request)
{
    struct error err;
    struct route_match match = route_find(request->method, &request->target);
    request->route = match.route;
    request->path_id = match.id;
    request->path_name = match.name;
    if (match.route)
        return true;
    bool is_api = request->target.segment_count > 1 && !strcmp(request->target.segments[0], "api");
    if (!match.is_known && !is_api && answer_page_file(request))
        return true;
    if (request->reply.status)
        return false;
    if (match.is_known) {
        error_set(&err, ERROR_USAGE, "this address answers to %s only", match.allow);
        refuse(request, 405, "method", &err);
        reply_header(&request->reply, "Allow", "%s", match.allow);
    } else {
        error_set(&err, ERROR_NOT_FOUND, "there is nothing at this address");
        refuse(request, 404, NULL, &err);
    }
    return false;
}

static bool is_json_type(const char *type)
{
    return type && !strncasecmp(type, "application/json", 16) && (!type[16] || strchr("; \t", type[16]));
}

/* What the route says of a body; false: refused. */
static bool check_body(struct request *request)
{
    const struct http_limits *limits = &request->service->limits;
    enum route_body kind = request->route ? request->route->body : ROUTE_NO_BODY;
    struct error err;
    if (!request->has_body && kind != ROUTE_JSON)
        return true;
    if (kind == ROUTE_NO_BODY || kind == ROUTE_TUS) {
        error_set(&err, ERROR_USAGE, "this request takes no body");
        refuse(request, 400, NULL, &err);
        return false;
    }
    bool is_file = kind == ROUTE_UPLOAD || kind == ROUTE_TUS_PIECE;
    uint64_t most = is_file ? limits->upload_bytes : limits->json_bytes;
    if (!is_file && !is_json_type(request_header(request, "Content-Type"))) {
        error_set(&err, ERROR_USAGE, "the body must be JSON, with Content-Type: application/json");
        refuse(request, 415, "media-type", &err);
        return false;
    }
    if (request->facts.body_bytes > most) {
        error_set(&err, ERROR_LIMIT, "the body is larger than the limit of %llu bytes (%s)",
                  (unsigned long long)most, is_file ? "upload_bytes" : "json_bytes");
        refuse(request, 413, "too-large", &err);
        return false;
    }
    return true;
}

/* Uploads in pieces may name their method in a field, for clients that can send GET and POST only. */
static void take_method(struct request *request, const char *method)
{
    const struct target *target = &request->target;
    const char *other = request_header(request, "X-HTTP-Method-Override");
    bool is_upload = target->segment_count > 2 && !strcmp(target->segments[0], "api")
                     && !strcmp(target->segments[2], "uploads");
    snprintf(request->method, sizeof request->method, "%s", is_upload && other ? other : method);
}

/* The protocol of uploads in pieces names its version in every request; false: refused. */
static bool check_tus_version(struct request *request)
{
    const char *version = request_header(request, "Tus-Resumable");
    struct error err;
    if (!route_is_tus(request->route) || (version && !strcmp(version, TUS_VERSION)))
        return true;
    error_set(&err, ERROR_USAGE,
              "uploads in pieces are made by the tus protocol: say Tus-Resumable: " TUS_VERSION);
    refuse(request, 412, "tus-version", &err);
    reply_header(&request->reply, "Tus-Version", TUS_VERSION);
    return false;
}

/* All that the header tells; false: refused. */
static bool check_header(struct request *request, const char *method, const char *protocol)
{
    struct service *service = request->service;
    struct error err, target_err;
    MHD_get_connection_values(request->connection, MHD_HEADER_KIND, note_header, &request->facts);
    bool parsed = request->raw_target && target_parse(request->raw_target, &request->target, &target_err);
    take_method(request, method);
    unsigned status = headers_check(&request->facts, protocol, request->target.authority, &err);
    request->has_body = request->facts.transfer_encodings || request->facts.body_bytes || status;
    if (status) {
        refuse(request, status, status == 421 ? "host" : "framing", &err);
        return false;
    }
    if (!request->raw_target || strlen(request->raw_target) > service->limits.target_bytes) {
        error_set(&err, ERROR_LIMIT, "the address is longer than the limit of %llu bytes (target_bytes)",
                  (unsigned long long)service->limits.target_bytes);
        refuse(request, 414, "too-long", &err);
        return false;
    }
    if (!parsed) {
        refuse(request, 400, NULL, &target_err);
        return false;
    }
    if (!find_route(request) || !check_tus_version(request) || !check_body(request))
        return false;
    if (request->route && !target_allows(&request->target, request->route->query, &err)) {
        refuse(request, 400, NULL, &err);
        return false;
    }
    status = request_is_changing(request) ? headers_check_origin(&request->facts, &err) : 0;
    if (status)
        refuse(request, status, "foreign-origin", &err);
    return !status;
}

/* Runs a handler of the route with an arena of its own. */
static void run_handler(struct request *request, route_handler *handler)
{
    struct arena arena;
    struct error err;
    bool ok = arena_open(&arena, ARENA_BYTES, &err);
    if (ok) {
        ok = handler(request, &request->reply, &arena, &err);
        arena_close(&arena);
    }
    if (!ok)
        reply_error(&request->reply, &err, request_is_changing(request), request->id);
}

/* On a worker. */
static void work(void *context)
{
    struct request *request = context;
    if (request->stage == REQUEST_PREPARING) {
        run_handler(request, request->route->prepare);
        request->stage = REQUEST_PREPARED;
    } else {
        run_handler(request, request->route->handle);
        request->stage = REQUEST_ANSWERED;
    }
    MHD_resume_connection(request->connection);
}

/* False when too much waits already: the reply then says so. */
static bool hand_over(struct request *request, enum request_stage stage)
{
    struct error err;
    request->stage = stage;
    MHD_suspend_connection(request->connection);
    if (workers_add(request->service->workers, (struct work){work, request}))
        return true;
    error_set(&err, ERROR_BUSY, "too many requests wait; try again in a moment");
    refuse(request, 503, NULL, &err);
    request->stage = stage == REQUEST_PREPARING ? REQUEST_PREPARED : REQUEST_ANSWERED;
    MHD_resume_connection(request->connection);
    return false;
}

/* Answers before the body was read: the library closes the connection then. */
static enum MHD_Result answer_early(struct request *request)
{
    if (request->peer)
        peer_linger(request->peer);
    return answer_queue(request);
}

static enum MHD_Result first_step(struct request *request, const char *method, const char *protocol)
{
    request->in_flight = true;
    atomic_fetch_add(&request->service->in_flight, 1);
    if (request->peer)
        peer_end_body(request->peer);
    MHD_set_connection_option(request->connection, MHD_CONNECTION_OPTION_TIMEOUT,
                              (unsigned)(request->service->limits.write_gap_ms / 1000));
    if (!check_header(request, method, protocol)) {
        if (request->has_body)
            return answer_early(request);
        request->stage = REQUEST_ANSWERED;
        return MHD_YES;
    }
    if (!request->route) {
        request->stage = REQUEST_ANSWERED;
        return MHD_YES;
    }
    if (request->route->prepare) {
        hand_over(request, REQUEST_PREPARING);
        return MHD_YES;
    }
    request->stage = REQUEST_BODY;
    if (request->has_body && request->peer)
        peer_begin_body(request->peer);
    return MHD_YES;
}

static bool take_json(struct request *request, const char *piece, size_t size, struct error *err)
{
    size_t most = (size_t)request->service->limits.json_bytes;
    if (request->body_size + size > most)
        return error_set(err, ERROR_LIMIT, "the body is larger than the limit of %zu bytes (json_bytes)",
                         most);
    if (request->body_size + size > request->body_room) {
        size_t room = request->body_room ? 2 * request->body_room : 4096;
        while (room < request->body_size + size)
            room *= 2;
        char *body = realloc(request->body, room);
        if (!body)
            return error_set(err, ERROR_MACHINE, "memory is short; try again later");
        request->body = body;
        request->body_room = room;
    }
    memcpy(request->body + request->body_size, piece, size);
    request->body_size += size;
    return true;
}

static bool take_upload(struct request *request, const char *piece, size_t size, struct error *err)
{
    uint64_t most = request->service->limits.upload_bytes;
    request->upload_bytes += size;
    if (request->upload_bytes > most)
        return error_set(err, ERROR_LIMIT, "the body is larger than the limit of %llu bytes (upload_bytes)",
                         (unsigned long long)most);
    atomic_fetch_add(&request->service->upload_bytes, size);
    return store_upload_write(request->upload, piece, size, err);
}

static bool take_piece(struct request *request, const char *piece, size_t size, struct error *err)
{
    atomic_fetch_add(&request->service->upload_bytes, size);
    tus_checksum_add(&request->checksum, piece, size);
    if (store_piece_write(request->piece, piece, size, err))
        return true;
    if (err->code == ERROR_LIMIT) /* none of it is what was announced */
        store_piece_undo(request->piece);
    return false;
}

static bool take_body(struct request *request, const char *piece, size_t size, struct error *err)
{
    return request->route->body == ROUTE_UPLOAD      ? take_upload(request, piece, size, err)
           : request->route->body == ROUTE_TUS_PIECE ? take_piece(request, piece, size, err)
                                                     : take_json(request, piece, size, err);
}

static enum MHD_Result body_step(struct request *request, const char *piece, size_t size)
{
    struct error err;
    if (request->peer)
        peer_take_body(request->peer, size);
    if (take_body(request, piece, size, &err))
        return MHD_YES;
    reply_error(&request->reply, &err, true, request->id);
    if (request->peer)
        peer_linger(request->peer);
    answer_directly(request);
    return MHD_NO;
}

static enum MHD_Result last_step(struct request *request)
{
    if (request->peer)
        peer_end_body(request->peer);
    if (request->route->is_quick) {
        run_handler(request, request->route->handle);
        request->stage = REQUEST_ANSWERED;
        return answer_queue(request);
    }
    hand_over(request, REQUEST_HANDLING);
    return MHD_YES;
}

enum MHD_Result access_step(void *service, struct MHD_Connection *connection, const char *url,
                            const char *method, const char *protocol, const char *piece, size_t *piece_size,
                            void **context)
{
    struct request *request = *context;
    (void)service;
    (void)connection;
    (void)url;
    if (!request)
        return MHD_NO;
    if (request->stage == REQUEST_NEW)
        return first_step(request, method, protocol);
    if (request->stage == REQUEST_PREPARED) {
        if (request->reply.status)
            return answer_early(request);
        request->stage = REQUEST_BODY;
        if (request->has_body && request->peer)
            peer_begin_body(request->peer);
        return MHD_YES;
    }
    if (request->stage == REQUEST_BODY && *piece_size) {
        size_t size = *piece_size;
        *piece_size = 0;
        return body_step(request, piece, size);
    }
    if (request->stage == REQUEST_BODY)
        return last_step(request);
    return request->stage == REQUEST_ANSWERED ? answer_queue(request) : MHD_NO;
}

static void log_request(const struct request *request)
{
    struct log_line line;
    log_begin(&line, "request");
    log_text(&line, "id", request->id);
    log_text(&line, "method", request->method);
    log_text(&line, "target", request->raw_target ? request->raw_target : "");
    log_number(&line, "status", request->reply.status);
    log_number(&line, "us", now_us() - request->begin_us);
    log_end(&line);
}

void access_completed(void *context, struct MHD_Connection *connection, void **request_context,
                      enum MHD_RequestTerminationCode how)
{
    struct service *service = context;
    struct request *request = *request_context;
    *request_context = NULL;
    if (!request)
        return;
    if (how == MHD_REQUEST_TERMINATED_COMPLETED_OK && request->peer) {
        peer_wait_header(request->peer);
        MHD_set_connection_option(connection, MHD_CONNECTION_OPTION_TIMEOUT,
                                  (unsigned)(service->limits.idle_ms / 1000));
    }
    request_close_upload(request);
    if (request->in_flight) {
        unsigned class = request->reply.status / 100;
        atomic_fetch_add(&service->answers[class <= 5 ? class : 0], 1);
        if (!request->reply.stream)
            atomic_fetch_sub(&service->in_flight, 1);
        log_request(request);
    }
    reply_clear(&request->reply);
    target_close(&request->target);
    free(request->raw_target);
    free(request->body);
    free(request);
}

void access_connection(void *context, struct MHD_Connection *connection, void **socket_context,
                       enum MHD_ConnectionNotificationCode what)
{
    struct service *service = context;
    if (what == MHD_CONNECTION_NOTIFY_CLOSED) {
        peer_close(*socket_context);
        *socket_context = NULL;
        return;
    }
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    *socket_context = info ? peer_open(service->peers, info->connect_fd) : NULL;
}
