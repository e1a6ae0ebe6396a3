/* handle_audits.c - runs judged by specs, and waivers of their rules. */
#include "http/handlers.h"
#include "http/judging.h"
#include "http/request.h"
#include "http/specs.h"

#include "report/junit.h"
#include "store/specimen.h"
#include "json/api_spec.h"
#include "json/audit_json.h"
#include "json/waivers.h"

#include <string.h>

/* --- making --- */

static bool answer_audit(struct request *request, struct reply *reply, unsigned status, int64_t id,
                         struct arena *keep, struct error *err)
{
    struct store_audit audit;
    struct api_text text;
    if (!store_audit_get(request->service->store, id, keep, &audit, err)
        || !api_audit_write(&audit, &text, err))
        return false;
    reply_json(reply, status, &text);
    if (status == 201)
        reply_header(reply, "Location", "/api/v1/audits/%lld", (long long)id);
    return true;
}

bool handle_audit_make(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct body body;
    int64_t run, spec, id = 0;
    bool created = false;
    if (!request_body(request, &body, err))
        return false;
    bool ok = body_allows(&body, "run spec", err) && body_id(&body, "run", true, &run, err)
              && body_id(&body, "spec", true, &spec, err)
              && judging_make(request->service, run, spec, keep, &id, &created, err);
    body_close(&body);
    return ok && answer_audit(request, reply, created ? 201 : 200, id, keep, err);
}

/* --- reading --- */

bool handle_audit_list(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_audit_query query = {.cursor = request_parameter(request, "cursor")};
    struct store_audit_page page;
    struct api_text text;
    if (!request_id_parameter(request, "specimen", &query.specimen, err)
        || !request_id_parameter(request, "run", &query.run, err)
        || !request_id_parameter(request, "spec", &query.spec, err)
        || !request_limit(request, &query.limit, err)
        || !store_audit_list(request->service->store, &query, keep, &page, err)
        || !api_audits_write(&page, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

typedef bool document_writer(const struct audited *audited, const struct audit_request *request, char **text,
                             size_t *size, struct error *err);

static bool answer_document(struct request *request, struct reply *reply, const char *media_type,
                            document_writer *writer, struct arena *keep, struct error *err)
{
    struct store_audit audit;
    struct store_spec stored;
    struct audited audited;
    struct spec spec;
    char *text;
    size_t size;
    if (!store_audit_get(request->service->store, request->path_id, keep, &audit, err)
        || !store_spec_get(request->service->store, audit.spec, keep, &stored, err)
        || !spec_open(stored.body, strlen(stored.body), &request->service->measures, &spec, err))
        return false;
    bool ok = audited_stored(audit.body, &spec, &audited, err);
    if (ok) {
        ok = writer(&audited, &(struct audit_request){.spec = &spec}, &text, &size, err);
        audited_close(&audited);
    }
    spec_close(&spec);
    if (!ok)
        return false;
    reply_text(reply, 200, media_type, text, size);
    etag_of_bytes(text, size, reply->etag);
    reply_header(reply, "Vary", "Accept");
    return true;
}

bool handle_audit_read(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    static const struct request_format formats[] = {
        {"json", "application/json"}, {"junit", "application/xml"}, {"sarif", "application/sarif+json"}};
    static document_writer *const writers[] = {NULL, junit_write, audit_sarif};
    size_t chosen;
    if (!request_format(request, formats, 3, &chosen, err))
        return false;
    if (chosen)
        return answer_document(request, reply, formats[chosen].media_type, writers[chosen], keep, err);
    reply_header(reply, "Vary", "Accept");
    return answer_audit(request, reply, 200, request->path_id, keep, err);
}

/* --- waivers --- */

static bool answer_waiver(struct request *request, struct reply *reply, unsigned status, int64_t id,
                          struct arena *keep, struct error *err)
{
    struct store_waiver waiver;
    struct api_text text;
    char day[11];
    specs_today(day);
    if (!store_waiver_get(request->service->store, id, keep, &waiver, err)
        || !api_waiver_write(&waiver, day, &text, err))
        return false;
    reply_json(reply, status, &text);
    return true;
}

bool handle_waiver_list(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_waiver_list list;
    struct api_text text;
    char day[11];
    specs_today(day);
    if (!store_waiver_list(request->service->store, request->path_id, NULL, keep, &list, err)
        || !api_waivers_write(&list, day, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

static bool check_rule(struct request *request, const struct store_waiver *waiver, struct arena *keep,
                       struct error *err)
{
    struct store_spec stored;
    struct spec spec;
    bool found, has = false;
    if (!store_spec_latest(request->service->store, waiver->spec_name, keep, &stored, &found, err))
        return false;
    if (!found)
        return error_set(err, ERROR_USAGE, "there is no spec \"%.60s\"", waiver->spec_name);
    if (!spec_open(stored.body, strlen(stored.body), &request->service->measures, &spec, err))
        return false;
    for (size_t i = 0; i < spec.rule_count; i++)
        has |= strcmp(spec.rules[i].id, waiver->rule) == 0;
    spec_close(&spec);
    return has
           || error_set(err, ERROR_USAGE, "the spec \"%.60s\" has no rule \"%.60s\"", waiver->spec_name,
                        waiver->rule);
}

static bool check_expiry(const char *expires, struct error *err)
{
    char day[11];
    specs_today(day);
    if (!is_day(expires))
        return error_set(err, ERROR_USAGE, "\"expires\" is the last day it holds, such as 2026-12-31");
    return strcmp(expires, day) >= 0
           || error_set(err, ERROR_USAGE, "\"expires\" is over already: today is %s", day);
}

bool handle_waiver_add(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_waiver waiver = {.specimen = request->path_id};
    struct body body;
    int64_t id = 0;
    if (!request_body(request, &body, err))
        return false;
    bool ok = body_allows(&body, "spec rule reason author expires", err)
              && body_text(&body, "spec", true, &waiver.spec_name, err)
              && body_text(&body, "rule", true, &waiver.rule, err)
              && body_text(&body, "reason", true, &waiver.reason, err)
              && body_text(&body, "author", true, &waiver.author, err)
              && body_text(&body, "expires", true, &waiver.expires, err) && check_expiry(waiver.expires, err)
              && check_rule(request, &waiver, keep, err)
              && store_waiver_add(request->service->store, &waiver, &id, err)
              && answer_waiver(request, reply, 201, id, keep, err);
    body_close(&body);
    return ok;
}

bool handle_waiver_withdraw(struct request *request, struct reply *reply, struct arena *keep,
                            struct error *err)
{
    return request_empty_body(request, err)
           && store_waiver_withdraw(request->service->store, request->path_id, err)
           && answer_waiver(request, reply, 200, request->path_id, keep, err);
}
