/* handoff_verify.h - a handoff from elsewhere, checked without any server: form, digests, seal, sign-offs,
 * what the documents say of one another, the audit made again, the files measured again.
 *
 * All of it works on descriptors that are open already, so that it may run in a process that can open
 * nothing. */
#ifndef HANDOFF_HANDOFF_VERIFY_H
#define HANDOFF_HANDOFF_VERIFY_H

#include "bag/bag.h"
#include "json/handoff_result.h"

struct handoff_verify_call {
    int zip_fd, folder_fd;                  /* one of both; the other -1 */
    int spool_fd, subject_fd, reference_fd; /* empty files: what lies in the handoff is copied there */
    struct bag_limits limits;
    const char *key; /* PEM of the public key that it must be sealed with; NULL: by whatever key it holds */
    bool measure;    /* again */
    size_t threads;  /* 0: as many as there are cores */
    const struct progress *progress; /* of measuring; may be NULL */
};

/* Values that measuring again does not give are a problem, but for those of other definitions, and for ends
 * of certified intervals that overlap where the engine is another: both intervals hold the true value. They
 * are listed in any case.
 *
 * False where nothing is read: the errors of bag_open_zip and bag_open_folder, or ERROR_LIMIT where a
 * document is longer than any, ERROR_MACHINE. Else result says what holds; its strings and lists are keep's.
 */
bool handoff_verify(const struct handoff_verify_call *call, struct arena *keep, struct handoff_result *result,
                    struct error *err);

#endif
