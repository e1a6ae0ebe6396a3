/* composer.c - texts, blocks, rows. */
#include "report/composer.h"

#include "spec/judged.h"
#include "json/number.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

const char *say(const struct composer *composer, const char *format, ...)
{
    va_list arguments, again;
    va_start(arguments, format);
    va_copy(again, arguments);
    int size = vsnprintf(NULL, 0, format, arguments);
    char *text = ARENA_NEW(composer->keep, char, (size_t)(size > 0 ? size : 0) + 1);
    if (text)
        vsnprintf(text, (size_t)(size > 0 ? size : 0) + 1, format, again);
    va_end(again);
    va_end(arguments);
    return text ? text : "";
}

const char *say_number(const struct composer *composer, double value)
{
    char digits[NUMBER_TEXT_SIZE];
    if (!isfinite(value))
        return "not defined";
    number_write(judged_nearest(value), digits);
    return say(composer, "%s", digits);
}

const char *say_interval(const struct composer *composer, double lower, double upper, const char *unit)
{
    char low[NUMBER_TEXT_SIZE], high[NUMBER_TEXT_SIZE];
    const char *blank = *unit ? " " : "";
    if (!isfinite(lower) || !isfinite(upper))
        return "not defined";
    number_write(judged_down(lower), low);
    number_write(judged_up(upper), high);
    return strcmp(low, high) == 0 ? say(composer, "%s%s%s", low, blank, unit)
                                  : say(composer, "%s to %s%s%s", low, high, blank, unit);
}

const char *say_time(const struct composer *composer, const char *time)
{
    return time && strlen(time) == STORE_TIME_SIZE - 1 ? say(composer, "%.10s %.8s UTC", time, time + 11)
                                                       : "";
}

const char *say_label(const struct composer *composer, const struct store_version *version)
{
    return say(composer, "%s %lld", version->kind, (long long)version->number);
}

struct document_block *add_block(struct composer *composer, enum block_kind kind)
{
    struct document *document = composer->document;
    struct document_block *block = ARENA_ZERO(composer->keep, struct document_block, 1);
    if (!block) {
        memset(&composer->spare, 0, sizeof composer->spare);
        block = &composer->spare;
    } else if (document->last)
        document->last = document->last->next = block;
    else
        document->first = document->last = block;
    block->kind = kind;
    return block;
}

void add_heading(struct composer *composer, const char *text)
{
    add_block(composer, BLOCK_HEADING)->text = text;
}

void add_text(struct composer *composer, enum text_form form, const char *text)
{
    struct document_block *block = add_block(composer, BLOCK_TEXT);
    block->form = form;
    block->text = text;
}

/* Room for one more beyond count; NULL when memory is out. */
static void *grow(struct composer *composer, void *items, size_t count, size_t *room, size_t size)
{
    if (count < *room)
        return items;
    size_t wanted = *room ? 2 * *room : 8;
    void *grown = arena_calloc(composer->keep, wanted, size, 16);
    if (!grown)
        return NULL;
    if (count)
        memcpy(grown, items, count * size);
    *room = wanted;
    return grown;
}

void add_entry(struct composer *composer, struct document_entries *entries, const char *name,
               const char *value, bool is_code)
{
    if (!value || !*value)
        return;
    struct document_entry *items =
        grow(composer, entries->items, entries->count, &entries->room, sizeof *items);
    if (!items)
        return;
    entries->items = items;
    items[entries->count++] = (struct document_entry){name, value, is_code};
}

struct document_table *add_table(struct composer *composer, const char *caption,
                                 const struct document_column *columns, size_t column_count)
{
    struct document_table *table = &add_block(composer, BLOCK_TABLE)->table;
    table->caption = caption;
    table->columns = columns;
    table->column_count = column_count;
    return table;
}

struct document_row *add_row(struct composer *composer, struct document_table *table)
{
    struct document_row *rows = grow(composer, table->rows, table->row_count, &table->row_room, sizeof *rows);
    struct document_cell *cells = ARENA_ZERO(composer->keep, struct document_cell, table->column_count);
    if (!rows || !cells) {
        composer->spare_row = (struct document_row){.cells = composer->spare_cells};
        return &composer->spare_row;
    }
    table->rows = rows;
    rows[table->row_count] = (struct document_row){.cells = cells};
    for (size_t i = 0; i < table->column_count; i++)
        cells[i].text = "";
    return &rows[table->row_count++];
}

void add_note(struct document_row *row, const char *note)
{
    if (note && *note && row->note_count < sizeof row->notes / sizeof row->notes[0])
        row->notes[row->note_count++] = note;
}

struct document_signature *add_signature(struct composer *composer, struct document_signatures *signatures)
{
    static const struct document_signature nothing;
    struct document_signature *items =
        grow(composer, signatures->items, signatures->count, &signatures->room, sizeof *items);
    if (!items)
        return NULL;
    signatures->items = items;
    items[signatures->count] = nothing;
    return &items[signatures->count++];
}
