/* api_run.h - runs, their findings and jobs as API bodies. */
#ifndef JSON_API_RUN_H
#define JSON_API_RUN_H

#include "store/jobs.h"
#include "json/api_text.h"

/* What to do about a job that ended with the reason `code`. */
typedef const char *api_advice(const char *code);

bool api_runs_write(const struct store_run_page *page, struct api_text *text, struct error *err);
/* {"run":summary}: the answer where an identical finished run exists. */
bool api_run_found_write(const struct store_run *run, struct api_text *text, struct error *err);
/* {"id","version","specimen"}: the event of a new run. */
bool api_run_event_write(int64_t run, int64_t version, int64_t specimen, struct api_text *text,
                         struct error *err);
bool api_job_write(const struct store_job *job, api_advice *advice, struct api_text *text, struct error *err);
bool api_jobs_write(const struct store_job_page *page, api_advice *advice, struct api_text *text,
                    struct error *err);

/* The findings of a record, of one kind and severity or (NULL) all. total counts those listed; the record
 * says how many there are beyond its own lists. ERROR_STORE when the record is not JSON. */
bool api_findings_write(const char *record, size_t size, const char *kind, const char *severity,
                        struct api_text *text, struct error *err);

#endif
