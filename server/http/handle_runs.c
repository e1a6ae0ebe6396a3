/* handle_runs.c - runs: list, start, record, findings, fields; and several side by side. */
#include "http/handlers.h"
#include "http/request.h"

#include "job/reason.h"
#include "json/api_compare.h"
#include "json/api_run.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

bool handle_run_list(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_version version;
    struct store_run_page page;
    struct api_text text;
    int64_t id;
    size_t limit;
    if (!request_id_parameter(request, "version", &id, err) || !request_limit(request, &limit, err)
        || (id && !store_version_get(request->service->store, id, keep, &version, err))
        || !store_run_list(request->service->store, id, limit, request_parameter(request, "cursor"), keep,
                           &page, err)
        || !api_runs_write(&page, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

/* 202 with the job, or 200 with the identical run there is. */
static bool answer_started(struct request *request, struct reply *reply, int64_t run_id, int64_t job_id,
                           struct arena *keep, struct error *err)
{
    struct store *store = request->service->store;
    struct store_run run;
    struct store_job job;
    struct api_text text;
    if (run_id) {
        if (!store_run_get(store, run_id, keep, &run, err) || !api_run_found_write(&run, &text, err))
            return false;
        reply_json(reply, 200, &text);
        reply_header(reply, "Content-Location", "/api/v1/runs/%lld", (long long)run_id);
        return true;
    }
    if (!store_job_get(store, job_id, keep, &job, err) || !api_job_write(&job, reason_advice, &text, err))
        return false;
    reply_json(reply, 202, &text);
    reply_header(reply, "Location", "/api/v1/jobs/%lld", (long long)job_id);
    return true;
}

/* 0 where it is missing; how fine it may be, the store says. */
static bool read_certify(const struct body *body, double *certify, struct error *err)
{
    if (!body_number(body, "certify", certify, err))
        return false;
    if (isnan(*certify))
        *certify = 0;
    else if (!(*certify > 0))
        return error_set(err, ERROR_USAGE, "\"certify\" must be above 0: a share such as 1e-5");
    return true;
}

bool handle_run_start(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_run_request wanted = {0};
    int64_t run_id = 0, job_id = 0;
    struct body body;
    if (!request_body(request, &body, err))
        return false;
    wanted.against_given = body_has(&body, "against");
    bool ok = body_allows(&body, "version against again certify", err)
              && body_id(&body, "version", true, &wanted.version, err)
              && body_id(&body, "against", false, &wanted.against, err)
              && body_flag(&body, "again", &wanted.again, err) && read_certify(&body, &wanted.certify, err)
              && store_run_request(request->service->store, &wanted, &run_id, &job_id, err)
              && answer_started(request, reply, run_id, job_id, keep, err);
    body_close(&body);
    return ok;
}

bool handle_run_read(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_run run;
    const char *record;
    size_t size;
    if (!store_run_get(request->service->store, request->path_id, keep, &run, err)
        || !store_run_record(request->service->store, run.id, keep, &record, &size, err))
        return false;
    char *copy = strndup(record, size);
    if (!copy)
        return error_set(err, ERROR_MACHINE, "memory is short; try again later");
    struct api_text text = {copy, size};
    reply_json(reply, 200, &text);
    reply_header(reply, "Link", "</api/v1/versions/%lld>; rel=\"describes\"", (long long)run.version);
    return true;
}

bool handle_run_findings(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct api_text text;
    const char *record;
    size_t size;
    if (!store_run_record(request->service->store, request->path_id, keep, &record, &size, err)
        || !api_findings_write(record, size, request_parameter(request, "kind"),
                               request_parameter(request, "severity"), &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

bool handle_run_field(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    uint64_t size;
    bool per_face;
    int fd;
    (void)keep;
    if (!store_run_field_open(request->service->store, request->path_id, request->path_name, &fd, &size,
                              &per_face, err))
        return false;
    reply_file(reply, fd, size);
    reply->is_download = true;
    reply->cache = "private, max-age=31536000, immutable";
    snprintf(reply->etag, sizeof reply->etag, "\"run-%lld-%.40s\"", (long long)request->path_id,
             request->path_name);
    reply_header(reply, "Fettle-Per", "%s", per_face ? "face" : "vertex");
    reply_attachment(reply, request->path_name);
    return true;
}

/* "1,2,3" into ids; false with ERROR_USAGE. */
static bool parse_ids(const char *text, size_t most, int64_t *ids, size_t *count, struct error *err)
{
    char digits[24];
    *count = 0;
    for (const char *at = text; at;) {
        size_t size = strcspn(at, ",");
        bool good = size < sizeof digits && *count < most;
        if (good) {
            memcpy(digits, at, size);
            digits[size] = '\0';
            good = id_parse(digits, &ids[(*count)++]);
        }
        if (!good)
            return error_set(err, ERROR_USAGE,
                             "runs must be at most %zu ids with commas between (compared_runs)", most);
        at = at[size] ? at + size + 1 : NULL;
    }
    return true;
}

static bool read_run(struct store *store, int64_t id, struct arena *keep, struct compared_run *compared,
                     struct error *err)
{
    struct store_run *run = ARENA_NEW(keep, struct store_run, 1);
    struct store_version version;
    if (!run)
        return arena_error(err);
    if (!store_run_get(store, id, keep, run, err)
        || !store_version_get(store, run->version, keep, &version, err)
        || !store_run_record(store, id, keep, &compared->record, &compared->record_size, err))
        return false;
    compared->run = run;
    compared->face_size = version.face_size;
    return true;
}

bool handle_compare(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct service *service = request->service;
    const char *list = request_parameter(request, "runs");
    size_t most = (size_t)service->limits.compared_runs, count = 0, baseline = 0;
    int64_t *ids = ARENA_NEW(keep, int64_t, most), base_id;
    struct compared_run *runs = ARENA_ZERO(keep, struct compared_run, most);
    struct api_text text;
    if (!ids || !runs)
        return arena_error(err);
    if (!list || !*list)
        return error_set(err, ERROR_USAGE, "runs is missing: ids of runs with commas between");
    if (!parse_ids(list, most, ids, &count, err) || !request_id_parameter(request, "baseline", &base_id, err))
        return false;
    while (base_id && baseline < count && ids[baseline] != base_id)
        baseline++;
    if (baseline == count)
        return error_set(err, ERROR_USAGE, "baseline must be one of the runs");
    for (size_t i = 0; i < count; i++)
        if (!read_run(service->store, ids[i], keep, &runs[i], err))
            return false;
    if (!api_compare_write(runs, count, baseline, &service->measures, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}
