/* handle_audits.c - runs judged by specs, and waivers of their rules. */
#include "http/handlers.h"
#include "http/request.h"
#include "http/specs.h"

#include "base/digest.h"
#include "report/junit.h"
#include "store/runs.h"
#include "store/specimen.h"
#include "json/api_spec.h"
#include "json/audit_json.h"
#include "json/waivers.h"

#include <stdlib.h>
#include <string.h>

/* --- making --- */

/* What an audit is made of, in the order it is had. */
struct making {
    struct store_run run;
    struct store_spec stored;
    struct spec spec;
    struct waiver *waivers;
    size_t waiver_count;
    const char *record;
    size_t record_size;
    char day[11];
};

static bool take_waivers(struct store *store, struct making *making, struct arena *keep, struct error *err)
{
    struct store_waiver_list list;
    if (!store_waiver_list(store, making->run.specimen, making->stored.name, keep, &list, err))
        return false;
    making->waivers = ARENA_NEW(keep, struct waiver, list.count);
    if (!making->waivers)
        return arena_error(err);
    making->waiver_count = list.count;
    for (size_t i = 0; i < list.count; i++)
        making->waivers[i] = (struct waiver){list.items[i].rule, list.items[i].reason, list.items[i].author,
                                             list.items[i].expires};
    return true;
}

/* On success the caller owes spec_close. */
static bool gather(struct request *request, int64_t run, int64_t spec, struct making *making,
                   struct arena *keep, struct error *err)
{
    struct store *store = request->service->store;
    specs_today(making->day);
    return store_run_get(store, run, keep, &making->run, err)
           && store_spec_get(store, spec, keep, &making->stored, err)
           && take_waivers(store, making, keep, err)
           && store_run_record(store, run, keep, &making->record, &making->record_size, err)
           && spec_open(making->stored.body, strlen(making->stored.body), &request->service->measures,
                        &making->spec, err);
}

static struct audit_request request_of(const struct request *request, const struct making *making)
{
    return (struct audit_request){.spec = &making->spec,
                                  .measures = &request->service->measures,
                                  .waivers = making->waivers,
                                  .waiver_count = making->waiver_count,
                                  .day = making->day};
}

static bool keep_audit(struct store *store, const struct making *making, const struct audited *audited,
                       const char *text, size_t size, int64_t *id, bool *created, struct error *err)
{
    struct store_audit_new added = {.run = making->run.id,
                                    .spec = making->stored.id,
                                    .waived = (int64_t)audited->audit.counts.waived,
                                    .outcome = outcome_word(audited->audit.outcome),
                                    .body = text};
    struct digest digest;
    digest_begin(&digest);
    digest_add(&digest, text, size);
    digest_end(&digest, added.sha256);
    return store_audit_add(store, &added, id, created, err);
}

static bool judge(struct request *request, const struct making *making, int64_t *id, bool *created,
                  struct error *err)
{
    struct audit_request wanted = request_of(request, making);
    struct audited audited;
    char *text = NULL;
    size_t size;
    if (!audited_make(making->record, making->record_size, &wanted, &audited, err))
        return false;
    bool ok = audit_text(&audited, &wanted, &text, &size, err)
              && keep_audit(request->service->store, making, &audited, text, size, id, created, err);
    free(text);
    audited_close(&audited);
    return ok;
}

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
    struct making making = {0};
    struct body body;
    int64_t run, spec, id = 0;
    bool created = false;
    if (!request_body(request, &body, err))
        return false;
    bool ok = body_allows(&body, "run spec", err) && body_id(&body, "run", true, &run, err)
              && body_id(&body, "spec", true, &spec, err) && gather(request, run, spec, &making, keep, err);
    body_close(&body);
    if (!ok)
        return false;
    ok = judge(request, &making, &id, &created, err);
    spec_close(&making.spec);
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

bool handle_audit_read(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
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
