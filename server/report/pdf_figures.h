/* pdf_figures.h - pictures and charts on pages; inside of the PDF writer only. */
#ifndef REPORT_PDF_FIGURES_H
#define REPORT_PDF_FIGURES_H

#include "report/pages.h"

void pdf_figure(struct pages *pages, const struct document_figure *figure);
void pdf_charts(struct pages *pages, const struct document_charts *charts);

#endif
