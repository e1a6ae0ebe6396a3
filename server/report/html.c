/* html.c - blocks as HTML; every text goes through text_add_escaped. */
#include "report/html.h"

#include "picture/surface_view.h"
#include "report/png.h"
#include "report/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Colours are those of the page's tokens, on light ground; states are told by shape and word too. */
static const char style[] =
    ":root{--ink:#17212b;--ink-2:#44515d;--ink-3:#59656f;--rule:#c8d2d8;--wash:#e8edec;--sheet:#fcfdfb;"
    "--margin:#b4474c;--bad:#a0252b;--good:#0c655f;--open:#755000}"
    "*{box-sizing:border-box}"
    "html{background:#f3f5f2;color:var(--ink);font:14px/1.45 system-ui,'DejaVu Sans',sans-serif}"
    "body{margin:0 auto;max-width:66rem;padding:1.5rem;background:var(--sheet);overflow-wrap:anywhere}"
    "h1,h2{font-family:Georgia,'DejaVu Serif',serif;font-weight:600;line-height:1.2}"
    "h1{font-size:1.6rem;margin:0 0 .2rem}"
    "h2{font-size:1.15rem;margin:1.6rem 0 .4rem;border-bottom:1.5px solid var(--ink);padding-bottom:.1rem}"
    "header{border-bottom:5px double var(--ink);padding-bottom:.5rem;margin-bottom:1rem}"
    "header p{margin:0;color:var(--ink-2)}"
    ".code,code{font-family:ui-monospace,'DejaVu Sans Mono',monospace;font-size:.92em}"
    "p{margin:.3rem 0}.quiet{color:var(--ink-3);font-size:12px}"
    ".verdict{display:flex;gap:.8rem;align-items:center;border:3px double var(--ink);padding:.6rem .9rem}"
    ".verdict svg{width:1.9rem;height:1.9rem;flex:none}"
    ".verdict strong{font:600 1.35rem/1.2 Georgia,'DejaVu Serif',serif;display:block}"
    ".mark{width:.85em;height:.85em;vertical-align:-.08em;margin-right:.35em;flex:none}"
    "dl{display:grid;grid-template-columns:minmax(5.5rem,20%) 1fr;margin:.8rem 0;column-gap:1rem}"
    "dt,dd{border-bottom:1px dotted var(--rule);padding:.15rem 0;margin:0;white-space:pre-line}"
    "dt{color:var(--ink-2)}"
    ".wide{overflow-x:auto}"
    "table{border-collapse:collapse;table-layout:fixed;width:100%;min-width:46rem;border-top:1.5px solid "
    "var(--ink);"
    "border-bottom:1.5px solid var(--ink);font-size:13px;font-variant-numeric:tabular-nums lining-nums}"
    "th,td{padding:3px .5rem 3px 0;text-align:left;vertical-align:top}"
    "thead th{overflow-wrap:normal;font-weight:600;color:var(--ink-2);border-bottom:1px solid var(--ink)}"
    ".n{text-align:right}tbody{border-bottom:1px solid var(--rule)}"
    "tr.note td{color:var(--ink-2);padding-top:0;font-size:12px}"
    "tbody.open{background:var(--wash)}b.bad{text-decoration:underline}"
    "td.sum{font-family:ui-monospace,'DejaVu Sans Mono',monospace;font-size:10.5px}"
    "figure{margin:1rem 0;break-inside:avoid}"
    ".panels{display:grid;grid-template-columns:repeat(auto-fit,minmax(8.2rem,1fr));gap:.5rem}"
    ".panel{position:relative}.panel div{position:relative}"
    ".panel img,.panel svg{display:block;width:100%;height:auto}"
    ".panel div svg{position:absolute;inset:0;height:100%}"
    ".panel p{font-size:12px;color:var(--ink-2);margin:.15rem 0 0}"
    "figcaption{font-size:13px;color:var(--ink-2);margin-top:.4rem}"
    ".legend{width:100%;max-width:26rem;height:auto;display:block;margin-top:.4rem}"
    ".charts{display:grid;grid-template-columns:repeat(auto-fit,minmax(16rem,1fr));gap:1.2rem}"
    ".charts figure{margin:0}.charts svg{width:100%;height:auto;display:block}"
    "svg text{font-family:system-ui,'DejaVu Sans',sans-serif;fill:var(--ink)}"
    ".signatures{display:grid;grid-template-columns:repeat(auto-fit,minmax(18rem,1fr));gap:1.5rem}"
    ".signature{border-top:1.5px solid var(--ink);margin-top:2.4rem;padding-top:.3rem;break-inside:avoid}"
    ".signature p{margin:0;font-size:12px}.signature em{font:italic 1.1rem Georgia,'DejaVu Serif',serif}"
    "footer{margin-top:2rem;border-top:1px solid "
    "var(--rule);padding-top:.4rem;color:var(--ink-3);font-size:12px}"
    "@page{size:A4;margin:16mm}"
    "@media print{html,body{background:#fff}body{padding:0;max-width:none;font-size:9pt}"
    ".wide{overflow:visible}table{min-width:0}tbody,.signature,.charts figure{break-inside:avoid}"
    "h2{break-after:avoid}.panels{grid-template-columns:repeat(6,1fr)}}";

/* --- small parts --- */

static void add_element(struct text *out, const char *element, const char *content)
{
    text_add_format(out, "<%s>", element);
    text_add_escaped(out, content);
    text_add_format(out, "</%s>", element);
}

/* A text that somebody typed stands apart from the direction of what is around it. */
static void add_typed(struct text *out, const char *content)
{
    add_element(out, "bdi", content);
}

static void add_mark(struct text *out, enum document_mark mark)
{
    static const char *const shapes[] = {
        [MARK_CONFORMS] = "<circle cx='8' cy='8' r='7.5' fill='#0c655f'/>"
                          "<path d='M4.4 8.3l2.5 2.5 4.8-5.2' fill='none' stroke='#fff' stroke-width='2'/>",
        [MARK_DOES_NOT_CONFORM] = "<rect x='1' y='1' width='14' height='14' fill='#a0252b'/>"
                                  "<path d='M5 5l6 6M11 5l-6 6' stroke='#fff' stroke-width='2'/>",
        [MARK_UNDECIDED] =
            "<path d='M8 .8L15.2 8 8 15.2.8 8z' fill='#fff' stroke='#755000' stroke-width='1.4'/>"
            "<path d='M8 .8v14.4L.8 8z' fill='#755000'/>",
        [MARK_FAULT] = "<rect x='2' y='2' width='12' height='12' fill='#44515d'/>",
        [MARK_WARNING] =
            "<rect x='2' y='2' width='12' height='12' fill='#fff' stroke='#44515d' stroke-width='1.4'/>"
            "<path d='M2 2v12h12z' fill='#44515d'/>",
        [MARK_NOTE] =
            "<rect x='2' y='2' width='12' height='12' fill='#fff' stroke='#44515d' stroke-width='1.4'/>",
    };
    if (mark != MARK_NONE)
        text_add_format(out, "<svg class='mark' viewBox='0 0 16 16' aria-hidden='true'>%s</svg>",
                        shapes[mark]);
}

static void add_base64(struct text *out, const unsigned char *bytes, size_t size)
{
    static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    char line[4 * 1024 + 1];
    size_t used = 0;
    for (size_t i = 0; i < size; i += 3) {
        unsigned left = size - i < 3 ? (unsigned)(size - i) : 3;
        unsigned group = (unsigned)bytes[i] << 16 | (left > 1 ? (unsigned)bytes[i + 1] << 8 : 0)
                         | (left > 2 ? bytes[i + 2] : 0);
        line[used++] = letters[group >> 18];
        line[used++] = letters[group >> 12 & 63];
        line[used++] = left > 1 ? letters[group >> 6 & 63] : '=';
        line[used++] = left > 2 ? letters[group & 63] : '=';
        if (used == sizeof line - 1 || i + 3 >= size) {
            line[used] = '\0';
            text_add(out, line);
            used = 0;
        }
    }
}

/* --- blocks --- */

static void add_verdict(struct text *out, const struct document_verdict *verdict)
{
    text_add(out, "<div class='verdict'>");
    add_mark(out, verdict->mark);
    text_add(out, "<p>");
    add_element(out, "strong", verdict->word);
    text_add_escaped(out, verdict->sentence);
    text_add(out, "</p></div>");
}

static void add_entries(struct text *out, const struct document_entries *entries)
{
    text_add(out, "<dl>");
    for (size_t i = 0; i < entries->count; i++) {
        const struct document_entry *entry = &entries->items[i];
        add_element(out, "dt", entry->name);
        text_add(out, entry->is_code ? "<dd class='code'>" : "<dd>");
        add_typed(out, entry->value);
        text_add(out, "</dd>");
    }
    text_add(out, "</dl>");
}

static void add_cell(struct text *out, const struct document_column *column, const struct document_cell *cell)
{
    bool is_sum = strcmp(column->title, "SHA-256") == 0;
    text_add(out, column->is_number ? "<td class='n'>" : is_sum ? "<td class='sum'>" : "<td>");
    add_mark(out, cell->mark);
    if (cell->is_strong)
        text_add(out, cell->mark == MARK_DOES_NOT_CONFORM ? "<b class='bad'>" : "<b>");
    add_typed(out, cell->text);
    text_add(out, cell->is_strong ? "</b></td>" : "</td>");
}

static void add_table(struct text *out, const struct document_table *table)
{
    text_add(out, "<div class='wide' role='region' tabindex='0' aria-label=\"");
    text_add_escaped(out, table->caption);
    text_add(out, "\"><table><colgroup>");
    double all = 0;
    for (size_t i = 0; i < table->column_count; i++)
        all += table->columns[i].share;
    for (size_t i = 0; i < table->column_count; i++)
        text_add_format(out, "<col style='width:%.4g%%'>", 100 * table->columns[i].share / all);
    text_add(out, "</colgroup><thead><tr>");
    for (size_t i = 0; i < table->column_count; i++) {
        text_add(out, table->columns[i].is_number ? "<th scope='col' class='n'>" : "<th scope='col'>");
        text_add_escaped(out, table->columns[i].title);
        text_add(out, "</th>");
    }
    text_add(out, "</tr></thead>");
    for (size_t r = 0; r < table->row_count; r++) {
        const struct document_row *row = &table->rows[r];
        text_add(out, row->is_open ? "<tbody class='open'><tr>" : "<tbody><tr>");
        for (size_t i = 0; i < table->column_count; i++)
            add_cell(out, &table->columns[i], &row->cells[i]);
        text_add(out, "</tr>");
        for (size_t i = 0; i < row->note_count; i++) {
            text_add_format(out, "<tr class='note'><td></td><td colspan='%zu'>", table->column_count - 1);
            add_typed(out, row->notes[i]);
            text_add(out, "</td></tr>");
        }
        text_add(out, "</tbody>");
    }
    text_add(out, "</table></div>");
}

static void add_rings(struct text *out, const struct document_panel *panel)
{
    double high = (double)panel->height / (double)panel->width;
    text_add_format(out, "<svg viewBox='0 0 100 %.4f' aria-hidden='true'>", 100 * high);
    for (size_t i = 0; i < panel->ring_count; i++) {
        const struct document_ring *ring = &panel->rings[i];
        double x = 100 * ring->x, y = 100 * ring->y, r = 100 * ring->radius;
        double tx = x + 0.75 * r + 4 > 96 ? x - 0.75 * r - 4 : x + 0.75 * r + 4,
               ty = y - 0.75 * r - 3 < 5 ? y + 0.75 * r + 5 : y - 0.75 * r - 3;
        text_add_format(
            out,
            "<g fill='none'><circle cx='%.3f' cy='%.3f' r='%.3f' stroke='#fff' stroke-width='2'/>"
            "<circle cx='%.3f' cy='%.3f' r='%.3f' stroke='#101820' stroke-width='.8'/></g>"
            "<text x='%.3f' y='%.3f' font-size='8' text-anchor='middle' stroke='#fff' stroke-width='2' "
            "paint-order='stroke'>%s</text>",
            x, y, r, x, y, r, tx, ty + 2.5, ring->label);
    }
    text_add(out, "</svg>");
}

static bool add_panel(struct text *out, const struct document_panel *panel, struct error *err)
{
    unsigned char *png;
    size_t size;
    if (!png_write(panel, &png, &size, err))
        return false;
    text_add_format(out, "<div class='panel'><div><img width='%zu' height='%zu' alt=\"", panel->width,
                    panel->height);
    text_add_escaped(out, panel->said);
    text_add(out, "\" src='data:image/png;base64,");
    add_base64(out, png, size);
    text_add(out, "'>");
    free(png);
    add_rings(out, panel);
    text_add(out, "</div>");
    add_element(out, "p", panel->title);
    text_add(out, "</div>");
    return true;
}

static void add_legend(struct text *out, const struct document_figure *figure)
{
    size_t name = out->size; /* no other has it */
    text_add(out, "<svg class='legend' viewBox='0 0 270 34' role='img' aria-label=\"");
    text_add_escaped(out, figure->legend_title);
    text_add_format(out, "\"><defs><linearGradient id='map-%zu'>", name);
    for (int i = 0; i < SURFACE_COLOURS; i++)
        text_add_format(out, "<stop offset='%g' stop-color='#%02x%02x%02x'/>", i / (SURFACE_COLOURS - 1.0),
                        surface_colours[i][0], surface_colours[i][1], surface_colours[i][2]);
    text_add(out, "</linearGradient></defs><text x='4' y='9' font-size='8'>");
    text_add_escaped(out, figure->legend_title);
    text_add_format(
        out, "</text><path d='M4 12h196%sv9H4z' fill='url(#map-%zu)' stroke='#17212b' stroke-width='.5'/>",
        figure->legend_goes_on ? "l8 4.5-8 4.5v-9" : "", name);
    const char *const ticks[] = {figure->legend_low, figure->legend_middle, figure->legend_high};
    for (int i = 0; i < 3; i++) {
        text_add_format(out, "<text x='%d' y='31' font-size='8' text-anchor='%s'>", 4 + 98 * i,
                        i == 0 ? "start" : "middle");
        text_add_escaped(out, ticks[i]);
        text_add(out, "</text>");
    }
    text_add(out, figure->legend_goes_on ? "<text x='212' y='20' font-size='8'>and more</text>" : "");
    text_add(out, "</svg>");
}

static bool add_figure(struct text *out, const struct document_figure *figure, struct error *err)
{
    text_add(out, "<figure><div class='panels'>");
    for (size_t i = 0; i < figure->panel_count; i++)
        if (!add_panel(out, &figure->panels[i], err))
            return false;
    text_add(out, "</div>");
    if (figure->has_legend)
        add_legend(out, figure);
    add_element(out, "figcaption", figure->caption);
    text_add(out, "</figure>");
    return true;
}

static void add_chart(struct text *out, const struct document_chart *chart)
{
    double step = 232.0 / (double)chart->bar_count, wide = step > 26 ? 26 : step;
    size_t every = (size_t)ceil(34 / wide);
    text_add(out, "<figure><figcaption>");
    add_element(out, "strong", chart->title);
    text_add(out, "</figcaption><svg viewBox='0 0 240 112' role='img' aria-label=\"");
    text_add_escaped(out, chart->said);
    text_add(out, "\"><text x='2' y='9' font-size='8'>");
    text_add_escaped(out, chart->top);
    text_add(out, "</text>");
    for (size_t i = 0; i < chart->bar_count; i++) {
        const struct document_bar *bar = &chart->bars[i];
        double x = 4 + wide * (double)i, high = 84 * bar->share / chart->most,
               other = isnan(bar->share_of_other) ? 0 : 84 * bar->share_of_other / chart->most;
        text_add_format(
            out, "<path d='M%.2f %.2fh%.2fV97H%.2fz' fill='#b7c8de' stroke='#44515d' stroke-width='.4'/>", x,
            97 - high, wide, x);
        if (other > 0)
            text_add_format(out,
                            "<path d='M%.2f 97V%.2fh%.2fV97' fill='none' stroke='#17212b' stroke-width='1'/>",
                            x, 97 - other, wide);
        if (bar->label && i % every == 0) {
            text_add_format(out, "<text x='%.2f' y='107' font-size='8' text-anchor='middle'>",
                            x + 0.5 * wide);
            text_add_escaped(out, bar->label);
            text_add(out, "</text>");
        }
    }
    text_add(out, "<path d='M4 97h232' stroke='#17212b' stroke-width='.8'/></svg><p class='quiet'>");
    text_add_escaped(out, chart->note);
    text_add(out, "</p></figure>");
}

static void add_charts(struct text *out, const struct document_charts *charts)
{
    text_add(out, "<div class='charts'>");
    for (size_t i = 0; i < charts->count; i++)
        add_chart(out, &charts->items[i]);
    text_add(out, "</div>");
}

static void add_signatures(struct text *out, const struct document_signatures *signatures)
{
    text_add(out, "<div class='signatures'>");
    for (size_t i = 0; i < signatures->count; i++) {
        const struct document_signature *signature = &signatures->items[i];
        text_add(out, "<div class='signature'>");
        if (signature->name) {
            text_add(out, "<p><em>");
            add_typed(out, signature->name);
            text_add(out, "</em></p>");
        } else
            text_add(out, "<p class='quiet'>Name, date</p>");
        for (size_t l = 0; l < signature->line_count; l++)
            add_element(out, "p", signature->lines[l]);
        text_add(out, "</div>");
    }
    text_add(out, "</div>");
}

static bool add_block(struct text *out, const struct document_block *block, struct error *err)
{
    switch (block->kind) {
    case BLOCK_HEADING:
        add_element(out, "h2", block->text);
        return true;
    case BLOCK_TEXT:
        text_add(out, block->form == TEXT_QUIET ? "<p class='quiet'>" : "<p>");
        text_add_escaped(out, block->text);
        text_add(out, "</p>");
        return true;
    case BLOCK_VERDICT:
        add_verdict(out, &block->verdict);
        return true;
    case BLOCK_ENTRIES:
        add_entries(out, &block->entries);
        return true;
    case BLOCK_TABLE:
        add_table(out, &block->table);
        return true;
    case BLOCK_FIGURE:
        return add_figure(out, &block->figure, err);
    case BLOCK_CHARTS:
        add_charts(out, &block->charts);
        return true;
    case BLOCK_SIGNATURES:
        add_signatures(out, &block->signatures);
        return true;
    }
    return true;
}

static void add_head(struct text *out, const struct document *document)
{
    text_add(out, "<!DOCTYPE html>\n<html lang='en'><head><meta charset='utf-8'>"
                  "<meta http-equiv='Content-Security-Policy' content=\"" HTML_POLICY "\">"
                  "<meta name='viewport' content='width=device-width'><meta name='generator' content=\"");
    text_add_escaped(out, document->maker);
    text_add(out, "\">");
    add_element(out, "title", document->name);
    text_add(out, "<style>");
    text_add(out, style);
    text_add(out, "</style></head>\n<body><header>");
    text_add(out, "<p class='code'>");
    add_typed(out, document->number);
    text_add(out, "</p><h1>");
    add_typed(out, document->title);
    text_add(out, "</h1><p>");
    text_add_escaped(out, document->name);
    text_add(out, "</p></header><main>\n");
}

bool html_write(const struct document *document, char **bytes, size_t *size, struct error *err)
{
    struct text out = {NULL, 0, 0, false};
    bool ok = true;
    add_head(&out, document);
    for (const struct document_block *block = document->first; ok && block; block = block->next) {
        ok = add_block(&out, block, err);
        text_add(&out, "\n");
    }
    text_add(&out, "</main><footer>");
    text_add_escaped(&out, document->maker);
    text_add(&out, ", ");
    text_add_escaped(&out, document->created);
    text_add(&out, "</footer></body></html>\n");
    if (ok && out.failed)
        ok = error_set(err, ERROR_MACHINE, "memory is out while writing a report");
    if (!ok) {
        free(out.bytes);
        return false;
    }
    *bytes = out.bytes;
    *size = out.size;
    return true;
}
