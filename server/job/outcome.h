/* outcome.h - what the end of a worker means for its job. */
#ifndef JOB_OUTCOME_H
#define JOB_OUTCOME_H

#include "job/executor.h"
#include "job/report.h"
#include "store/jobs.h"

enum outcome_cause { ENDED_BY_ITSELF, ENDED_BY_CANCEL, ENDED_BY_WALL_CLOCK };

/* True when the worker measured: record and fields are whole. Else *reason says why not, with texts that live
 * in report or are constants, and in text (of 240 bytes). */
bool outcome_judge(const struct report *report, const struct execution_end *end, enum outcome_cause cause,
                   struct store_reason *reason, char text[240]);

#endif
