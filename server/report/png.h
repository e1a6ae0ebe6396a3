/* png.h - a panel's pixels as PNG. */
#ifndef REPORT_PNG_H
#define REPORT_PNG_H

#include "base/error.h"
#include "report/document.h"

/* The caller frees *bytes. ERROR_MACHINE when memory is out. */
bool png_write(const struct document_panel *panel, unsigned char **bytes, size_t *size, struct error *err);

#endif
