/* handle_sign_offs.c - signing audits off, the service's key, and the log of what was done. */
#include "http/handlers.h"
#include "http/request.h"

#include "json/api_sign_off.h"

#include <string.h>

/* --- sign-offs --- */

bool handle_sign_off_list(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store *store = request->service->store;
    struct sign_offs offs;
    struct api_text text;
    struct error refusal = {0};
    if (!sign_offs_get(store, request->path_id, keep, &offs, err))
        return false;
    bool allowed = sign_off_allowed(store, request->path_id, keep, &refusal);
    if (!allowed && refusal.code != ERROR_CONFLICT && refusal.code != ERROR_STORE)
        return error_set(err, refusal.code, "%s", refusal.text);
    if (!api_sign_offs_write(request->path_id, &offs, allowed ? NULL : refusal.text, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

static bool answer(struct request *request, struct reply *reply, unsigned status, int64_t id,
                   struct arena *keep, struct error *err)
{
    struct store_signoff signoff;
    struct sign_offs offs;
    struct api_text text;
    size_t i = 0;
    if (!store_signoff_get(request->service->store, id, keep, &signoff, err)
        || !sign_offs_get(request->service->store, signoff.audit, keep, &offs, err))
        return false;
    while (i < offs.list.count && offs.list.items[i].id != id)
        i++;
    if (i == offs.list.count)
        return error_set(err, ERROR_NOT_FOUND, "there is no sign-off %lld", (long long)id);
    if (!api_sign_off_write(&offs, i, &text, err))
        return false;
    reply_json(reply, status, &text);
    if (status == 201)
        reply_header(reply, "Location", "/api/v1/sign-offs/%lld", (long long)id);
    return true;
}

bool handle_sign_off_make(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct sign_off_request wanted = {.audit = request->path_id};
    struct body body;
    int64_t id = 0;
    if (!request_body(request, &body, err))
        return false;
    bool ok = body_allows(&body, "by role note", err) && body_text(&body, "by", true, &wanted.by, err)
              && body_text(&body, "role", false, &wanted.role, err)
              && body_text(&body, "note", false, &wanted.note, err)
              && sign_off_make(request->service->store, &wanted, keep, &id, err)
              && answer(request, reply, 201, id, keep, err);
    body_close(&body);
    return ok;
}

bool handle_sign_off_read(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    return answer(request, reply, 200, request->path_id, keep, err);
}

/* Exactly the bytes that were signed. */
bool handle_sign_off_statement(struct request *request, struct reply *reply, struct arena *keep,
                               struct error *err)
{
    struct store_signoff signoff;
    if (!store_signoff_get(request->service->store, request->path_id, keep, &signoff, err))
        return false;
    struct api_text text = {strdup(signoff.statement), strlen(signoff.statement)};
    if (!text.bytes)
        return error_set(err, ERROR_MACHINE, "memory is short; try again later");
    reply_json(reply, 200, &text);
    return true;
}

/* --- the key --- */

bool handle_key(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct seal_public key;
    struct api_text text;
    bool found;
    (void)keep;
    if (!store_key_public(request->service->store, &key, &found, err))
        return false;
    if (!found)
        return error_set(err, ERROR_NOT_FOUND, "there is no key yet: the first sign-off makes it");
    if (!api_key_write(&key, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

/* --- the log --- */

/* Of a specimen, or 0: of all. */
static bool answer_log(struct request *request, struct reply *reply, int64_t specimen, struct arena *keep,
                       struct error *err)
{
    struct store_step_page page;
    struct api_text text;
    size_t limit;
    if (!request_limit(request, &limit, err)
        || !store_step_list(request->service->store, specimen, limit, request_parameter(request, "cursor"),
                            keep, &page, err)
        || !api_steps_write(&page, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

bool handle_log(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    return answer_log(request, reply, 0, keep, err);
}

bool handle_specimen_log(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    return answer_log(request, reply, request->path_id, keep, err);
}
