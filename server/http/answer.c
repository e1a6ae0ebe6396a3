/* answer.c - from a reply to bytes on the wire. */
#include "http/answer.h"

#include "http/range.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define CSP_PAGE                                                                                             \
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "    \
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
#define CSP_DOWNLOAD "sandbox; default-src 'none'; frame-ancestors 'none'"

/* On every answer (OWASP ASVS 5.0 section 3.4). */
static const struct {
    const char *name, *value;
} everywhere[] = {
    {"X-Content-Type-Options", "nosniff"},
    {"Referrer-Policy", "no-referrer"},
    {"Cross-Origin-Opener-Policy", "same-origin"},
    {"Cross-Origin-Resource-Policy", "same-origin"},
};

static bool is_reading(const struct request *request)
{
    return !request_is_changing(request);
}

/* If-None-Match, then Range with If-Range; 304 and 416 have no body. Fills part. */
static void apply_conditions(struct request *request, struct byte_range *part)
{
    struct reply *reply = &request->reply;
    const char *none_match = request_header(request, "If-None-Match");
    *part = (struct byte_range){RANGE_WHOLE, 0, reply->size};
    if (!is_reading(request) || reply->status != 200)
        return;
    if (none_match && *reply->etag && etag_list_has(none_match, reply->etag, true)) {
        reply->status = 304;
        return;
    }
    if (reply->fd < 0)
        return;
    reply_header(reply, "Accept-Ranges", "bytes");
    const char *if_range = request_header(request, "If-Range");
    if (if_range && strcmp(if_range, reply->etag))
        return;
    *part = range_parse(request_header(request, "Range"), reply->size);
    if (part->kind == RANGE_PART) {
        reply->status = 206;
        reply_header(reply, "Content-Range", "bytes %llu-%llu/%llu", (unsigned long long)part->first,
                     (unsigned long long)(part->first + part->size - 1), (unsigned long long)reply->size);
    } else if (part->kind == RANGE_UNSATISFIABLE) {
        struct error err;
        unsigned long long size = reply->size;
        error_set(&err, ERROR_USAGE, "the range lies outside of the %llu bytes there are", size);
        reply_problem(reply, 416, "range", &err, request->id);
        reply_header(reply, "Content-Range", "bytes */%llu", size);
    }
}

static struct MHD_Response *make_response(struct reply *reply, const struct byte_range *part)
{
    struct MHD_Response *response = NULL;
    if (reply->status == 304)
        return MHD_create_response_from_buffer(0, NULL, MHD_RESPMEM_PERSISTENT);
    if (reply->stream)
        return MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, 4096, event_stream_read, reply->stream,
                                                 event_stream_close);
    if (reply->fd >= 0) {
        response = MHD_create_response_from_fd_at_offset64(part->size, reply->fd, part->first);
        reply->fd = response ? -1 : reply->fd;
    } else if (reply->shared) {
        response = MHD_create_response_from_buffer((size_t)reply->size, (void *)(uintptr_t)reply->shared,
                                                   MHD_RESPMEM_PERSISTENT);
    } else {
        response = MHD_create_response_from_buffer((size_t)reply->size, reply->bytes, MHD_RESPMEM_MUST_FREE);
        reply->bytes = response ? NULL : reply->bytes;
    }
    return response;
}

static void add_headers(const struct request *request, struct MHD_Response *response)
{
    const struct reply *reply = &request->reply;
    for (size_t i = 0; i < sizeof everywhere / sizeof *everywhere; i++)
        MHD_add_response_header(response, everywhere[i].name, everywhere[i].value);
    MHD_add_response_header(response, "Content-Security-Policy",
                            reply->policy        ? reply->policy
                            : reply->is_download ? CSP_DOWNLOAD
                                                 : CSP_PAGE);
    MHD_add_response_header(response, "X-Request-Id", request->id);
    if (reply->status != 304 && reply->content_type)
        MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, reply->content_type);
    if (reply->cache)
        MHD_add_response_header(response, MHD_HTTP_HEADER_CACHE_CONTROL, reply->cache);
    if (*reply->etag)
        MHD_add_response_header(response, MHD_HTTP_HEADER_ETAG, reply->etag);
    for (size_t i = 0; i < reply->header_count; i++)
        MHD_add_response_header(response, reply->headers[i].name, reply->headers[i].value);
    if (route_is_tus(request->route))
        MHD_add_response_header(response, "Tus-Resumable", TUS_VERSION);
    if (atomic_load(&request->service->stopping))
        MHD_add_response_header(response, MHD_HTTP_HEADER_CONNECTION, "close");
}

enum MHD_Result answer_queue(struct request *request)
{
    struct byte_range part;
    apply_conditions(request, &part);
    struct MHD_Response *response = make_response(&request->reply, &part);
    if (!response) {
        if (request->reply.stream)
            event_stream_close(request->reply.stream);
        request->reply.stream = NULL;
        return MHD_NO;
    }
    if (request->reply.stream) /* not waited for when the service stops */
        atomic_fetch_sub(&request->service->in_flight, 1);
    add_headers(request, response);
    enum MHD_Result result = MHD_queue_response(request->connection, request->reply.status, response);
    MHD_destroy_response(response);
    return result;
}

void answer_directly(struct request *request)
{
    const struct reply *reply = &request->reply;
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(request->connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    char *text = NULL;
    if (!info)
        return;
    int size = asprintf(&text,
                        "HTTP/1.1 %u %s\r\nConnection: close\r\nContent-Type: %s\r\nContent-Length: %llu\r\n"
                        "Cache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\n"
                        "Referrer-Policy: no-referrer\r\nCross-Origin-Opener-Policy: same-origin\r\n"
                        "Cross-Origin-Resource-Policy: same-origin\r\nContent-Security-Policy: " CSP_PAGE
                        "\r\nX-Request-Id: %s\r\n%s\r\n%.*s",
                        reply->status, status_title(reply->status), reply->content_type,
                        (unsigned long long)reply->size, request->id,
                        route_is_tus(request->route) ? "Tus-Resumable: " TUS_VERSION "\r\n" : "",
                        (int)reply->size, reply->bytes ? reply->bytes : "");
    /* A few hundred bytes into a send buffer that holds nothing else; a client that is gone cannot be helped.
     */
    if (size > 0 && send(info->connect_fd, text, (size_t)size, MSG_DONTWAIT | MSG_NOSIGNAL) < 0)
        request->reply.status = 0;
    free(text);
}

bool answer_page_file(struct request *request)
{
    char path[1024] = "/";
    size_t used = 0;
    for (size_t i = 0; i < request->target.segment_count; i++) {
        int size = snprintf(path + used, sizeof path - used, "/%s", request->target.segments[i]);
        if (size < 0 || (size_t)size >= sizeof path - used)
            return false;
        used += (size_t)size;
    }
    const struct page_files *page = &request->service->page;
    const struct page_file *file = page_files_find(page, path);
    struct error err;
    if (!file && !page->count && !request->target.segment_count) {
        error_set(&err, ERROR_NOT_FOUND,
                  "the page is not installed beside this program; the API is under /api/v1");
        reply_problem(&request->reply, 404, "no-page", &err, request->id);
        return false;
    }
    if (!file)
        return false;
    if (request_is_changing(request)) {
        error_set(&err, ERROR_USAGE, "this address answers to GET, HEAD only");
        reply_problem(&request->reply, 405, "method", &err, request->id);
        reply_header(&request->reply, "Allow", "GET, HEAD");
        return false;
    }
    reply_shared(&request->reply, file->content_type, file->bytes, file->size);
    request->reply.cache = "no-cache";
    snprintf(request->reply.etag, sizeof request->reply.etag, "%s", file->etag);
    return true;
}
