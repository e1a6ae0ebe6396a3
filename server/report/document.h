/* document.h - a report before it has a form: what is said, in order, with no word on how it looks.
 *
 * compose.h makes one; pdf.h and html.h print it, so that both say the same. Every text is UTF-8 and may hold
 * anything that somebody typed: who prints it escapes and wraps it. All belongs to one arena. */
#ifndef REPORT_DOCUMENT_H
#define REPORT_DOCUMENT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Told by shape as well as by word: round is in order, square is not, a lozenge is not known; filled is
 * judged, hollow is not. */
enum document_mark {
    MARK_NONE,
    MARK_CONFORMS,         /* a disc */
    MARK_DOES_NOT_CONFORM, /* a square */
    MARK_UNDECIDED,        /* a lozenge */
    MARK_FAULT,            /* a square */
    MARK_WARNING,          /* a square half filled */
    MARK_NOTE,             /* a hollow square */
};

/* Said large, at the top. */
struct document_verdict {
    enum document_mark mark;
    const char *word, *sentence;
};

enum text_form { TEXT_BODY, TEXT_QUIET };

struct document_entry {
    const char *name, *value;
    bool is_code; /* digests, file names, catalogue numbers */
};
struct document_entries {
    size_t count, room;
    struct document_entry *items;
};

struct document_column {
    const char *title;
    double share;   /* of the width, in any unit */
    bool is_number; /* to the right */
};
struct document_cell {
    const char *text;
    enum document_mark mark;
    bool is_strong;
};
struct document_row {
    struct document_cell *cells; /* [column_count] */
    size_t note_count;
    const char *notes[6]; /* said below the row, across its columns but the first */
    bool is_open;         /* undecided: laid on a ground of its own */
};
struct document_table {
    const char *caption; /* for who cannot see it */
    size_t column_count, row_count, row_room;
    const struct document_column *columns;
    struct document_row *rows;
    bool is_fine; /* set small: to look up, not to read through */
};

/* A ring about a place of a picture, as shares of its width from its top left corner, with a number. */
struct document_ring {
    double x, y, radius;
    char label[24];
};
struct document_panel {
    const char *title, *said; /* said: what a reader who cannot see it is told */
    size_t width, height;     /* pixels */
    uint32_t *pixels;         /* [height][width] 0xffRRGGBB */
    size_t ring_count;
    struct document_ring rings[16];
};
enum { LEGEND_STOPS = 9 };
struct document_figure {
    const char *caption;
    size_t panel_count;
    struct document_panel *panels;
    size_t columns; /* panels beside each other */
    bool has_legend;
    const char *legend_title, *legend_low, *legend_middle, *legend_high;
    bool legend_goes_on; /* there are larger values, in the last colour */
};

struct document_bar {
    const char *label;            /* NULL: none below this one */
    double share, share_of_other; /* 0..1; other: the outline, NaN where there is none */
};
struct document_chart {
    const char *title, *note; /* note: what is along the axis, and in what unit */
    const char *said;         /* the same in words */
    const char *top;          /* the greatest share */
    double most;              /* of all shares */
    size_t bar_count;
    struct document_bar *bars;
};
struct document_charts {
    size_t count;
    struct document_chart items[4];
};

/* Where somebody signs, or signed. */
struct document_signature {
    const char *name, *lines[6]; /* name NULL: nobody yet */
    size_t line_count;
};
struct document_signatures {
    size_t count, room;
    struct document_signature *items;
};

enum block_kind {
    BLOCK_HEADING,
    BLOCK_TEXT,
    BLOCK_VERDICT,
    BLOCK_ENTRIES,
    BLOCK_TABLE,
    BLOCK_FIGURE,
    BLOCK_CHARTS,
    BLOCK_SIGNATURES,
};
struct document_block {
    enum block_kind kind;
    struct document_block *next;
    enum text_form form;
    union {
        const char *text; /* of BLOCK_HEADING and BLOCK_TEXT */
        struct document_verdict verdict;
        struct document_entries entries;
        struct document_table table;
        struct document_figure figure;
        struct document_charts charts;
        struct document_signatures signatures;
    };
};

struct document {
    const char *title, *number; /* of the specimen: its title, its catalogue number */
    const char *name;           /* what the document is called: "Audit 12 of NH-0042, cage 7" */
    const char *subject;        /* what it is about, in a sentence */
    const char *maker;          /* "fettle 0.1.0" */
    const char *created;        /* "2026-11-28T12:00:00Z": the only time in it */
    struct document_block *first, *last;
};

#endif
