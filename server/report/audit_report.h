/* audit_report.h - the report of a stored audit in one call, for the service, the command line and handoffs.
 */
#ifndef REPORT_AUDIT_REPORT_H
#define REPORT_AUDIT_REPORT_H

#include "store/store.h"
#include "json/measures.h"

enum report_form { REPORT_PDF, REPORT_HTML };
/* "pdf", "html"; ERROR_USAGE for another word. */
bool report_form_parse(const char *word, enum report_form *form, struct error *err);
const char *report_form_word(enum report_form form);

/* The caller frees *bytes. The same audit, sign-offs and installation give the same bytes. ERROR_NOT_FOUND
 * where there is no such audit, ERROR_STORE where what is kept of it is damaged, ERROR_MACHINE where memory,
 * a font or a library is missing. */
bool audit_report_write(struct store *store, int64_t audit, const struct measure_list *measures,
                        enum report_form form, char **bytes, size_t *size, struct error *err);

#endif
