/* checks.h - handoffs from elsewhere that are being checked, and the outcomes of the latest ones.
 *
 * Nothing of them is kept beyond the service's end: who wants to know again, asks again. */
#ifndef HTTP_CHECKS_H
#define HTTP_CHECKS_H

#include "store/store.h"
#include "json/api_handoff.h"

struct checks;

/* NULL with err. */
struct checks *checks_open(struct store *store, struct error *err);
/* Ends those that run. NULL is allowed. */
void checks_close(struct checks *checks);

/* Takes zip_fd, also where it fails. name: shown. ERROR_BUSY where too many wait. */
bool checks_add(struct checks *checks, int zip_fd, uint64_t bytes, const char *name, int64_t *id,
                struct error *err);
/* ERROR_NOT_FOUND: there is none, or it is too long ago. */
bool checks_write(struct checks *checks, int64_t id, struct api_text *text, struct error *err);

#endif
