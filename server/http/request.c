/* request.c - what handlers ask of a request. */
#include "http/request.h"

#include "run/version.h"

#include <microhttpd.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

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

static bool wrong_format(const struct request_format *formats, size_t count, struct error *err)
{
    char words[120] = "";
    for (size_t i = 0; i < count; i++) {
        size_t used = strlen(words);
        snprintf(words + used, sizeof words - used, "%s%s",
                 i == 0           ? ""
                 : i + 1 == count ? " or "
                                  : ", ",
                 formats[i].word);
    }
    return error_set(err, ERROR_USAGE, "format must be %s", words);
}

/* The first of an Accept field's media types that is among them; preferences (q) are not weighed. */
static size_t accepted(const char *accept, const struct request_format *formats, size_t count)
{
    while (*accept) {
        accept += strspn(accept, " \t,");
        size_t size = strcspn(accept, " \t,;");
        for (size_t i = 0; i < count; i++)
            if (strlen(formats[i].media_type) == size && !strncasecmp(accept, formats[i].media_type, size))
                return i;
        accept += strcspn(accept, ",");
    }
    return 0;
}

bool request_format(const struct request *request, const struct request_format *formats, size_t count,
                    size_t *chosen, struct error *err)
{
    const char *word = request_parameter(request, "format"), *accept = request_header(request, "Accept");
    *chosen = 0;
    for (size_t i = 0; word && i < count; i++)
        if (strcmp(word, formats[i].word) == 0) {
            *chosen = i;
            return true;
        }
    if (word)
        return wrong_format(formats, count, err);
    *chosen = accept ? accepted(accept, formats, count) : 0;
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
