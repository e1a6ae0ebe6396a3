/* length.h - a length as people state it: "0.4" in the file's units, or "0.4mm". */
#ifndef RUN_LENGTH_H
#define RUN_LENGTH_H

#include "run/run.h"

/* text becomes a finite length >= 0 in `units`. Decimal numbers ("0.4", "4e-1") with or without one of the
 * suffixes mm, cm, m, in; a blank may stand between. Errors (ERROR_USAGE): not such a text; a suffix where
 * the file's units are unknown. */
bool length_parse(const char *text, enum run_units units, double *length, struct error *err);

/* A decimal number at the start of text: sign, digits, point, exponent; no hex, no words, no blanks. Returns
 * the first character after it, NULL when there is none or it overflows. The program never calls setlocale,
 * so that the point is always '.'. */
const char *decimal_parse(const char *text, double *number);

#endif
