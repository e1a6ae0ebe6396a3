/* pdf.c - blocks on pages, by cairo's PDF surface. */
#include "report/pdf.h"

#include "report/bytes.h"
#include "report/pdf_figures.h"

#include <cairo/cairo-pdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct text_look body_look = {FONT_SANS, 7.8, 1.4, ALIGN_LEFT, false},
                              quiet_look = {FONT_SANS, 6.6, 1.32, ALIGN_LEFT, false},
                              word_look = {FONT_SERIF_BOLD, 14, 1.25, ALIGN_LEFT, false},
                              sum_look = {FONT_MONO, 6, 1.5, ALIGN_LEFT, false},
                              code_look = {FONT_MONO, 6.8, 1.35, ALIGN_LEFT, false};

#define HEADING_COMPANY 70.0 /* below a heading on its page at least */

/* --- verdict, texts, entries --- */

static void draw_verdict(struct pages *pages, const struct document_verdict *verdict)
{
    const double x = PAGES_MARGIN + 44, width = PAGES_INNER - 56;
    double word = pages_text_height(pages, &word_look, verdict->word, width),
           sentence = pages_text_height(pages, &body_look, verdict->sentence, width),
           height = word + sentence + 15;
    pages_need(pages, height + 8);
    if (pages->drawing) {
        pages_ink(pages, INK);
        cairo_set_line_width(pages->cairo, 1.2);
        cairo_rectangle(pages->cairo, PAGES_MARGIN + 0.6, pages->y + 0.6, PAGES_INNER - 1.2, height - 1.2);
        cairo_stroke(pages->cairo);
        cairo_set_line_width(pages->cairo, 0.4);
        cairo_rectangle(pages->cairo, PAGES_MARGIN + 3, pages->y + 3, PAGES_INNER - 6, height - 6);
        cairo_stroke(pages->cairo);
    }
    pages_mark(pages, verdict->mark, PAGES_MARGIN + 12, pages->y + 0.5 * height - 11, 22);
    pages_text(pages, &word_look, INK, verdict->word, x, pages->y + 6.5, width);
    pages_text(pages, &body_look, INK, verdict->sentence, x, pages->y + 7 + word, width);
    pages->y += height + 8;
}

static void draw_entry(struct pages *pages, const struct document_entry *entry)
{
    const double name_width = 0.2 * PAGES_INNER, x = PAGES_MARGIN + name_width + 8,
                 width = PAGES_INNER - name_width - 8;
    const struct text_look *look = entry->is_code ? &code_look : &body_look;
    double name = pages_text_height(pages, &body_look, entry->name, name_width),
           value = pages_text_height(pages, look, entry->value, width);
    pages_need(pages, fmin(fmax(name, value), 60) + 3);
    pages_text(pages, &body_look, INK_2, entry->name, PAGES_MARGIN, pages->y, name_width);
    double begun = pages->y;
    pages_flow(pages, look, INK, entry->value, x, width);
    pages->y = fmax(pages->y, pages->y >= begun ? begun + name : 0);
    for (double dot = 0; pages->drawing && dot < PAGES_INNER; dot += 3)
        pages_line(pages, PAGES_MARGIN + dot, pages->y + 0.8, 0.7, 0.5, INK_3);
    pages->y += 2.4;
}

static void draw_entries(struct pages *pages, const struct document_entries *entries)
{
    for (size_t i = 0; i < entries->count; i++)
        draw_entry(pages, &entries->items[i]);
    pages->y += 3;
}

static void draw_text(struct pages *pages, const struct document_block *block)
{
    bool quiet = block->form == TEXT_QUIET;
    if (pages->heading)
        pages_need(pages, HEADING_COMPANY);
    pages_flow(pages, quiet ? &quiet_look : &body_look, quiet ? INK_3 : INK, block->text, PAGES_MARGIN,
               PAGES_INNER);
    pages->y += 4;
}

/* --- tables --- */

#define CELL_GAP 7.0
#define ROW_PAD 1.8
#define MARK_SIZE 7.0
#define FINE 0.92

static const struct text_look cell_looks[2][2] = {
    {{FONT_SANS, 6.7, 1.34, ALIGN_LEFT, false}, {FONT_SANS_BOLD, 6.7, 1.34, ALIGN_LEFT, false}},
    {{FONT_SANS, 6.7, 1.34, ALIGN_RIGHT, false}, {FONT_SANS_BOLD, 6.7, 1.34, ALIGN_RIGHT, false}}};

struct column_place {
    double x, width;
};

static struct column_place place_column(const struct document_table *table, size_t column)
{
    double all = 0, before = 0, unit;
    for (size_t i = 0; i < table->column_count; i++)
        all += table->columns[i].share;
    for (size_t i = 0; i < column; i++)
        before += table->columns[i].share;
    unit = PAGES_INNER / all;
    bool last = column + 1 == table->column_count;
    return (struct column_place){PAGES_MARGIN + before * unit,
                                 table->columns[column].share * unit - (last ? 0 : CELL_GAP)};
}

static struct text_look cell_look(const struct document_table *table, size_t i,
                                  const struct document_cell *cell)
{
    const struct document_column *column = &table->columns[i];
    struct text_look look =
        strcmp(column->title, "SHA-256") == 0 ? sum_look : cell_looks[column->is_number][cell->is_strong];
    look.size *= table->is_fine ? FINE : 1;
    return look;
}

/* Also what it draws, when drawing is on. */
static double draw_cell(struct pages *pages, const struct document_table *table, size_t i,
                        const struct document_cell *cell, double y)
{
    struct column_place place = place_column(table, i);
    double indent = cell->mark == MARK_NONE ? 0 : MARK_SIZE + 3;
    struct text_look look = cell_look(table, i, cell);
    pages_mark(pages, cell->mark, place.x, y + 0.5 * (look.lead * look.size - MARK_SIZE), MARK_SIZE);
    double height = pages_text(pages, &look, INK, cell->text, place.x + indent, y, place.width - indent);
    if (cell->mark == MARK_DOES_NOT_CONFORM && *cell->text)
        pages_line(pages, place.x + indent, y + height - 1,
                   pages_text_width(pages, &look, cell->text, place.width - indent), 0.5, INK);
    return height;
}

static double row_height(struct pages *pages, const struct document_table *table,
                         const struct document_row *row)
{
    bool drawing = pages->drawing;
    double tallest = 0;
    pages->drawing = false;
    for (size_t i = 0; i < table->column_count; i++)
        tallest = fmax(tallest, draw_cell(pages, table, i, &row->cells[i], 0));
    pages->drawing = drawing;
    return tallest;
}

static void draw_table_head(struct pages *pages, const void *context)
{
    const struct document_table *table = context;
    double tallest = 0;
    pages_line(pages, PAGES_MARGIN, pages->y, PAGES_INNER, 1.2, INK);
    for (size_t i = 0; i < table->column_count; i++) {
        struct column_place place = place_column(table, i);
        tallest = fmax(tallest, pages_text(pages, &cell_looks[table->columns[i].is_number][0], INK_2,
                                           table->columns[i].title, place.x, pages->y + 2.5, place.width));
    }
    pages->y += tallest + 4;
    pages_line(pages, PAGES_MARGIN, pages->y, PAGES_INNER, 0.5, INK);
    pages->y += ROW_PAD;
}

/* The notes of a row begin at its second column. */
static double notes_height(struct pages *pages, const struct document_table *table,
                           const struct document_row *row)
{
    double x = place_column(table, 1).x, height = 0;
    for (size_t i = 0; i < row->note_count; i++)
        height += pages_text_height(pages, &quiet_look, row->notes[i], PAGES_MARGIN + PAGES_INNER - x);
    return height;
}

static void draw_row(struct pages *pages, const struct document_table *table, const struct document_row *row)
{
    double height = row_height(pages, table, row), notes = notes_height(pages, table, row),
           x = place_column(table, 1).x;
    pages_need(pages, height + fmin(notes, 120) + 2 * ROW_PAD);
    if (row->is_open && height + notes < pages_left(pages))
        pages_line(pages, PAGES_MARGIN, pages->y - ROW_PAD, PAGES_INNER, height + notes + 2 * ROW_PAD,
                   INK_WASH);
    for (size_t i = 0; i < table->column_count; i++)
        draw_cell(pages, table, i, &row->cells[i], pages->y);
    pages->y += height;
    for (size_t i = 0; i < row->note_count; i++)
        pages_flow(pages, &quiet_look, INK_2, row->notes[i], x, PAGES_MARGIN + PAGES_INNER - x);
    pages->y += ROW_PAD;
    pages_line(pages, PAGES_MARGIN, pages->y, PAGES_INNER, 0.35, INK_RULE);
    pages->y += ROW_PAD;
}

static void draw_table(struct pages *pages, const struct document_table *table)
{
    double first = table->row_count ? row_height(pages, table, &table->rows[0]) : 0;
    pages_need(pages, fmin(first, 100) + 40);
    draw_table_head(pages, table);
    pages->head = draw_table_head;
    pages->head_context = table;
    for (size_t i = 0; i < table->row_count; i++)
        draw_row(pages, table, &table->rows[i]);
    pages->head = NULL;
    pages_line(pages, PAGES_MARGIN, pages->y - ROW_PAD - 0.35, PAGES_INNER, 1.2, INK);
    pages->y += 4;
}

/* --- signatures --- */

static double draw_signature(struct pages *pages, const struct document_signature *signature, double x,
                             double y, double width)
{
    static const struct text_look name_look = {FONT_SERIF, 11, 1.3, ALIGN_LEFT, false};
    double top = y + 22;
    if (signature->name)
        top = y + 4 + pages_text(pages, &name_look, INK, signature->name, x, y + 4, width);
    pages_line(pages, x, top, width, 0.8, INK);
    top += 2.5;
    if (!signature->name)
        top += pages_text(pages, &quiet_look, INK_3, "Name, date", x, top, width);
    for (size_t i = 0; i < signature->line_count; i++)
        top += pages_text(pages, &quiet_look, INK_2, signature->lines[i], x, top, width);
    return top - y;
}

static double signature_height(struct pages *pages, const struct document_signature *signature, double width)
{
    bool drawing = pages->drawing;
    pages->drawing = false;
    double height = draw_signature(pages, signature, 0, 0, width);
    pages->drawing = drawing;
    return height;
}

static void draw_signatures(struct pages *pages, const struct document_signatures *signatures)
{
    const double gap = 24, width = signatures->count == 1 ? PAGES_INNER : (PAGES_INNER - gap) / 2;
    for (size_t i = 0; i < signatures->count; i += 2) {
        size_t pair = signatures->count - i < 2 ? 1 : 2;
        double tallest = 0;
        for (size_t k = 0; k < pair; k++)
            tallest = fmax(tallest, signature_height(pages, &signatures->items[i + k], width));
        pages_need(pages, tallest + 6);
        for (size_t k = 0; k < pair; k++)
            draw_signature(pages, &signatures->items[i + k], PAGES_MARGIN + (width + gap) * (double)k,
                           pages->y, width);
        pages->y += tallest + 6;
    }
}

/* --- all --- */

static void draw_block(struct pages *pages, const struct document_block *block)
{
    switch (block->kind) {
    case BLOCK_HEADING:
        pages->heading = block->text;
        return;
    case BLOCK_TEXT:
        draw_text(pages, block);
        return;
    case BLOCK_VERDICT:
        draw_verdict(pages, &block->verdict);
        return;
    case BLOCK_ENTRIES:
        draw_entries(pages, &block->entries);
        return;
    case BLOCK_TABLE:
        draw_table(pages, &block->table);
        return;
    case BLOCK_FIGURE:
        pdf_figure(pages, &block->figure);
        return;
    case BLOCK_CHARTS:
        pdf_charts(pages, &block->charts);
        return;
    case BLOCK_SIGNATURES:
        draw_signatures(pages, &block->signatures);
        return;
    }
}

static void draw_all(struct pages *pages, bool drawing)
{
    pages->drawing = drawing;
    pages_begin(pages);
    for (const struct document_block *block = pages->document->first; block; block = block->next)
        draw_block(pages, block);
    pages_end(pages);
}

static void describe(cairo_surface_t *surface, const struct document *document)
{
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, document->name);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_SUBJECT, document->subject);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, document->maker);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, document->created);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_MOD_DATE, document->created);
}

static bool draw_twice(struct pages *pages, struct error *err)
{
    if (!typeset_open(pages->cairo, &pages->typeset, err))
        return false;
    draw_all(pages, false);
    pages->page_count = pages->page;
    draw_all(pages, true);
    typeset_close(pages->typeset);
    return !pages->failed || error_set(err, ERROR_MACHINE, "memory is out while writing a report");
}

bool pdf_write(const struct document *document, char **out, size_t *size, struct error *err)
{
    struct bytes bytes = {NULL, 0, 0};
    cairo_surface_t *surface =
        cairo_pdf_surface_create_for_stream(bytes_take, &bytes, PAGES_WIDTH, PAGES_HEIGHT);
    cairo_pdf_surface_restrict_to_version(surface, CAIRO_PDF_VERSION_1_5);
    describe(surface, document);
    struct pages pages = {.document = document, .cairo = cairo_create(surface)};
    bool ok = draw_twice(&pages, err);
    cairo_status_t status = cairo_status(pages.cairo);
    cairo_destroy(pages.cairo);
    cairo_surface_finish(surface);
    if (status == CAIRO_STATUS_SUCCESS)
        status = cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    if (ok && status != CAIRO_STATUS_SUCCESS)
        ok = error_set(err, ERROR_MACHINE, "the report cannot be drawn: %s", cairo_status_to_string(status));
    if (!ok) {
        free(bytes.bytes);
        return false;
    }
    *out = (char *)bytes.bytes;
    *size = bytes.size;
    return true;
}
