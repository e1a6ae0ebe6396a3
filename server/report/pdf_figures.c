/* pdf_figures.c - panels with rings, legends, bars. */
#include "report/pdf_figures.h"

#include "picture/surface_view.h"

#include <math.h>
#include <string.h>

#define GAP 6.0 /* between panels */
#define TITLE_HEIGHT 10.0
#define LEGEND_HEIGHT 28.0
#define LEGEND_WIDTH 170.0
#define CHART_HEIGHT 56.0 /* of the bars */
#define CHART_GAP 16.0

static const struct text_look title_look = {FONT_SANS, 6.5, 1.4, ALIGN_LEFT, true},
                              ring_look = {FONT_SANS_BOLD, 6, 1.2, ALIGN_CENTRE, false},
                              caption_look = {FONT_SANS, 7, 1.35, ALIGN_LEFT, false},
                              chart_look = {FONT_SANS_BOLD, 7, 1.4, ALIGN_LEFT, true},
                              tick_look = {FONT_SANS, 6, 1.3, ALIGN_CENTRE, true},
                              left_tick_look = {FONT_SANS, 6, 1.3, ALIGN_LEFT, true};

/* --- panels --- */

static void draw_pixels(const struct pages *pages, const struct document_panel *panel, double x, double y,
                        double width)
{
    cairo_t *cairo = pages->cairo;
    cairo_surface_t *image =
        cairo_image_surface_create_for_data((unsigned char *)panel->pixels, CAIRO_FORMAT_RGB24,
                                            (int)panel->width, (int)panel->height, (int)(4 * panel->width));
    double scale = width / (double)panel->width;
    cairo_save(cairo);
    cairo_translate(cairo, x, y);
    cairo_scale(cairo, scale, scale);
    cairo_set_source_surface(cairo, image, 0, 0);
    cairo_paint(cairo);
    cairo_restore(cairo);
    cairo_surface_destroy(image);
}

static void draw_ring(const struct pages *pages, const struct document_ring *ring, double x, double y,
                      double width)
{
    cairo_t *cairo = pages->cairo;
    double cx = x + ring->x * width, cy = y + ring->y * width, r = ring->radius * width;
    cairo_new_sub_path(cairo);
    cairo_arc(cairo, cx, cy, r, 0, 6.283185307179586);
    pages_ink(pages, INK_WHITE);
    cairo_set_line_width(cairo, 1.8);
    cairo_stroke_preserve(cairo);
    pages_ink(pages, INK);
    cairo_set_line_width(cairo, 0.7);
    cairo_stroke(cairo);
}

/* Up to the right of its ring, or to the other side where the picture ends. */
static void draw_number(struct pages *pages, const struct document_panel *panel,
                        const struct document_ring *ring, double x, double y, double width)
{
    double off = 0.7 * ring->radius * width, wide = 16,
           tx = ring->x * width + off + 0.5 * wide > width ? ring->x * width - off - wide
                                                           : ring->x * width + off - 4,
           ty = ring->y * width - off - 7;
    double high = width * (double)panel->height / (double)panel->width;
    ty = ty < 0 ? ring->y * width + off : ty > high - 8 ? high - 8 : ty;
    struct typeset_text *label = typeset_begin(pages->typeset, &ring_look, ring->label, wide);
    if (!label) {
        pages->failed = true;
        return;
    }
    pages_ink(pages, INK);
    typeset_draw(label, x + tx, y + ty, 1.6);
    typeset_end(label);
}

static void draw_panel(struct pages *pages, const struct document_panel *panel, double x, double y,
                       double width)
{
    double high = width * (double)panel->height / (double)panel->width;
    if (pages->drawing) {
        cairo_save(pages->cairo);
        cairo_rectangle(pages->cairo, x, y, width, high);
        cairo_clip(pages->cairo);
        draw_pixels(pages, panel, x, y, width);
        for (size_t i = 0; i < panel->ring_count; i++)
            draw_ring(pages, &panel->rings[i], x, y, width);
        for (size_t i = 0; i < panel->ring_count; i++)
            draw_number(pages, panel, &panel->rings[i], x, y, width);
        cairo_restore(pages->cairo);
    }
    pages_text(pages, &title_look, INK_2, panel->title, x, y + high + 1, width);
}

/* --- the legend --- */

static void draw_bar(const struct pages *pages, const struct document_figure *figure, double x, double y)
{
    cairo_t *cairo = pages->cairo;
    cairo_pattern_t *map = cairo_pattern_create_linear(x, 0, x + LEGEND_WIDTH, 0);
    for (int i = 0; i < SURFACE_COLOURS; i++)
        cairo_pattern_add_color_stop_rgb(map, i / (SURFACE_COLOURS - 1.0), surface_colours[i][0] / 255.0,
                                         surface_colours[i][1] / 255.0, surface_colours[i][2] / 255.0);
    cairo_move_to(cairo, x, y);
    cairo_line_to(cairo, x + LEGEND_WIDTH, y);
    if (figure->legend_goes_on)
        cairo_line_to(cairo, x + LEGEND_WIDTH + 7, y + 4);
    cairo_line_to(cairo, x + LEGEND_WIDTH, y + 8);
    cairo_line_to(cairo, x, y + 8);
    cairo_close_path(cairo);
    cairo_set_source(cairo, map);
    cairo_fill_preserve(cairo);
    pages_ink(pages, INK);
    cairo_set_line_width(cairo, 0.4);
    cairo_stroke(cairo);
    cairo_pattern_destroy(map);
}

static void draw_legend(struct pages *pages, const struct document_figure *figure, double x, double y)
{
    const char *const ticks[] = {figure->legend_low, figure->legend_middle, figure->legend_high};
    pages_text(pages, &left_tick_look, INK_2, figure->legend_title, x, y, LEGEND_WIDTH);
    if (pages->drawing)
        draw_bar(pages, figure, x, y + 9);
    for (int i = 0; i < 3; i++)
        pages_text(pages, &tick_look, INK, ticks[i], x + 0.5 * i * LEGEND_WIDTH - 30, y + 18, 60);
    if (figure->legend_goes_on)
        pages_text(pages, &left_tick_look, INK_2, "and more", x + LEGEND_WIDTH + 11, y + 9, 60);
}

/* --- figures --- */

static double row_height(const struct document_figure *figure, double width)
{
    double tallest = 0;
    for (size_t i = 0; i < figure->panel_count; i++)
        tallest = fmax(tallest, width * (double)figure->panels[i].height / (double)figure->panels[i].width);
    return tallest + TITLE_HEIGHT;
}

void pdf_figure(struct pages *pages, const struct document_figure *figure)
{
    double width = (PAGES_INNER - GAP * (double)(figure->columns - 1)) / (double)figure->columns,
           row = row_height(figure, width),
           rows = ceil((double)figure->panel_count / (double)figure->columns),
           legend = figure->has_legend ? LEGEND_HEIGHT : 0,
           beside = figure->has_legend ? LEGEND_WIDTH + 68 : 0,
           caption = pages_text_height(pages, &caption_look, figure->caption, PAGES_INNER - beside),
           foot = fmax(legend, caption);
    pages_need(pages, rows * row + foot + 9);
    for (size_t i = 0; i < figure->panel_count; i++) {
        size_t across = i % figure->columns, down = i / figure->columns;
        draw_panel(pages, &figure->panels[i], PAGES_MARGIN + (width + GAP) * (double)across,
                   pages->y + row * (double)down, width);
    }
    pages->y += rows * row + 2;
    if (figure->has_legend)
        draw_legend(pages, figure, PAGES_MARGIN + PAGES_INNER - LEGEND_WIDTH - 50, pages->y);
    pages_text(pages, &caption_look, INK_2, figure->caption, PAGES_MARGIN, pages->y, PAGES_INNER - beside);
    pages->y += foot + 7;
}

/* --- charts --- */

static void draw_bars(const struct pages *pages, const struct document_chart *chart, double x, double y,
                      double step)
{
    cairo_t *cairo = pages->cairo;
    for (size_t i = 0; i < chart->bar_count; i++) {
        const struct document_bar *bar = &chart->bars[i];
        double at = x + step * (double)i, high = CHART_HEIGHT * bar->share / chart->most,
               other = isnan(bar->share_of_other) ? 0 : CHART_HEIGHT * bar->share_of_other / chart->most;
        cairo_rectangle(cairo, at, y + CHART_HEIGHT - high, step, high);
        pages_ink(pages, INK_FILL);
        cairo_fill_preserve(cairo);
        pages_ink(pages, INK_2);
        cairo_set_line_width(cairo, 0.3);
        cairo_stroke(cairo);
        if (!(other > 0))
            continue;
        cairo_move_to(cairo, at + 0.4, y + CHART_HEIGHT);
        cairo_line_to(cairo, at + 0.4, y + CHART_HEIGHT - other);
        cairo_line_to(cairo, at + step - 0.4, y + CHART_HEIGHT - other);
        cairo_line_to(cairo, at + step - 0.4, y + CHART_HEIGHT);
        pages_ink(pages, INK);
        cairo_set_line_width(cairo, 0.9);
        cairo_stroke(cairo);
    }
}

/* Of the longest label, in digits some 0.62 of the size wide. */
static double label_width(const struct document_chart *chart)
{
    size_t longest = 1;
    for (size_t i = 0; i < chart->bar_count; i++) {
        size_t letters = chart->bars[i].label ? strlen(chart->bars[i].label) : 0;
        longest = letters > longest ? letters : longest;
    }
    return 4.0 * (double)longest + 5;
}

static void draw_chart(struct pages *pages, const struct document_chart *chart, double x, double y,
                       double width)
{
    double step = fmin(16, width / (double)chart->bar_count), label = label_width(chart);
    size_t every = (size_t)ceil(label / step);
    pages_text(pages, &chart_look, INK, chart->title, x, y, width);
    pages_text(pages, &left_tick_look, INK_2, chart->top, x, y + 10, width);
    y += 19;
    if (pages->drawing)
        draw_bars(pages, chart, x, y, step);
    pages_line(pages, x, y + CHART_HEIGHT, width, 0.6, INK);
    for (size_t i = 0; i < chart->bar_count; i += every)
        if (chart->bars[i].label)
            pages_text(pages, &tick_look, INK, chart->bars[i].label,
                       x + step * ((double)i + 0.5) - 0.5 * label, y + CHART_HEIGHT + 2, label);
    pages_text(pages, &caption_look, INK_2, chart->note, x, y + CHART_HEIGHT + 11, width);
}

void pdf_charts(struct pages *pages, const struct document_charts *charts)
{
    double width = (PAGES_INNER - CHART_GAP * 2) / 3, note = 0;
    for (size_t i = 0; i < charts->count; i++)
        note = fmax(note, pages_text_height(pages, &caption_look, charts->items[i].note, width));
    double height = 19 + CHART_HEIGHT + 11 + note + 4;
    pages_need(pages, height);
    for (size_t i = 0; i < charts->count; i++)
        draw_chart(pages, &charts->items[i], PAGES_MARGIN + (width + CHART_GAP) * (double)i, pages->y, width);
    pages->y += height;
}
