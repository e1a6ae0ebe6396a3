/* pages.h - A4 pages that things are put on from the top down; inside of the PDF writer only.
 *
 * Everything is laid out twice: measured, which tells how many pages there are, then drawn. Lengths are
 * points, from the top left corner. */
#ifndef REPORT_PAGES_H
#define REPORT_PAGES_H

#include "report/document.h"
#include "report/typeset.h"

struct pages;
/* Draws the head of a table again at the top of a page. */
typedef void pages_head(struct pages *pages, const void *context);

struct pages {
    const struct document *document;
    cairo_t *cairo;
    struct typeset *typeset;
    bool drawing; /* else measuring */
    bool failed;  /* memory ran out */
    double y;
    size_t page, page_count; /* page_count: 0 while measuring */
    const char *heading;     /* waits for what it stands above */
    pages_head *head;        /* NULL: no table is being drawn */
    const void *head_context;
};

#define PAGES_WIDTH 595.276
#define PAGES_HEIGHT 841.89
#define PAGES_MARGIN 45.0
#define PAGES_INNER (PAGES_WIDTH - 2 * PAGES_MARGIN)

enum ink {
    INK,
    INK_2,
    INK_3,
    INK_RULE,
    INK_WASH,
    INK_FILL,
    INK_MARGIN,
    INK_GOOD,
    INK_BAD,
    INK_OPEN,
    INK_WHITE
};
void pages_ink(const struct pages *pages, enum ink ink);

void pages_begin(struct pages *pages);
void pages_end(struct pages *pages);
/* Room for so much in one piece, with the heading that waits; else on the next page. */
void pages_need(struct pages *pages, double height);
double pages_left(const struct pages *pages);

void pages_line(const struct pages *pages, double x, double y, double width, double thickness, enum ink ink);
/* Lines down from y, all on this page; returns their height. */
double pages_text(struct pages *pages, const struct text_look *look, enum ink ink, const char *text, double x,
                  double y, double width);
double pages_text_height(struct pages *pages, const struct text_look *look, const char *text, double width);
double pages_text_width(struct pages *pages, const struct text_look *look, const char *text, double width);
/* Lines from pages->y on, over as many pages as it takes; moves y. */
void pages_flow(struct pages *pages, const struct text_look *look, enum ink ink, const char *text, double x,
                double width);
/* The shape of a mark, in a square. */
void pages_mark(const struct pages *pages, enum document_mark mark, double x, double y, double size);

#endif
