/* api_run.c - run summaries, findings, jobs. */
#include "json/api_run.h"

#include <jansson.h>
#include <string.h>

static json_t *run_tree(const struct store_run *run)
{
    json_t *summary = json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "open_edges",
                                api_number(run->open_edges), "lost", api_number(run->lost), "invented",
                                api_number(run->invented), "hausdorff", api_number(run->hausdorff), "faults",
                                api_number(run->faults), "warnings", api_number(run->warnings), "genus",
                                api_number(run->genus), "shells", api_number(run->shells));
    return json_pack("{s:o, s:o, s:o, s:s, s:i, s:s, s:b, s:o}", "id", api_id(run->id), "version",
                     api_id(run->version), "against", api_id(run->against), "created", run->created,
                     "definitions", run->definitions, "engine_version", run->engine_version, "current",
                     (int)run->current, "summary", summary);
}

bool api_runs_write(const struct store_run_page *page, struct api_text *text, struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; items && i < page->count; i++)
        if (json_array_append_new(items, run_tree(&page->items[i]))) {
            json_decref(items);
            items = NULL;
        }
    return api_text_write(api_page(items, page->next, page->total), text, err);
}

bool api_run_found_write(const struct store_run *run, struct api_text *text, struct error *err)
{
    return api_text_write(json_pack("{s:o}", "run", run_tree(run)), text, err);
}

bool api_run_event_write(int64_t run, int64_t version, int64_t specimen, struct api_text *text,
                         struct error *err)
{
    return api_text_write(json_pack("{s:o, s:o, s:o}", "id", api_id(run), "version", api_id(version),
                                    "specimen", api_id(specimen)),
                          text, err);
}

static json_t *reason_tree(const struct store_job *job, api_advice *advice)
{
    if (!job->has_reason)
        return json_null();
    const struct store_reason *reason = &job->reason;
    json_t *tree = json_pack("{s:s, s:o, s:s}", "code", reason->code, "text", api_string(reason->text), "do",
                             advice(reason->code));
    bool ok = tree != NULL;
    if (ok && reason->format && reason->format[0])
        ok = !json_object_set_new(tree, "format", json_string(reason->format));
    if (ok && reason->line)
        ok = !json_object_set_new(tree, "line", json_integer((json_int_t)reason->line));
    if (ok && reason->has_byte)
        ok = !json_object_set_new(tree, "byte", json_integer((json_int_t)reason->byte));
    if (ok)
        return tree;
    json_decref(tree);
    return NULL;
}

static json_t *job_tree(const struct store_job *job, api_advice *advice)
{
    return json_pack("{s:o, s:s, s:o, s:o, s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:s, s:o, s:s, s:o, s:o}", "id",
                     api_id(job->id), "state", job->state, "stage", api_string(job->stage), "progress",
                     api_number(job->progress), "attempt", (json_int_t)job->attempt, "run", api_id(job->run),
                     "reason", reason_tree(job, advice), "version", api_id(job->version), "against",
                     api_id(job->against), "specimen", api_id(job->specimen), "label",
                     api_label(job->version_kind, job->version_number), "catalogue_number",
                     job->catalogue_number, "position",
                     job->position ? json_integer((json_int_t)job->position) : json_null(), "created",
                     job->created, "started", api_string(job->started), "ended", api_string(job->ended));
}

bool api_job_write(const struct store_job *job, api_advice *advice, struct api_text *text, struct error *err)
{
    return api_text_write(job_tree(job, advice), text, err);
}

bool api_jobs_write(const struct store_job_page *page, api_advice *advice, struct api_text *text,
                    struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; items && i < page->count; i++)
        if (json_array_append_new(items, job_tree(&page->items[i], advice))) {
            json_decref(items);
            items = NULL;
        }
    return api_text_write(api_page(items, page->next, page->total), text, err);
}

static bool is(const json_t *finding, const char *key, const char *wanted)
{
    const char *value = json_string_value(json_object_get(finding, key));
    return !wanted || (value && !strcmp(value, wanted));
}

bool api_findings_write(const char *record, size_t size, const char *kind, const char *severity,
                        struct api_text *text, struct error *err)
{
    json_t *tree = json_loadb(record, size, 0, NULL), *items = json_array(), *finding;
    size_t i;
    if (!tree) {
        json_decref(items);
        return error_set(err, ERROR_STORE, "the record of this run cannot be read");
    }
    json_array_foreach(json_object_get(tree, "findings"), i, finding)
    {
        if (is(finding, "kind", kind) && is(finding, "severity", severity) && items
            && json_array_append(items, finding)) {
            json_decref(items);
            items = NULL;
        }
    }
    json_decref(tree);
    json_int_t total = (json_int_t)json_array_size(items);
    return api_text_write(json_pack("{s:o, s:I}", "items", items, "total", total), text, err);
}
