/* request.c - what handlers ask of a request. */
#include "http/request.h"

#include "run/version.h"

#include <microhttpd.h>
#include <stdio.h>
#include <string.h>

const char *request_header(const struct request *request, const char *name)
{
    return MHD_lookup_connection_value(request->connection, MHD_HEADER_KIND, name);
}

const char *request_parameter(const struct request *request, const char *name)
{
    return target_parameter(&request->target, name);
}

bool request_id_parameter(const struct request *request, const char *name, int64_t *id, struct error *err)
{
    const char *text = request_parameter(request, name);
    *id = 0;
    return !text || id_parse(text, id) || error_set(err, ERROR_USAGE, "%s must be an id: digits only", name);
}

bool request_limit(const struct request *request, size_t *limit, struct error *err)
{
    const char *text = request_parameter(request, "limit");
    int64_t number = 50;
    uint64_t most = request->service->limits.page_size;
    if (text && (!id_parse(text, &number) || (uint64_t)number > most))
        return error_set(err, ERROR_USAGE, "limit must be a whole number from 1 to %llu",
                         (unsigned long long)most);
    *limit = (size_t)number;
    return true;
}

bool request_is_changing(const struct request *request)
{
    return strcmp(request->method, "GET") && strcmp(request->method, "HEAD");
}

bool request_body(const struct request *request, struct body *body, struct error *err)
{
    return body_parse(request->body ? request->body : "", request->body_size, body, err);
}

void request_etag_of_revision(int64_t revision, char etag[ETAG_SIZE])
{
    snprintf(etag, ETAG_SIZE, "\"%lld-%.40s\"", (long long)revision, engine_commit());
}

void request_reply_stale(const struct request *request, struct reply *reply)
{
    struct error err;
    error_set(&err, ERROR_CONFLICT, "it was changed meanwhile; read it again and repeat the change");
    reply_problem(reply, 412, "stale", &err, request->id);
}

bool request_may_change(const struct request *request, const char *etag, struct reply *reply, bool *any)
{
    const char *match = request_header(request, "If-Match");
    struct error err;
    if (!match) {
        error_set(&err, ERROR_USAGE, "a change needs If-Match with the ETag of what was read");
        reply_problem(reply, 428, "if-match-needed", &err, request->id);
        return false;
    }
    *any = match[strspn(match, " \t")] == '*';
    if (etag_list_has(match, etag, false))
        return true;
    request_reply_stale(request, reply);
    return false;
}

void request_close_upload(struct request *request)
{
    if (request->upload)
        store_upload_close(request->upload);
    request->upload = NULL;
    store_piece_close(request->piece);
    request->piece = NULL;
    if (request->holds_upload_slot)
        atomic_fetch_sub(&request->service->uploads_open, 1);
    request->holds_upload_slot = false;
}

bool request_empty_body(const struct request *request, struct error *err)
{
    struct body body;
    if (!request->body_size)
        return true;
    if (!request_body(request, &body, err))
        return false;
    bool ok = body_allows(&body, "", err);
    body_close(&body);
    return ok;
}
