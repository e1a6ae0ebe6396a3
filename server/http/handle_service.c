/* handle_service.c - what the service says of itself: health, figures, limits, its documents. */
#include "http/handlers.h"
#include "http/request.h"

#include "run/version.h"
#include "json/api_service.h"

#include <stdio.h>
#include <stdlib.h>

/* schema/openapi.json, put here by the assembler; deploy/openapi.mk makes this object anew when it changes.
 */
__asm__(".section .rodata\n"
        ".global openapi_bytes\n"
        ".global openapi_bytes_end\n"
        "openapi_bytes:\n"
        ".incbin \"schema/openapi.json\"\n"
        "openapi_bytes_end:\n"
        ".previous\n");
extern const char openapi_bytes[] __attribute__((visibility("hidden")));
extern const char openapi_bytes_end[] __attribute__((visibility("hidden")));

bool handle_health(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct sandbox_state sandbox;
    char sentence[200] = "";
    struct api_text text;
    (void)keep;
    enum store_condition condition = store_condition(request->service->store, sentence, sizeof sentence);
    scheduler_sandbox_state(request->service->scheduler, &sandbox);
    bool can_write = condition == STORE_SOUND || condition == STORE_CHECKING;
    struct api_health health = {
        .status = condition == STORE_SOUND      ? "ok"
                  : condition == STORE_CHECKING ? "checking"
                                                : "read-only",
        .text = sentence,
        .version = engine_version(),
        .commit = engine_commit(),
        .definitions = engine_definitions(),
        .landlock_abi = sandbox.landlock_abi,
        .seccomp = sandbox.seccomp,
        .sandbox_text = sandbox.text,
    };
    if (!api_health_write(&health, &text, err))
        return false;
    reply_json(reply, can_write ? 200 : 503, &text);
    reply->etag[0] = '\0';
    reply->cache = "no-store";
    return true;
}

bool handle_limits(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct service *service = request->service;
    struct store_figures figures;
    struct api_text text;
    size_t count = http_limit_count();
    struct api_limit *limits = ARENA_NEW(keep, struct api_limit, count);
    if (!limits)
        return arena_error(err);
    if (!store_figures(service->store, &figures, err))
        return false;
    for (size_t i = 0; i < count; i++) {
        const struct http_limit *limit = http_limit_at(i);
        limits[i] = (struct api_limit){limit->name, limit->unit, limit->text,
                                       http_limit_value(&service->limits, limit)};
        if (limit->offset == offsetof(struct http_limits, disk_keep_bytes))
            limits[i].value = figures.reserve_bytes; /* what 0 stands for */
    }
    if (!api_limits_write(limits, count, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

bool handle_measures(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    size_t size;
    const char *text = measures_text(&size);
    (void)request;
    (void)keep;
    (void)err;
    reply_shared(reply, REPLY_JSON, text, size);
    etag_of_bytes(text, size, reply->etag);
    return true;
}

bool handle_openapi(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    size_t size = (uintptr_t)openapi_bytes_end - (uintptr_t)openapi_bytes; /* two symbols of one section */
    (void)request;
    (void)keep;
    (void)err;
    reply_shared(reply, REPLY_JSON, openapi_bytes, size);
    etag_of_bytes(openapi_bytes, size, reply->etag);
    return true;
}

/* VmRSS of /proc/self/status in bytes, 0 when it cannot be read. */
static long long resident_bytes(void)
{
    char line[128];
    long long kib = 0;
    FILE *status = fopen("/proc/self/status", "re");
    while (status && fgets(line, sizeof line, status))
        if (sscanf(line, "VmRSS: %lld", &kib) == 1)
            break;
    if (status)
        fclose(status);
    return kib * 1024;
}

static void metric(FILE *out, const char *type, const char *name, const char *help, long long value)
{
    fprintf(out, "# HELP fettle_%s %s\n# TYPE fettle_%s %s\nfettle_%s %lld\n", name, help, name, type, name,
            value);
}

static void write_store(FILE *out, const struct store_figures *store)
{
    metric(out, "gauge", "specimens", "Specimens in the store.", store->specimens);
    metric(out, "gauge", "versions", "Versions in the store.", store->versions);
    metric(out, "gauge", "runs", "Finished runs.", store->runs);
    metric(out, "gauge", "blobs", "Stored files.", store->blobs);
    metric(out, "gauge", "blob_bytes", "Bytes of the stored files.", store->blob_bytes);
    metric(out, "gauge", "disk_free_bytes", "Free bytes on the disk of the data folder.",
           (long long)store->disk_free_bytes);
    fprintf(out,
            "# HELP fettle_jobs Jobs by state.\n# TYPE fettle_jobs gauge\n"
            "fettle_jobs{state=\"queued\"} %lld\nfettle_jobs{state=\"running\"} %lld\n"
            "fettle_jobs{state=\"done\"} %lld\nfettle_jobs{state=\"failed\"} %lld\n"
            "fettle_jobs{state=\"cancelled\"} %lld\n",
            (long long)store->queued, (long long)store->running, (long long)store->done,
            (long long)store->failed, (long long)store->cancelled);
}

static void write_scheduler(FILE *out, const struct scheduler_figures *scheduler)
{
    metric(out, "gauge", "workers", "Worker processes at once, at most.", (long long)scheduler->workers);
    metric(out, "gauge", "workers_running", "Worker processes that run.", (long long)scheduler->running);
    metric(out, "gauge", "job_memory_bytes", "Memory that jobs may need together.",
           (long long)scheduler->memory_bytes);
    metric(out, "gauge", "job_memory_used_bytes", "Memory that running jobs are expected to need.",
           (long long)scheduler->memory_used_bytes);
    metric(out, "counter", "jobs_started_total", "Attempts started since the start.", scheduler->started);
    metric(out, "counter", "jobs_crashed_total", "Attempts that crashed since the start.",
           scheduler->crashed);
}

static void write_service(FILE *out, struct service *service)
{
    metric(out, "gauge", "connections", "Open connections.", (long long)peers_count(service->peers));
    metric(out, "counter", "late_connections_total", "Connections closed for missing a deadline.",
           (long long)peers_late_count(service->peers));
    metric(out, "gauge", "event_streams", "Open event streams.",
           (long long)events_stream_count(service->events));
    metric(out, "gauge", "uploads", "Uploads that run.", atomic_load(&service->uploads_open));
    metric(out, "counter", "upload_bytes_total", "Bytes received by uploads since the start.",
           (long long)atomic_load(&service->upload_bytes));
    metric(out, "gauge", "resident_bytes", "Resident memory of the service.", resident_bytes());
    fputs("# HELP fettle_answers_total Answers by first digit of the status.\n"
          "# TYPE fettle_answers_total counter\n",
          out);
    for (int i = 2; i <= 5; i++)
        fprintf(out, "fettle_answers_total{status=\"%dxx\"} %lu\n", i, atomic_load(&service->answers[i]));
    fprintf(out,
            "# HELP fettle_build_info The program.\n# TYPE fettle_build_info gauge\n"
            "fettle_build_info{version=\"%s\",commit=\"%s\",definitions=\"%d\"} 1\n",
            engine_version(), engine_commit(), engine_definitions());
}

bool handle_metrics(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_figures store;
    struct scheduler_figures scheduler;
    char *text = NULL;
    size_t size = 0;
    (void)keep;
    if (!store_figures(request->service->store, &store, err))
        return false;
    scheduler_figures(request->service->scheduler, &scheduler);
    FILE *out = open_memstream(&text, &size);
    if (!out)
        return error_set(err, ERROR_MACHINE, "memory is short; try again later");
    write_service(out, request->service);
    write_store(out, &store);
    write_scheduler(out, &scheduler);
    if (fclose(out) || !text)
        return error_set(err, ERROR_MACHINE, "memory is short; try again later");
    reply_text(reply, 200, "text/plain; version=0.0.4; charset=utf-8", text, size);
    reply->cache = "no-store";
    return true;
}
