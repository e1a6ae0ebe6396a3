/* handle_parts.c - uploads in pieces, by the tus protocol 1.0.0: core, creation, creation-with-upload,
 * expiration, termination, checksum. */
#include "http/handlers.h"
#include "http/request.h"

#include "http/upload_parameters.h"
#include "store/specimen.h"
#include "json/api_specimen.h"

#include <string.h>
#include <strings.h>

#define PARAMETERS "specimen kind made_from against face_size name by note"

/* --- answers --- */

static void reply_nothing(struct reply *reply, unsigned status)
{
    reply_text(reply, status, NULL, NULL, 0);
    reply->cache = "no-store";
}

static void reply_state(struct reply *reply, const struct store_part *part)
{
    char date[TUS_DATE_SIZE];
    tus_date(part->expires, date);
    reply_header(reply, "Upload-Offset", "%llu", (unsigned long long)part->arrived);
    reply_header(reply, "Upload-Expires", "%s", date);
}

static void reply_version(struct reply *reply, const struct store_part *part)
{
    if (part->version)
        reply_header(reply, "Content-Location", "/api/v1/versions/%lld", (long long)part->version);
}

static bool reply_locked(const struct request *request, struct reply *reply, const struct error *err)
{
    reply_problem(reply, 423, "locked", err, request->id);
    return true;
}

bool handle_part_options(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    (void)keep;
    (void)err;
    reply_nothing(reply, 204);
    reply_header(reply, "Tus-Resumable", TUS_VERSION);
    reply_header(reply, "Tus-Version", TUS_VERSION);
    reply_header(reply, "Tus-Extension", TUS_EXTENSIONS);
    reply_header(reply, "Tus-Max-Size", "%llu", (unsigned long long)request->service->limits.upload_bytes);
    reply_header(reply, "Tus-Checksum-Algorithm", TUS_ALGORITHMS);
    return true;
}

/* --- pieces --- */

static bool has_piece_type(const struct request *request)
{
    const char *type = request_header(request, "Content-Type");
    return type && !strcasecmp(type, TUS_PIECE_TYPE);
}

static void refuse_type(const struct request *request, struct reply *reply)
{
    struct error err;
    error_set(&err, ERROR_USAGE, "a piece has Content-Type: " TUS_PIECE_TYPE);
    reply_problem(reply, 415, "media-type", &err, request->id);
}

/* False: refused in reply, or err where reply is still empty. */
static bool begin_piece(struct request *request, const char *name, uint64_t offset, struct reply *reply,
                        struct error *err)
{
    bool locked;
    bool is_checked = request->checksum.algorithm != TUS_NO_CHECKSUM;
    if (!store_piece_begin(request->service->store, name, offset, is_checked, &request->piece, &locked,
                           err)) {
        if (locked)
            reply_locked(request, reply, err);
        return false;
    }
    return request->facts.body_bytes <= store_piece_left(request->piece)
           || error_set(err, ERROR_LIMIT, "the piece goes beyond the end of the file: %llu bytes are to come",
                        (unsigned long long)store_piece_left(request->piece));
}

bool prepare_part_piece(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    uint64_t offset;
    (void)keep;
    if (!has_piece_type(request)) {
        refuse_type(request, reply);
        return true;
    }
    return tus_number_parse("Upload-Offset", request_header(request, "Upload-Offset"), &offset, err)
           && tus_checksum_begin(request_header(request, "Upload-Checksum"), &request->checksum, err)
           && upload_take_slot(request, err)
           && (begin_piece(request, request->path_name, offset, reply, err) || reply->status);
}

static bool end_piece(struct request *request, struct store_part *part, struct reply *reply,
                      struct error *err)
{
    if (tus_checksum_matches(&request->checksum))
        return store_piece_finish(request->piece, part, err);
    store_piece_undo(request->piece);
    error_set(err, ERROR_DATA, "the piece that came has another checksum than stated; send it again");
    reply_problem(reply, 460, "checksum-mismatch", err, request->id);
    return false;
}

bool handle_part_piece(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_part part;
    (void)keep;
    bool ok = end_piece(request, &part, reply, err);
    request_close_upload(request); /* before the answer: who has it may send the next */
    if (!ok)
        return reply->status;
    reply_nothing(reply, 204);
    reply_state(reply, &part);
    reply_version(reply, &part);
    return true;
}

/* --- creation --- */

static bool check_length(const struct request *request, uint64_t *bytes, struct reply *reply,
                         struct error *err)
{
    const char *length = request_header(request, "Upload-Length");
    unsigned long long most = request->service->limits.upload_bytes;
    *bytes = 0;
    if (!length && request_header(request, "Upload-Defer-Length"))
        return error_set(err, ERROR_USAGE,
                         "Upload-Defer-Length is not known here: tell the file's length as Upload-Length");
    if (!tus_number_parse("Upload-Length", length, bytes, err))
        return false;
    if (*bytes > most) {
        error_set(err, ERROR_LIMIT, "the file is larger than the limit of %llu bytes (upload_bytes)", most);
        reply_problem(reply, 413, "too-large", err, request->id);
        reply_header(reply, "Tus-Max-Size", "%llu", most);
        return false;
    }
    return request->facts.body_bytes <= *bytes
           || error_set(err, ERROR_LIMIT, "the body is longer than the %llu bytes of Upload-Length",
                        (unsigned long long)*bytes);
}

/* What the metadata says of the version, checked as far as the store can before the bytes are there. */
static bool create_part(struct request *request, uint64_t bytes, struct arena *keep, struct error *err)
{
    const char *text = request_header(request, "Upload-Metadata");
    struct store *store = request->service->store;
    struct store_version_new version;
    struct store_specimen specimen;
    struct target metadata;
    int64_t id = 0;

    if (!tus_metadata_parse(text, keep, &metadata, err) || !target_allows(&metadata, PARAMETERS, err))
        return false;
    const char *digits = target_parameter(&metadata, "specimen");
    if (!digits || !id_parse(digits, &id))
        return error_set(err, ERROR_USAGE, "Upload-Metadata must name the specimen by its id: digits only");
    return store_specimen_get(store, id, keep, &specimen, err)
           && upload_parameters_parse(&metadata, id, specimen.units, &version, err)
           && store_part_create(store, &version, bytes, text, &request->part, err);
}

bool prepare_part_create(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    uint64_t bytes;
    if (request->has_body && !has_piece_type(request)) {
        refuse_type(request, reply);
        return true;
    }
    if (!check_length(request, &bytes, reply, err))
        return reply->status;
    if (!tus_checksum_begin(request_header(request, "Upload-Checksum"), &request->checksum, err)
        || (request->has_body && !upload_take_slot(request, err)) || !create_part(request, bytes, keep, err))
        return false;
    return !request->has_body || begin_piece(request, request->part.name, 0, reply, err) || reply->status;
}

bool handle_part_create(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_part part = request->part;
    bool ok = !request->piece || end_piece(request, &part, reply, err);
    (void)keep;
    request_close_upload(request);
    if (!ok) { /* nobody learns its address */
        store_part_remove(request->service->store, request->part.name, NULL);
        return reply->status;
    }
    reply_nothing(reply, 201);
    reply_header(reply, "Location", "/api/v1/uploads/%s", part.name);
    reply_state(reply, &part);
    reply_version(reply, &part);
    return true;
}

/* --- what became of it --- */

/* Makes the version of a file that is whole where a crash or a full queue prevented it. */
static bool settle(struct request *request, struct store_part *part, bool *locked, struct error *err)
{
    *locked = false;
    if (part->version || part->arrived < part->bytes)
        return true;
    bool ok = store_piece_begin(request->service->store, part->name, part->bytes, false, &request->piece,
                                locked, err)
              && store_piece_finish(request->piece, part, err);
    request_close_upload(request);
    return ok;
}

bool handle_part_head(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_part part;
    const char *metadata;
    bool locked;
    if (!store_part_get(request->service->store, request->path_name, keep, &part, &metadata, err))
        return false;
    if (!settle(request, &part, &locked, err))
        return locked && reply_locked(request, reply, err);
    reply_nothing(reply, 200);
    reply_state(reply, &part);
    reply_header(reply, "Upload-Length", "%llu", (unsigned long long)part.bytes);
    reply_header(reply, "Upload-Metadata", "%s", metadata);
    reply_version(reply, &part);
    return true;
}

bool handle_part_read(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_part part;
    struct api_text text;
    bool locked;
    if (!store_part_get(request->service->store, request->path_name, keep, &part, NULL, err)
        || (!settle(request, &part, &locked, err) && !locked) || !api_part_write(&part, &text, err))
        return false;
    reply_json(reply, 200, &text);
    reply->etag[0] = '\0';
    reply->cache = "no-store";
    return true;
}

bool handle_part_remove(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    (void)keep;
    if (!store_part_remove(request->service->store, request->path_name, err))
        return false;
    reply_nothing(reply, 204);
    return true;
}
