/* composer.h - what the files that compose a report share; nobody else includes it.
 *
 * Memory that runs out is remembered by the arena: what could not be had is "" or a spare thing, and
 * report_compose looks once, at the end. */
#ifndef REPORT_COMPOSER_H
#define REPORT_COMPOSER_H

#include "report/compose.h"
#include "json/node.h"

struct composer {
    struct store *store;
    const struct store_dossier *dossier;
    const struct measure_list *measures;
    struct arena *keep;
    struct document *document;
    const struct json_t *record, *audit;
    const char *units;           /* of lengths: "mm", or "" where unknown */
    struct document_block spare; /* where memory is out */
    struct document_row spare_row;
    struct document_cell spare_cells[8];
};

/* --- composer.c --- */

const char *say(const struct composer *composer, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* "0.0207", the shortest text that reads back as the number rounded to six digits; "not defined". */
const char *say_number(const struct composer *composer, double value);
/* "0.616 to 0.628 mm", its ends rounded away from each other; one number where they are the same. */
const char *say_interval(const struct composer *composer, double lower, double upper, const char *unit);
/* "2026-11-28 12:00:00 UTC" */
const char *say_time(const struct composer *composer, const char *time);
const char *say_label(const struct composer *composer, const struct store_version *version); /* "cage 7" */

struct document_block *add_block(struct composer *composer, enum block_kind kind);
void add_heading(struct composer *composer, const char *text);
void add_text(struct composer *composer, enum text_form form, const char *text);
/* Nothing where value is "" or NULL. */
void add_entry(struct composer *composer, struct document_entries *entries, const char *name,
               const char *value, bool is_code);
struct document_table *add_table(struct composer *composer, const char *caption,
                                 const struct document_column *columns, size_t column_count);
struct document_row *add_row(struct composer *composer, struct document_table *table);
/* Nothing where it is "" or NULL, or the row is full. */
void add_note(struct document_row *row, const char *note);
struct document_signature *add_signature(struct composer *composer, struct document_signatures *signatures);

/* --- the parts --- */

void compose_verdict(struct composer *composer);                    /* compose_rules.c */
void compose_rules(struct composer *composer);                      /* compose_rules.c */
void compose_definitions(struct composer *composer);                /* compose_rules.c */
bool compose_figures(struct composer *composer, struct error *err); /* compose_figures.c */
void compose_deviation(struct composer *composer);                  /* compose_measures.c */
void compose_charts(struct composer *composer);                     /* compose_measures.c */
void compose_findings(struct composer *composer);                   /* compose_measures.c */
/* The `limit` findings that the report lists, worst first: indices into the record's list. */
size_t compose_worst(const struct composer *composer, size_t limit, size_t *worst);
bool compose_signatures(struct composer *composer, struct error *err); /* compose_signatures.c */

#endif
