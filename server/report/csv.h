/* csv.h - rows of comma-separated values (RFC 4180): CRLF after each, a field in quotes where it must be.
 *
 * A text that a spreadsheet would take for a formula gets an apostrophe in front, as static/csv.js does. */
#ifndef REPORT_CSV_H
#define REPORT_CSV_H

#include "report/text.h"

/* A field; each but the first of a row has a comma in front. NULL is empty. */
void csv_add(struct text *text, bool is_first, const char *field);
void csv_end_row(struct text *text);

#endif
