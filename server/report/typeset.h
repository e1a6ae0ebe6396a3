/* typeset.h - lines of text by Pango, in the fonts of fonts.h alone.
 *
 * Pango, its shaper and GLib are loaded when the first PDF is made: a process that makes none, which most do,
 * neither waits for them nor holds them. Lengths are points, 1/72 inch. */
#ifndef REPORT_TYPESET_H
#define REPORT_TYPESET_H

#include "report/fonts.h"

#include <cairo/cairo.h>

struct typeset;
struct typeset_text; /* lines, broken */

/* For one drawing; ERROR_MACHINE where a font or the library is missing. The caller owes typeset_close. */
bool typeset_open(cairo_t *cairo, struct typeset **typeset, struct error *err);
void typeset_close(struct typeset *typeset);

enum text_align { ALIGN_LEFT, ALIGN_RIGHT, ALIGN_CENTRE };
struct text_look {
    enum font font;
    double size, lead; /* lead: distance of lines by the size */
    enum text_align align;
    bool one_line; /* cut with an ellipsis where it is too long */
};

/* Breaks text into lines at most `width` wide, within words where these are wider. Letters that no font has
 * and marks that turn the direction of what follows become their numbers: "[U+1F600]". NULL when memory is
 * out. The caller owes typeset_end. */
struct typeset_text *typeset_begin(struct typeset *typeset, const struct text_look *look, const char *text,
                                   double width);
void typeset_end(struct typeset_text *text);
double typeset_height(const struct typeset_text *text);
double typeset_width(const struct typeset_text *text); /* of the widest line */
size_t typeset_line_count(const struct typeset_text *text);
/* Of one line; lines are evenly spaced. */
double typeset_line_height(const struct typeset_text *text);
/* One line with its top at y, in the cairo's colour. */
void typeset_draw_line(const struct typeset_text *text, size_t line, double x, double y);
/* With a halo of that width in white, to stand on pictures; 0: none. */
void typeset_draw(const struct typeset_text *text, double x, double y, double halo);

#endif
