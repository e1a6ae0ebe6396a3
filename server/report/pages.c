/* pages.c - the head of the first page, running heads, page numbers, and lines. */
#include "report/pages.h"

#include <stdio.h>

#define TOP 62.0     /* below the running head */
#define BOTTOM 795.0 /* above the page number */
#define HEADING_SPACE 11.0
#define HEADING_BELOW 5.0

static const struct text_look heading_look = {FONT_SERIF_BOLD, 11, 1.2, ALIGN_LEFT, false},
                              title_look = {FONT_SERIF, 17, 1.2, ALIGN_LEFT, false},
                              number_look = {FONT_MONO, 9, 1.3, ALIGN_LEFT, false},
                              name_look = {FONT_SANS, 8.5, 1.4, ALIGN_LEFT, false},
                              running_left = {FONT_SANS, 7, 1.3, ALIGN_LEFT, true},
                              running_right = {FONT_SANS, 7, 1.3, ALIGN_RIGHT, true};

void pages_ink(const struct pages *pages, enum ink ink)
{
    static const unsigned char inks[][3] = {
        [INK] = {0x17, 0x21, 0x2b},        [INK_2] = {0x44, 0x51, 0x5d},    [INK_3] = {0x59, 0x65, 0x6f},
        [INK_RULE] = {0xb4, 0xc0, 0xc7},   [INK_WASH] = {0xec, 0xf0, 0xef}, [INK_FILL] = {0xb7, 0xc8, 0xde},
        [INK_MARGIN] = {0xb4, 0x47, 0x4c}, [INK_GOOD] = {0x0c, 0x65, 0x5f}, [INK_BAD] = {0xa0, 0x25, 0x2b},
        [INK_OPEN] = {0x75, 0x50, 0x00},   [INK_WHITE] = {0xff, 0xff, 0xff}};
    cairo_set_source_rgb(pages->cairo, inks[ink][0] / 255.0, inks[ink][1] / 255.0, inks[ink][2] / 255.0);
}

void pages_line(const struct pages *pages, double x, double y, double width, double thickness, enum ink ink)
{
    if (!pages->drawing)
        return;
    pages_ink(pages, ink);
    cairo_rectangle(pages->cairo, x, y, width, thickness);
    cairo_fill(pages->cairo);
}

double pages_text(struct pages *pages, const struct text_look *look, enum ink ink, const char *text, double x,
                  double y, double width)
{
    struct typeset_text *lines = typeset_begin(pages->typeset, look, text, width);
    if (!lines) {
        pages->failed = true;
        return 0;
    }
    double height = typeset_height(lines);
    if (pages->drawing) {
        pages_ink(pages, ink);
        typeset_draw(lines, x, y, 0);
    }
    typeset_end(lines);
    return height;
}

double pages_text_height(struct pages *pages, const struct text_look *look, const char *text, double width)
{
    bool drawing = pages->drawing;
    pages->drawing = false;
    double height = pages_text(pages, look, INK, text, 0, 0, width);
    pages->drawing = drawing;
    return height;
}

double pages_text_width(struct pages *pages, const struct text_look *look, const char *text, double width)
{
    struct typeset_text *lines = typeset_begin(pages->typeset, look, text, width);
    double widest = lines ? typeset_width(lines) : 0;
    pages->failed |= !lines;
    typeset_end(lines);
    return widest;
}

/* --- pages --- */

static void draw_page_number(struct pages *pages)
{
    char number[48];
    snprintf(number, sizeof number, "page %zu of %zu", pages->page, pages->page_count);
    pages_line(pages, PAGES_MARGIN, BOTTOM + 8, PAGES_INNER, 0.5, INK_RULE);
    pages_text(pages, &running_left, INK_3, pages->document->maker, PAGES_MARGIN, BOTTOM + 11,
               PAGES_INNER / 2);
    pages_text(pages, &running_right, INK_3, number, PAGES_MARGIN + PAGES_INNER / 2, BOTTOM + 11,
               PAGES_INNER / 2);
}

static void draw_running_head(struct pages *pages)
{
    char left[700];
    snprintf(left, sizeof left, "%s · %s", pages->document->number, pages->document->title);
    pages_text(pages, &running_left, INK_2, left, PAGES_MARGIN, 40, 0.6 * PAGES_INNER);
    pages_text(pages, &running_right, INK_2, pages->document->name, PAGES_MARGIN + 0.62 * PAGES_INNER, 40,
               0.38 * PAGES_INNER);
    pages_line(pages, PAGES_MARGIN, 51, PAGES_INNER, 0.5, INK);
}

static void turn_page(struct pages *pages)
{
    if (pages->drawing) {
        draw_page_number(pages);
        cairo_show_page(pages->cairo);
    }
    pages->page++;
    draw_running_head(pages);
    pages->y = TOP;
}

void pages_begin(struct pages *pages)
{
    const struct document *document = pages->document;
    pages->page = 1;
    pages->y = 40;
    pages->heading = NULL;
    pages->head = NULL;
    pages->y += pages_text(pages, &number_look, INK_2, document->number, PAGES_MARGIN, pages->y, PAGES_INNER);
    pages->y += pages_text(pages, &title_look, INK, document->title, PAGES_MARGIN, pages->y, PAGES_INNER);
    pages->y += pages_text(pages, &name_look, INK_2, document->name, PAGES_MARGIN, pages->y, PAGES_INNER) + 4;
    pages_line(pages, PAGES_MARGIN, pages->y, PAGES_INNER, 1.6, INK);
    pages_line(pages, PAGES_MARGIN, pages->y + 2.8, PAGES_INNER, 0.6, INK);
    pages->y += 11;
}

void pages_end(struct pages *pages)
{
    if (pages->drawing) {
        draw_page_number(pages);
        cairo_show_page(pages->cairo);
    }
}

double pages_left(const struct pages *pages)
{
    return BOTTOM - pages->y;
}

static double heading_height(const struct pages *pages)
{
    return pages->heading ? HEADING_SPACE + heading_look.lead * heading_look.size + HEADING_BELOW : 0;
}

static void draw_heading(struct pages *pages)
{
    const char *text = pages->heading;
    if (!text)
        return;
    pages->heading = NULL;
    pages->y += pages->y > TOP ? HEADING_SPACE : 0;
    pages->y += pages_text(pages, &heading_look, INK, text, PAGES_MARGIN, pages->y, PAGES_INNER);
    pages->y += HEADING_BELOW;
}

void pages_need(struct pages *pages, double height)
{
    if (pages->y > TOP && height + heading_height(pages) > pages_left(pages)) {
        turn_page(pages);
        if (pages->head && !pages->heading)
            pages->head(pages, pages->head_context);
    }
    draw_heading(pages);
}

void pages_flow(struct pages *pages, const struct text_look *look, enum ink ink, const char *text, double x,
                double width)
{
    struct typeset_text *lines = typeset_begin(pages->typeset, look, text, width);
    if (!lines) {
        pages->failed = true;
        return;
    }
    for (size_t i = 0; i < typeset_line_count(lines); i++) {
        pages_need(pages, typeset_line_height(lines));
        if (pages->drawing) {
            pages_ink(pages, ink);
            typeset_draw_line(lines, i, x, pages->y);
        }
        pages->y += typeset_line_height(lines);
    }
    typeset_end(lines);
}

/* --- marks --- */

static void square(cairo_t *cairo, double x, double y, double size)
{
    cairo_rectangle(cairo, x + 0.08 * size, y + 0.08 * size, 0.84 * size, 0.84 * size);
}

static void lozenge(cairo_t *cairo, double x, double y, double size, double right)
{
    cairo_move_to(cairo, x + 0.5 * size, y);
    cairo_line_to(cairo, x + right * size, right > 0.5 ? y + 0.5 * size : y + size);
    cairo_line_to(cairo, x + 0.5 * size, y + size);
    cairo_line_to(cairo, x, y + 0.5 * size);
    cairo_close_path(cairo);
}

static void cut_line(const struct pages *pages, double size)
{
    pages_ink(pages, INK_WHITE);
    cairo_set_line_width(pages->cairo, 0.13 * size);
    cairo_stroke(pages->cairo);
}

static void outline(const struct pages *pages, double size)
{
    cairo_set_line_width(pages->cairo, 0.09 * size);
    cairo_stroke(pages->cairo);
}

void pages_mark(const struct pages *pages, enum document_mark mark, double x, double y, double size)
{
    cairo_t *cairo = pages->cairo;
    if (!pages->drawing)
        return;
    switch (mark) {
    case MARK_NONE:
        return;
    case MARK_CONFORMS:
        pages_ink(pages, INK_GOOD);
        cairo_new_sub_path(cairo);
        cairo_arc(cairo, x + 0.5 * size, y + 0.5 * size, 0.48 * size, 0, 6.283185307179586);
        cairo_fill(cairo);
        cairo_move_to(cairo, x + 0.27 * size, y + 0.52 * size);
        cairo_line_to(cairo, x + 0.43 * size, y + 0.68 * size);
        cairo_line_to(cairo, x + 0.73 * size, y + 0.34 * size);
        cut_line(pages, size);
        return;
    case MARK_DOES_NOT_CONFORM:
        pages_ink(pages, INK_BAD);
        square(cairo, x, y, size);
        cairo_fill(cairo);
        cairo_move_to(cairo, x + 0.31 * size, y + 0.31 * size);
        cairo_line_to(cairo, x + 0.69 * size, y + 0.69 * size);
        cairo_move_to(cairo, x + 0.69 * size, y + 0.31 * size);
        cairo_line_to(cairo, x + 0.31 * size, y + 0.69 * size);
        cut_line(pages, size);
        return;
    case MARK_UNDECIDED:
        pages_ink(pages, INK_OPEN);
        lozenge(cairo, x, y, size, 0.5);
        cairo_fill(cairo);
        lozenge(cairo, x, y, size, 1);
        outline(pages, size);
        return;
    case MARK_FAULT:
    case MARK_WARNING:
    case MARK_NOTE:
        pages_ink(pages, INK_2);
        square(cairo, x, y, size);
        if (mark == MARK_FAULT)
            cairo_fill(cairo);
        else
            outline(pages, size);
        if (mark == MARK_WARNING) {
            cairo_move_to(cairo, x + 0.08 * size, y + 0.08 * size);
            cairo_line_to(cairo, x + 0.08 * size, y + 0.92 * size);
            cairo_line_to(cairo, x + 0.92 * size, y + 0.92 * size);
            cairo_close_path(cairo);
            cairo_fill(cairo);
        }
        return;
    }
}
