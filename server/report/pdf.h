/* pdf.h - a document as PDF on A4 pages, by cairo and Pango.
 *
 * The fonts are those of fonts-dejavu-core, read from their files and nowhere else, so that nothing depends
 * on what else is installed; the letters used are embedded. Letters they lack are printed as their Unicode
 * numbers. The same document and fonts give the same bytes. */
#ifndef REPORT_PDF_H
#define REPORT_PDF_H

#include "base/error.h"
#include "report/document.h"

/* The caller frees *bytes. ERROR_MACHINE when memory is out, a font or a library is missing. */
bool pdf_write(const struct document *document, char **bytes, size_t *size, struct error *err);

#endif
