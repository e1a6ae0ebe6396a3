/* handle_jobs.c - the queue: list, read, cancel, retry; and the stream of events. */
#include "http/handlers.h"
#include "http/request.h"

#include "job/reason.h"
#include "json/api_run.h"

#include <string.h>

static bool check_state(const char *state, struct error *err)
{
    static const char *const states[] = {"queued", "running", "done", "failed", "cancelled"};
    for (size_t i = 0; i < sizeof states / sizeof *states; i++)
        if (!state || !strcmp(state, states[i]))
            return true;
    return error_set(err, ERROR_USAGE, "state must be queued, running, done, failed or cancelled");
}

bool handle_job_list(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    const char *state = request_parameter(request, "state");
    struct store_job_page page;
    struct api_text text;
    int64_t specimen;
    size_t limit;
    if (state && !*state)
        state = NULL;
    if (!check_state(state, err) || !request_id_parameter(request, "specimen", &specimen, err)
        || !request_limit(request, &limit, err)
        || !store_job_list(request->service->store, state, specimen, limit,
                           request_parameter(request, "cursor"), keep, &page, err)
        || !api_jobs_write(&page, reason_advice, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

bool handle_job_read(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_job job;
    struct api_text text;
    if (!store_job_get(request->service->store, request->path_id, keep, &job, err)
        || !api_job_write(&job, reason_advice, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

bool handle_job_cancel(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    return request_empty_body(request, err)
           && store_job_cancel(request->service->store, request->path_id, err)
           && handle_job_read(request, reply, keep, err);
}

bool handle_job_retry(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    return request_empty_body(request, err) && store_job_retry(request->service->store, request->path_id, err)
           && handle_job_read(request, reply, keep, err);
}

bool handle_events(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    static const char type[] = "text/event-stream; charset=utf-8";
    int64_t specimen;
    (void)keep;
    if (!request_id_parameter(request, "specimen", &specimen, err))
        return false;
    if (!strcmp(request->method, "HEAD")) {
        reply_shared(reply, type, "", 0);
        return true;
    }
    reply->stream = event_stream_open(request->service->events, request->connection, specimen,
                                      request_header(request, "Last-Event-ID"));
    if (!reply->stream)
        return error_set(err, ERROR_BUSY, "%llu event streams are open, which is the limit (event_streams)",
                         (unsigned long long)request->service->limits.event_streams);
    reply->status = 200;
    reply->content_type = type;
    reply->cache = "no-store";
    return true;
}
