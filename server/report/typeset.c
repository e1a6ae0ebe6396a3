/* typeset.c - Pango, loaded at first use. */
#include "report/typeset.h"

#include <dlfcn.h>
#include <fontconfig/fontconfig.h>
#include <pango/pangocairo.h>
#include <pango/pangofc-fontmap.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* All are found through this one, which depends on the others. */
#define LIBRARY "libpangocairo-1.0.so.0"

/* clang-format off */
#define FUNCTIONS(each) \
    each(pango_cairo_font_map_new) \
    each(pango_cairo_update_context) \
    each(pango_cairo_show_layout_line) \
    each(pango_cairo_layout_line_path) \
    each(pango_fc_font_map_set_config) \
    each(pango_font_map_create_context) \
    each(pango_context_set_round_glyph_positions) \
    each(pango_layout_new) \
    each(pango_layout_set_text) \
    each(pango_layout_set_width) \
    each(pango_layout_set_wrap) \
    each(pango_layout_set_ellipsize) \
    each(pango_layout_set_alignment) \
    each(pango_layout_set_font_description) \
    each(pango_layout_get_line_count) \
    each(pango_layout_get_line_readonly) \
    each(pango_layout_get_iter) \
    each(pango_layout_iter_get_line_extents) \
    each(pango_layout_iter_next_line) \
    each(pango_layout_iter_free) \
    each(pango_layout_set_single_paragraph_mode) \
    each(pango_font_description_new) \
    each(pango_font_description_free) \
    each(pango_font_description_set_family) \
    each(pango_font_description_set_weight) \
    each(pango_font_description_set_absolute_size) \
    each(pango_layout_set_attributes) \
    each(pango_attr_list_new) \
    each(pango_attr_list_insert) \
    each(pango_attr_list_unref) \
    each(pango_attr_insert_hyphens_new) \
    each(g_object_unref) \
    each(FcConfigCreate) \
    each(FcConfigDestroy) \
    each(FcConfigSetCurrent) \
    each(FcConfigAppFontAddFile) \
    each(FcConfigGetFonts) \
    each(FcPatternGetCharSet) \
    each(FcCharSetHasChar)
/* clang-format on */

struct functions {
#define DECLARE(name) __typeof__(name) *(name);
    FUNCTIONS(DECLARE)
#undef DECLARE
};

/* What is loaded stays, the same for every thread. */
static pthread_mutex_t loading = PTHREAD_MUTEX_INITIALIZER;
static struct functions functions;
static FcConfig *fonts; /* NULL until all is loaded */

static bool load_functions(struct error *err)
{
    void *library = dlopen(LIBRARY, RTLD_NOW | RTLD_LOCAL);
    if (!library)
        return error_set(err, ERROR_MACHINE, "the library %s cannot be loaded: install libpangocairo-1.0-0",
                         LIBRARY);
#define LOAD(name)                                                                                           \
    *(void **)&functions.name = dlsym(library, #name);                                                       \
    if (!functions.name)                                                                                     \
        return error_set(err, ERROR_MACHINE, "the library %s has no %s: it is too old", LIBRARY, #name);
    FUNCTIONS(LOAD)
#undef LOAD
    return true;
}

static bool add_fonts(FcConfig *config, struct error *err)
{
    for (int i = 0; i < FONT_COUNT; i++) {
        char path[FONT_PATH_SIZE];
        font_path((enum font)i, path);
        if (!functions.FcConfigAppFontAddFile(config, (const FcChar8 *)path))
            return error_set(err, ERROR_MACHINE,
                             "the font %s is missing or damaged: install the package fonts-dejavu-core",
                             font_file((enum font)i));
    }
    return true;
}

static bool load_fonts(struct error *err)
{
    FcConfig *config = functions.FcConfigCreate();
    if (!config)
        return error_set(err, ERROR_MACHINE, "memory is out while writing a report");
    if (!add_fonts(config, err)) {
        functions.FcConfigDestroy(config);
        return false;
    }
    /* the system's own is never read, neither by Pango's threads nor by cairo */
    functions.FcConfigSetCurrent(config);
    fonts = config;
    return true;
}

static bool load(struct error *err)
{
    pthread_mutex_lock(&loading);
    bool ok = fonts || (load_functions(err) && load_fonts(err));
    pthread_mutex_unlock(&loading);
    return ok;
}

#define CHARSETS_MOST 16

struct typeset {
    const struct functions *call;
    cairo_t *cairo;
    PangoFontMap *map;
    PangoContext *context;
    size_t charset_count;
    FcCharSet *charsets[CHARSETS_MOST]; /* of the fonts; theirs */
};

struct typeset_text {
    const struct typeset *typeset;
    PangoLayout *layout;
    size_t line_count;
    double lead, size, width; /* width: that was to be had */
    double *starts;           /* of the lines, by their alignment */
    double widest;
};

/* --- opening --- */

static void find_letters(struct typeset *typeset)
{
    const FcFontSet *set = functions.FcConfigGetFonts(fonts, FcSetApplication);
    for (int i = 0; set && i < set->nfont && typeset->charset_count < CHARSETS_MOST; i++)
        if (functions.FcPatternGetCharSet(set->fonts[i], FC_CHARSET, 0,
                                          &typeset->charsets[typeset->charset_count])
            == FcResultMatch)
            typeset->charset_count++;
}

static bool open_context(struct typeset *typeset)
{
    const struct functions *call = typeset->call;
    typeset->map = call->pango_cairo_font_map_new();
    if (!typeset->map)
        return false;
    /* cast without GObject's checks, which would need its type functions */
    call->pango_fc_font_map_set_config((PangoFcFontMap *)(void *)typeset->map, fonts);
    typeset->context = call->pango_font_map_create_context(typeset->map);
    if (!typeset->context)
        return false;
    call->pango_cairo_update_context(typeset->cairo, typeset->context);
    call->pango_context_set_round_glyph_positions(typeset->context, FALSE); /* to whole points */
    return true;
}

bool typeset_open(cairo_t *cairo, struct typeset **out, struct error *err)
{
    if (!load(err))
        return false;
    struct typeset *typeset = calloc(1, sizeof *typeset);
    if (!typeset)
        return error_set(err, ERROR_MACHINE, "memory is out while writing a report");
    typeset->call = &functions;
    typeset->cairo = cairo;
    find_letters(typeset);
    if (!open_context(typeset)) {
        typeset_close(typeset);
        return error_set(err, ERROR_MACHINE, "memory is out while writing a report");
    }
    *out = typeset;
    return true;
}

void typeset_close(struct typeset *typeset)
{
    if (typeset->context)
        typeset->call->g_object_unref(typeset->context);
    if (typeset->map)
        typeset->call->g_object_unref(typeset->map);
    free(typeset);
}

/* --- letters --- */

/* The next character of UTF-8; what is malformed is U+FFFD, a byte at a time. */
static uint32_t next_letter(const char **at)
{
    const unsigned char *bytes = (const unsigned char *)*at;
    int more = bytes[0] >= 0xf0 ? 3 : bytes[0] >= 0xe0 ? 2 : bytes[0] >= 0xc0 ? 1 : 0;
    uint32_t letter = more == 3   ? bytes[0] & 7
                      : more == 2 ? bytes[0] & 15
                      : more == 1 ? bytes[0] & 31
                                  : bytes[0];
    bool bad = bytes[0] >= 0x80 && !more;
    for (int i = 1; i <= more && !bad; i++) {
        bad = (bytes[i] & 0xc0) != 0x80;
        letter = letter << 6 | (bytes[i] & 63);
    }
    *at += bad ? 1 : more + 1;
    return bad || letter > 0x10ffff || (letter & 0xfffff800) == 0xd800 ? 0xfffd : letter;
}

static bool turns_direction(uint32_t letter)
{
    return (letter >= 0x202a && letter <= 0x202e) || (letter >= 0x2066 && letter <= 0x2069);
}

static bool is_printable(const struct typeset *typeset, uint32_t letter)
{
    if (letter == '\n' || letter == ' ')
        return true;
    if (letter < 0x20 || letter == 0x7f || turns_direction(letter))
        return false;
    for (size_t i = 0; i < typeset->charset_count; i++)
        if (typeset->call->FcCharSetHasChar(typeset->charsets[i], letter))
            return true;
    return false;
}

/* The caller frees it; NULL when memory is out. */
static char *printable(const struct typeset *typeset, const char *text)
{
    enum { LONGEST = 10 }; /* "[U+10FFFF]" */
    char *out = malloc(LONGEST * strlen(text) + 1), *end = out;
    while (out && *text) {
        const char *from = text;
        uint32_t letter = next_letter(&text);
        if (letter == '\t')
            *end++ = ' ';
        else if (letter == 0xfffd || !is_printable(typeset, letter))
            end += sprintf(end, "[U+%04X]", (unsigned)letter);
        else {
            memcpy(end, from, (size_t)(text - from));
            end += text - from;
        }
    }
    if (out)
        *end = '\0';
    return out;
}

/* --- lines --- */

static PangoLayout *lay_out(const struct typeset *typeset, const struct text_look *look, const char *text,
                            double width)
{
    static const char *const families[FONT_COUNT] = {"DejaVu Sans", "DejaVu Sans", "DejaVu Serif",
                                                     "DejaVu Serif", "DejaVu Sans Mono"};
    const struct functions *call = typeset->call;
    PangoLayout *layout = call->pango_layout_new(typeset->context);
    PangoFontDescription *font = call->pango_font_description_new();
    call->pango_font_description_set_family(font, families[look->font]);
    call->pango_font_description_set_weight(
        font, look->font == FONT_SANS_BOLD || look->font == FONT_SERIF_BOLD ? PANGO_WEIGHT_BOLD
                                                                            : PANGO_WEIGHT_NORMAL);
    call->pango_font_description_set_absolute_size(font, look->size * PANGO_SCALE);
    call->pango_layout_set_font_description(layout, font);
    call->pango_font_description_free(font);
    call->pango_layout_set_text(layout, text, -1);
    call->pango_layout_set_width(layout, (int)(width * PANGO_SCALE));
    call->pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
    call->pango_layout_set_alignment(layout, look->align == ALIGN_RIGHT    ? PANGO_ALIGN_RIGHT
                                             : look->align == ALIGN_CENTRE ? PANGO_ALIGN_CENTER
                                                                           : PANGO_ALIGN_LEFT);
    /* a digest that is broken gets no hyphens */
    PangoAttrList *attributes = call->pango_attr_list_new();
    call->pango_attr_list_insert(attributes, call->pango_attr_insert_hyphens_new(FALSE));
    call->pango_layout_set_attributes(layout, attributes);
    call->pango_attr_list_unref(attributes);
    if (look->one_line) {
        call->pango_layout_set_single_paragraph_mode(layout, TRUE);
        call->pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
    }
    return layout;
}

/* Where each line begins, and the widest. */
static bool look_at_lines(struct typeset_text *text)
{
    const struct functions *call = text->typeset->call;
    text->line_count = (size_t)call->pango_layout_get_line_count(text->layout);
    text->starts = calloc(text->line_count + 1, sizeof *text->starts);
    PangoLayoutIter *iter = call->pango_layout_get_iter(text->layout);
    if (!text->starts || !iter)
        return false;
    for (size_t i = 0; i < text->line_count; i++) {
        PangoRectangle box;
        call->pango_layout_iter_get_line_extents(iter, NULL, &box);
        text->starts[i] = (double)box.x / PANGO_SCALE;
        double wide = (double)box.width / PANGO_SCALE;
        text->widest = wide > text->widest ? wide : text->widest;
        call->pango_layout_iter_next_line(iter);
    }
    call->pango_layout_iter_free(iter);
    return true;
}

struct typeset_text *typeset_begin(struct typeset *typeset, const struct text_look *look, const char *content,
                                   double width)
{
    char *letters = printable(typeset, content);
    struct typeset_text *text = calloc(1, sizeof *text);
    bool ok = letters && text;
    if (ok) {
        *text =
            (struct typeset_text){.typeset = typeset, .lead = look->lead, .size = look->size, .width = width};
        text->layout = lay_out(typeset, look, letters, width);
        ok = text->layout && look_at_lines(text);
    }
    free(letters);
    if (!ok && text) {
        typeset_end(text);
        text = NULL;
    }
    return text;
}

void typeset_end(struct typeset_text *text)
{
    if (!text)
        return;
    if (text->layout)
        text->typeset->call->g_object_unref(text->layout);
    free(text->starts);
    free(text);
}

double typeset_line_height(const struct typeset_text *text)
{
    return text->lead * text->size;
}

double typeset_height(const struct typeset_text *text)
{
    return (double)text->line_count * typeset_line_height(text);
}

double typeset_width(const struct typeset_text *text)
{
    return text->widest;
}

size_t typeset_line_count(const struct typeset_text *text)
{
    return text->line_count;
}

/* The baseline of DejaVu's capitals, which are 0.73 of the size high, in the middle of the line. */
static double baseline(const struct typeset_text *text)
{
    return 0.5 * (text->lead + 0.73) * text->size;
}

void typeset_draw_line(const struct typeset_text *text, size_t line, double x, double y)
{
    const struct typeset *typeset = text->typeset;
    PangoLayoutLine *shown = typeset->call->pango_layout_get_line_readonly(text->layout, (int)line);
    cairo_move_to(typeset->cairo, x + text->starts[line], y + baseline(text));
    typeset->call->pango_cairo_show_layout_line(typeset->cairo, shown);
}

static void draw_halo(const struct typeset_text *text, size_t line, double x, double y, double halo)
{
    const struct typeset *typeset = text->typeset;
    PangoLayoutLine *shown = typeset->call->pango_layout_get_line_readonly(text->layout, (int)line);
    cairo_save(typeset->cairo);
    cairo_move_to(typeset->cairo, x + text->starts[line], y + baseline(text));
    typeset->call->pango_cairo_layout_line_path(typeset->cairo, shown);
    cairo_set_source_rgb(typeset->cairo, 1, 1, 1);
    cairo_set_line_width(typeset->cairo, halo);
    cairo_set_line_join(typeset->cairo, CAIRO_LINE_JOIN_ROUND);
    cairo_stroke(typeset->cairo);
    cairo_restore(typeset->cairo);
}

void typeset_draw(const struct typeset_text *text, double x, double y, double halo)
{
    for (size_t i = 0; i < text->line_count; i++) {
        double top = y + (double)i * typeset_line_height(text);
        if (halo > 0)
            draw_halo(text, i, x, top, halo);
        typeset_draw_line(text, i, x, top);
    }
}
