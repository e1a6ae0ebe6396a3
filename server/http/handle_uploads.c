/* handle_uploads.c - a new version from the raw body of a request. */
#include "http/handlers.h"
#include "http/request.h"

#include "http/digest_field.h"
#include "http/upload_parameters.h"
#include "store/specimen.h"
#include "json/api_specimen.h"

#include <math.h>
#include <string.h>

/* "none" measures alone, an id against that, nothing leaves it to the store's rule. */
static bool parse_against(const struct target *parameters, struct store_version_new *version,
                          struct error *err)
{
    const char *text = target_parameter(parameters, "against");
    version->against_given = text && *text;
    if (!version->against_given || !strcmp(text, "none"))
        return true;
    return id_parse(text, &version->against)
           || error_set(err, ERROR_USAGE, "against must be an id, or \"none\" to measure alone");
}

bool upload_parameters_parse(const struct target *parameters, int64_t specimen, const char *units,
                             struct store_version_new *version, struct error *err)
{
    const char *face_size = target_parameter(parameters, "face_size");
    const char *made_from = target_parameter(parameters, "made_from");
    *version = (struct store_version_new){.specimen = specimen,
                                          .kind = target_parameter(parameters, "kind"),
                                          .face_size = NAN,
                                          .face_size_share = NAN,
                                          .file_name = target_parameter(parameters, "name"),
                                          .by = target_parameter(parameters, "by"),
                                          .note = target_parameter(parameters, "note")};
    if (!version->kind || (strcmp(version->kind, "scan") && strcmp(version->kind, "cage")))
        return error_set(err, ERROR_USAGE, "kind must be scan or cage");
    if (!version->file_name)
        version->file_name = version->kind;
    if (made_from && *made_from && !id_parse(made_from, &version->made_from))
        return error_set(err, ERROR_USAGE, "made_from must be an id: digits only");
    if (!parse_against(parameters, version, err))
        return false;
    return !face_size || !*face_size
           || store_face_size_parse(face_size, units, &version->face_size, &version->face_size_share, err);
}

/* The digest that the client states, "" when it states none. */
static bool stated_digest(const struct request *request, char hex[DIGEST_HEX_SIZE], struct error *err)
{
    static const char *const names[] = {"Repr-Digest", "Content-Digest"};
    hex[0] = '\0';
    for (size_t i = 0; i < 2; i++) {
        const char *value = request_header(request, names[i]);
        char one[DIGEST_HEX_SIZE];
        bool found;
        if (!value)
            continue;
        if (!digest_field_parse(value, &found, one, err))
            return false;
        if (found && hex[0] && strcmp(hex, one))
            return error_set(err, ERROR_USAGE, "Repr-Digest and Content-Digest state different digests");
        if (found)
            memcpy(hex, one, sizeof one);
    }
    return true;
}

bool upload_take_slot(struct request *request, struct error *err)
{
    struct service *service = request->service;
    request->holds_upload_slot = true;
    if (atomic_fetch_add(&service->uploads_open, 1) < (long)service->limits.uploads)
        return true;
    return error_set(err, ERROR_BUSY,
                     "%llu uploads run at once, which is the limit (uploads); try again later",
                     (unsigned long long)service->limits.uploads);
}

bool prepare_upload(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store *store = request->service->store;
    struct store_specimen specimen;
    char hex[DIGEST_HEX_SIZE];
    (void)reply;
    if (!store_specimen_get(store, request->path_id, keep, &specimen, err)
        || !upload_parameters_parse(&request->target, request->path_id, specimen.units, &request->version,
                                    err)
        || !stated_digest(request, hex, err) || !store_version_check(store, &request->version, err))
        return false;
    if (!request->has_body)
        return error_set(err, ERROR_EMPTY, "the body is empty: send the file's bytes as the body");
    store_part_expire(store);
    return upload_take_slot(request, err)
           && store_upload_begin(store, request->facts.body_bytes, &request->upload, err);
}

static bool make_version(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store *store = request->service->store;
    char stated[DIGEST_HEX_SIZE], sha256[DIGEST_HEX_SIZE];
    struct store_version version;
    struct api_text text;
    int64_t id;
    bool created;
    if (!stated_digest(request, stated, err) || !store_upload_finish(request->upload, sha256, err))
        return false;
    if (stated[0] && strcmp(stated, sha256)) {
        error_set(err, ERROR_DATA,
                  "the bytes that came have another SHA-256 than stated; send the file again");
        reply_problem(reply, 400, "digest-mismatch", err, request->id);
        return true;
    }
    if (!store_version_create(store, &request->version, request->upload, &id, &created, err)
        || !store_version_get(store, id, keep, &version, err) || !api_version_write(&version, &text, err))
        return false;
    reply_json(reply, created ? 201 : 200, &text);
    request_etag_of_revision(version.revision, reply->etag);
    reply_header(reply, created ? "Location" : "Content-Location", "/api/v1/versions/%lld", (long long)id);
    return true;
}

bool handle_upload(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    bool ok = make_version(request, reply, keep, err);
    request_close_upload(request); /* before the answer: who has it may send the next */
    return ok;
}
