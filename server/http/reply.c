/* reply.c - filling and clearing of replies; problems. */
#include "http/reply.h"

#include "json/api_problem.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

const char REPLY_JSON[] = "application/json; charset=utf-8";
const char REPLY_BYTES[] = "application/octet-stream";

static const char PRIVATE[] = "private, no-cache";

void reply_init(struct reply *reply)
{
    memset(reply, 0, sizeof *reply);
    reply->fd = -1;
}

void reply_clear(struct reply *reply)
{
    free(reply->bytes);
    for (size_t i = 0; i < reply->header_count; i++)
        free(reply->headers[i].value);
    if (reply->fd >= 0)
        close(reply->fd);
    reply_init(reply);
}

void reply_text(struct reply *reply, unsigned status, const char *content_type, char *bytes, size_t size)
{
    free(reply->bytes);
    reply->status = status;
    reply->content_type = content_type;
    reply->bytes = bytes;
    reply->size = size;
    reply->cache = PRIVATE;
}

void reply_json(struct reply *reply, unsigned status, struct api_text *text)
{
    reply_text(reply, status, REPLY_JSON, text->bytes, text->size);
    etag_of_bytes(text->bytes, text->size, reply->etag);
    *text = (struct api_text){NULL, 0};
}

void reply_shared(struct reply *reply, const char *content_type, const char *bytes, size_t size)
{
    reply->status = 200;
    reply->content_type = content_type;
    reply->shared = bytes;
    reply->size = size;
    reply->cache = PRIVATE;
}

void reply_file(struct reply *reply, int fd, uint64_t size)
{
    reply->status = 200;
    reply->content_type = REPLY_BYTES;
    reply->fd = fd;
    reply->size = size;
    reply->cache = PRIVATE;
}

void reply_header(struct reply *reply, const char *name, const char *format, ...)
{
    char *value = NULL;
    va_list args;
    if (reply->header_count == REPLY_HEADERS_MAX)
        return;
    va_start(args, format);
    int size = vasprintf(&value, format, args);
    va_end(args);
    if (size >= 0)
        reply->headers[reply->header_count++] = (struct reply_header){name, value};
}

void reply_disposition(struct reply *reply, const char *disposition, const char *name)
{
    static const char plain[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._";
    static const char hex[] = "0123456789ABCDEF";
    char fallback[256], encoded[3 * 1024 + 1], *f = fallback, *e = encoded;
    name = *name ? name : "file";
    for (const unsigned char *c = (const unsigned char *)name; *c && e < encoded + sizeof encoded - 4; c++) {
        bool is_plain = strchr(plain, *c) != NULL && (*c != '.' || c != (const unsigned char *)name);
        if (f < fallback + sizeof fallback - 1)
            *f++ = is_plain ? (char)*c : '_';
        if (is_plain || *c == '.') { /* no name begins with a dot */
            *e++ = is_plain ? (char)*c : '_';
        } else {
            *e++ = '%';
            *e++ = hex[*c >> 4];
            *e++ = hex[*c & 15];
        }
    }
    *f = *e = '\0';
    reply_header(reply, "Content-Disposition", "%s; filename=\"%s\"; filename*=UTF-8''%s", disposition,
                 fallback, encoded);
}

void reply_attachment(struct reply *reply, const char *name)
{
    reply_disposition(reply, "attachment", name);
}

static const struct {
    unsigned status;
    const char *title;
} titles[] = {
    {200, "OK"},
    {201, "Created"},
    {202, "Accepted"},
    {204, "No Content"},
    {206, "Partial Content"},
    {304, "Not Modified"},
    {400, "Bad Request"},
    {403, "Forbidden"},
    {404, "Not Found"},
    {405, "Method Not Allowed"},
    {408, "Request Timeout"},
    {409, "Conflict"},
    {412, "Precondition Failed"},
    {413, "Content Too Large"},
    {414, "URI Too Long"},
    {415, "Unsupported Media Type"},
    {416, "Range Not Satisfiable"},
    {421, "Misdirected Request"},
    {422, "Unprocessable Content"},
    {423, "Locked"},
    {428, "Precondition Required"},
    {460, "Checksum Mismatch"},
    {500, "Internal Server Error"},
    {503, "Service Unavailable"},
    {505, "HTTP Version Not Supported"},
    {507, "Insufficient Storage"},
};

const char *status_title(unsigned status)
{
    for (size_t i = 0; i < sizeof titles / sizeof *titles; i++)
        if (titles[i].status == status)
            return titles[i].title;
    return "Error";
}

void reply_problem(struct reply *reply, unsigned status, const char *code, const struct error *err,
                   const char *request_id)
{
    struct api_problem problem = {status, status_title(status), code ? code : error_word(err->code), err,
                                  request_id};
    struct api_text text;
    struct error ignored;
    reply_clear(reply);
    if (!api_problem_write(&problem, &text, &ignored))
        text = (struct api_text){NULL, 0}; /* no memory even for that: the status alone */
    reply_text(reply, status, "application/problem+json; charset=utf-8", text.bytes, text.size);
    reply->cache = "no-store";
    if (status == 503 || status == 423)
        reply_header(reply, "Retry-After", "%d", 1);
}

void reply_error(struct reply *reply, const struct error *err, bool is_changing, const char *request_id)
{
    static const unsigned statuses[ERROR_CODE_COUNT] = {
        [ERROR_NONE] = 500,      [ERROR_SYNTAX] = 422, [ERROR_DATA] = 422,  [ERROR_LIMIT] = 413,
        [ERROR_TYPE] = 422,      [ERROR_EMPTY] = 422,  [ERROR_USAGE] = 400, [ERROR_NOT_FOUND] = 404,
        [ERROR_CONFLICT] = 409,  [ERROR_BUSY] = 503,   [ERROR_STORE] = 503, [ERROR_MACHINE] = 500,
        [ERROR_CANCELLED] = 503,
    };
    unsigned status = (unsigned)err->code < ERROR_CODE_COUNT ? statuses[err->code] : 500;
    if (err->code == ERROR_MACHINE && is_changing)
        status = 507;
    reply_problem(reply, status, NULL, err, request_id);
}
