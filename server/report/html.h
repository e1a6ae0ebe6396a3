/* html.h - a document as one HTML file that needs nothing else: no script, no request; pictures are data:
 * URIs (RFC 2397), the style is in it, and a policy in it forbids everything else. */
#ifndef REPORT_HTML_H
#define REPORT_HTML_H

#include "base/error.h"
#include "report/document.h"

/* What a browser may do with it; the header of an answer says the same. */
#define HTML_POLICY                                                                                          \
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"

/* The caller frees *bytes. ERROR_MACHINE when memory is out. The same document gives the same bytes. */
bool html_write(const struct document *document, char **bytes, size_t *size, struct error *err);

#endif
