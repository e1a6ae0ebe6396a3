/* reason.h - why a job ended without a run: the code words, and what the user can do about each.
 *
 * Codes: reject-syntax, reject-data, reject-limit, reject-type, reject-empty, crashed, out-of-memory,
 * out-of-time, sandbox, blob-corrupt, machine, cancelled. */
#ifndef JOB_REASON_H
#define JOB_REASON_H

#include "base/error.h"

/* One sentence that says what to do; the one of "machine" for an unknown code. */
const char *reason_advice(const char *code);
/* True where the same bytes cannot do better: a reject or a cancel is final at once. */
bool reason_is_final(const char *code);
bool reason_is_known(const char *code);

#endif
