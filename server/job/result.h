/* result.h - from the folder that a worker filled to a finished run in the store. */
#ifndef JOB_RESULT_H
#define JOB_RESULT_H

#include "job/report.h"
#include "store/jobs.h"

/* Reads record.json and the fields from output_fd and ends the job as done. ERROR_BUSY, ERROR_MACHINE and
 * ERROR_STORE come from the store; ERROR_DATA where the files are not what the report says. */
bool result_store(struct store *store, int64_t job, int output_fd, const struct report *report,
                  int64_t *run_id, struct error *err);

/* Makes jobs/<job>/, empty, and opens it; and takes it away with all that is in it. */
bool result_folder_make(int jobs_fd, int64_t job, int *output_fd, struct error *err);
void result_folder_remove(int jobs_fd, int64_t job);
/* Takes away what earlier servers left. */
void result_folders_clear(int jobs_fd);

#endif
