/* handle_handoffs.c - handing over, giving it out again, and checking handoffs from elsewhere. */
#include "http/handlers.h"
#include "http/request.h"

#include "handoff/handoff_make.h"
#include "http/checks.h"
#include "http/digest_field.h"
#include "http/upload_parameters.h"
#include "json/api_handoff.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>

/* --- handing over --- */

static bool answer_handoff(struct request *request, struct reply *reply, unsigned status, int64_t id,
                           struct arena *keep, struct error *err)
{
    struct store_handoff handoff;
    struct api_text text;
    if (!store_handoff_get(request->service->store, id, keep, &handoff, err)
        || !api_handoff_write(&handoff, &text, err))
        return false;
    reply_json(reply, status, &text);
    if (status == 201)
        reply_header(reply, "Location", "/api/v1/handoffs/%lld", (long long)id);
    return true;
}

bool handle_handoff_make(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    const char *by;
    struct body body;
    int64_t id = 0;
    if (!request_body(request, &body, err))
        return false;
    bool ok =
        body_allows(&body, "by", err) && body_text(&body, "by", true, &by, err)
        && handoff_make(request->service->store, &request->service->measures, request->path_id, by, &id, err)
        && answer_handoff(request, reply, 201, id, keep, err);
    body_close(&body);
    return ok;
}

bool handle_handoff_list(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_handoff_list list;
    struct api_text text;
    if (!store_handoff_list(request->service->store, request->path_id, keep, &list, err)
        || !api_handoffs_write(&list, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

bool handle_handoff_read(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    return answer_handoff(request, reply, 200, request->path_id, keep, err);
}

bool handle_handoff_file(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_handoff handoff;
    char digest[DIGEST_FIELD_SIZE], name[200];
    uint64_t size;
    int fd;
    if (!store_handoff_get(request->service->store, request->path_id, keep, &handoff, err)
        || !store_blob_open(request->service->store, handoff.sha256, &fd, &size, err))
        return false;
    reply_file(reply, fd, size);
    reply->content_type = "application/zip";
    reply->is_download = true;
    reply->cache = "private, max-age=31536000, immutable";
    snprintf(reply->etag, sizeof reply->etag, "\"%s\"", handoff.sha256);
    digest_field_write(handoff.sha256, digest);
    reply_header(reply, "Repr-Digest", "%s", digest);
    snprintf(name, sizeof name, "%.190s.zip", handoff.name);
    reply_attachment(reply, name);
    return true;
}

/* --- checking --- */

bool prepare_handoff_check(struct request *request, struct reply *reply, struct arena *keep,
                           struct error *err)
{
    (void)reply;
    (void)keep;
    if (!request->has_body)
        return error_set(err, ERROR_EMPTY, "the body is empty: send the zip's bytes as the body");
    return upload_take_slot(request, err)
           && store_upload_begin(request->service->store, request->facts.body_bytes, &request->upload, err);
}

static bool begin_check(struct request *request, int64_t *id, struct error *err)
{
    const char *name = request_parameter(request, "name");
    int fd = fcntl(store_upload_fd(request->upload), F_DUPFD_CLOEXEC, 0);
    if (fd < 0)
        return error_set(err, ERROR_MACHINE, "the zip cannot be checked: %s", strerror(errno));
    return checks_add(request->service->checks, fd, store_upload_bytes(request->upload), name ? name : "", id,
                      err);
}

bool handle_handoff_check(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct api_text text;
    int64_t id = 0;
    (void)keep;
    bool ok = begin_check(request, &id, err) && checks_write(request->service->checks, id, &text, err);
    request_close_upload(request); /* its name goes, the check has the bytes */
    if (!ok)
        return false;
    reply_json(reply, 202, &text);
    reply_header(reply, "Location", "/api/v1/handoff-checks/%lld", (long long)id);
    return true;
}

bool handle_handoff_check_read(struct request *request, struct reply *reply, struct arena *keep,
                               struct error *err)
{
    struct api_text text;
    (void)keep;
    if (!checks_write(request->service->checks, request->path_id, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}
