/* compose.h - the report of an audit: what it says, in which order.
 *
 * Everything in it is what the store has of the audit; nothing is judged or measured anew. Pictures are drawn
 * from stored surfaces and distances where the run has them, else the report says how to have them made. The
 * same dossier and sign-offs give the same document. */
#ifndef REPORT_COMPOSE_H
#define REPORT_COMPOSE_H

#include "report/document.h"
#include "store/dossier.h"
#include "json/measures.h"

enum { REPORT_ARENA_MIB = 512 }; /* address space that is enough for any document */

/* The document belongs to keep; dossier and measures must outlive it. ERROR_LIMIT when keep is too small,
 * ERROR_STORE where what is kept cannot be read. */
bool report_compose(struct store *store, const struct store_dossier *dossier,
                    const struct measure_list *measures, struct arena *keep, struct document *document,
                    struct error *err);

#endif
