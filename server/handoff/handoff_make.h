/* handoff_make.h - everything of a signed audit, put into one zip that whoever gets it can check alone.
 *
 * A bag (BagIt 1.0, RFC 8493): data/ has the files, record.json (exactly the bytes that are stored: what was
 * measured, timings included), audit.json, spec.json, report.pdf, report.html, specimen.json,
 * ro-crate-metadata.json and the sign-offs; seal/ has a statement over all manifests, signed with the
 * service's key; README.txt says how to check it. The same inputs, name and time give the same bytes. */
#ifndef HANDOFF_HANDOFF_MAKE_H
#define HANDOFF_HANDOFF_MAKE_H

#include "store/handoffs.h"
#include "json/measures.h"

/* ERROR_CONFLICT with the reason where the audit may not be handed over: it does not conform, is not the
 * newest, is not signed by as many persons as its spec wants, or a signature does not hold any more. On
 * success the zip is kept as handoff *id, the specimen is handed over, and the log tells of it. by: the name
 * as stated. */
bool handoff_make(struct store *store, const struct measure_list *measures, int64_t audit, const char *by,
                  int64_t *id, struct error *err);
/* Copies the zip into an open file. */
bool handoff_export(struct store *store, int64_t id, int fd, struct error *err);

#endif
