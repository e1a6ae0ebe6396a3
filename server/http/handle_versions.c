/* handle_versions.c - the versions of a specimen: list, read, change, their files. */
#include "http/handlers.h"
#include "http/request.h"

#include "http/digest_field.h"
#include "json/api_specimen.h"
#include "json/waivers.h"

#include <stdio.h>

bool handle_version_list(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_version_page page;
    struct api_text text;
    size_t limit;
    if (!request_limit(request, &limit, err)
        || !store_version_list(request->service->store, request->path_id, limit,
                               request_parameter(request, "cursor"), keep, &page, err)
        || !api_versions_write(&page, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

bool handle_version_find(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_holder_page page;
    struct api_text text;
    size_t limit;
    if (!request_limit(request, &limit, err)
        || !store_version_find(request->service->store, request_parameter(request, "sha256"), limit,
                               request_parameter(request, "cursor"), keep, &page, err)
        || !api_holders_write(&page, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

static bool answer(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_version version;
    struct api_text text;
    if (!store_version_get(request->service->store, request->path_id, keep, &version, err)
        || !api_version_write(&version, &text, err))
        return false;
    reply_json(reply, 200, &text);
    request_etag_of_revision(version.revision, reply->etag);
    return true;
}

bool handle_version_read(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    return answer(request, reply, keep, err);
}

/* {"device","operator","date","resolution","uncertainty","by"}: what is left out is not said. */
static bool apply_intake(struct store *store, int64_t id, const struct body *body, int64_t if_revision,
                         bool *stale, struct error *err)
{
    struct store_intake intake;
    const char *by;
    if (!body_allows(body, "device operator date resolution uncertainty by", err)
        || !body_text(body, "device", false, &intake.device, err)
        || !body_text(body, "operator", false, &intake.operator_name, err)
        || !body_text(body, "date", false, &intake.date, err)
        || !body_text(body, "resolution", false, &intake.resolution, err)
        || !body_text(body, "uncertainty", false, &intake.uncertainty, err)
        || !body_text(body, "by", false, &by, err))
        return false;
    if (intake.date && *intake.date && !is_day(intake.date))
        return error_set(err, ERROR_USAGE, "\"date\" is a day, such as 2026-12-31");
    return store_version_set_intake(store, id, &intake, by ? by : "", if_revision, stale, err);
}

/* {"against": id|null}, {"withdrawn":{"reason","by"}} or {"intake":{...}}, one of them. */
static bool apply_change(struct store *store, int64_t id, const struct body *body, int64_t if_revision,
                         bool *stale, struct error *err)
{
    const char *reason, *by;
    struct body withdrawn, intake;
    int64_t against;
    bool has_against = body_has(body, "against"), has_intake = body_has(body, "intake");
    if (!body_allows(body, "against withdrawn intake", err))
        return false;
    if (has_against + has_intake + body_has(body, "withdrawn") != 1)
        return error_set(err, ERROR_USAGE,
                         "a change of a version holds one of \"against\", \"withdrawn\" and \"intake\"");
    if (has_intake)
        return body_inner(body, "intake", &intake, err)
               && apply_intake(store, id, &intake, if_revision, stale, err);
    if (has_against)
        return body_id(body, "against", false, &against, err)
               && store_version_set_against(store, id, against, if_revision, stale, err);
    return body_inner(body, "withdrawn", &withdrawn, err) && body_allows(&withdrawn, "reason by", err)
           && body_text(&withdrawn, "reason", true, &reason, err)
           && body_text(&withdrawn, "by", false, &by, err)
           && store_version_withdraw(store, id, reason, by ? by : "", if_revision, stale, err);
}

bool handle_version_change(struct request *request, struct reply *reply, struct arena *keep,
                           struct error *err)
{
    struct store *store = request->service->store;
    struct store_version version;
    char etag[ETAG_SIZE];
    struct body body;
    bool any, stale = false;
    if (!store_version_get(store, request->path_id, keep, &version, err))
        return false;
    request_etag_of_revision(version.revision, etag);
    if (!request_may_change(request, etag, reply, &any))
        return true;
    if (!request_body(request, &body, err))
        return false;
    bool ok = apply_change(store, version.id, &body, any ? 0 : version.revision, &stale, err)
              && answer(request, reply, keep, err);
    body_close(&body);
    if (!ok && stale) {
        request_reply_stale(request, reply);
        return true;
    }
    return ok;
}

/* An immutable file, named by its digest. */
static void reply_blob(struct reply *reply, int fd, uint64_t size, const char *sha256)
{
    char digest[DIGEST_FIELD_SIZE];

    reply_file(reply, fd, size);
    reply->is_download = true;
    reply->cache = "private, max-age=31536000, immutable";
    snprintf(reply->etag, sizeof reply->etag, "\"%s\"", sha256);
    digest_field_write(sha256, digest);
    reply_header(reply, "Repr-Digest", "%s", digest);
}

bool handle_version_file(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_version version;
    uint64_t size;
    int fd;
    if (!store_version_get(request->service->store, request->path_id, keep, &version, err)
        || !store_blob_open(request->service->store, version.sha256, &fd, &size, err))
        return false;
    reply_blob(reply, fd, size, version.sha256);
    reply_attachment(reply, version.file_name);
    return true;
}

static bool answer_picture(struct request *request, enum store_picture which, const char *content_type,
                           struct reply *reply, struct error *err)
{
    char sha256[DIGEST_HEX_SIZE];
    uint64_t size;
    int fd;
    if (!store_version_picture_open(request->service->store, request->path_id, which, sha256, &fd, &size,
                                    err))
        return false;
    reply_blob(reply, fd, size, sha256);
    reply->content_type = content_type;
    return true;
}

bool handle_version_surface(struct request *request, struct reply *reply, struct arena *keep,
                            struct error *err)
{
    (void)keep;
    return answer_picture(request, PICTURE_SURFACE, REPLY_BYTES, reply, err);
}

bool handle_version_thumbnail(struct request *request, struct reply *reply, struct arena *keep,
                              struct error *err)
{
    (void)keep;
    return answer_picture(request, PICTURE_THUMBNAIL, "image/png", reply, err);
}
