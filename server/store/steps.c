/* steps.c - adding to the log and reading it. */
#include "store/steps.h"

#include "store/inside.h"

#include <string.h>

bool step_add(struct write *write, const struct store_step *step, struct error *err)
{
    static const char insert[] = STEP_INSERT "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    return statement_run(write->connection, insert, NULL, err, "tktttti", write->now, step->specimen,
                         step->kind, step->who, step->text, step->about, step->about_id);
}

bool store_step_add(struct store *store, const struct store_step *step, struct error *err)
{
    struct write write;
    if (!text_check("step", step->text, STORE_STEP_TEXT_MAX, TEXT_LINES, true, err)
        || !write_begin(store, &write, err))
        return false;
    bool ok = (!step->specimen || specimen_exists(write.connection, step->specimen, err))
              && step_add(&write, step, err)
              && (!step->specimen || summary_touch_specimen(&write, step->specimen, false, err));
    return write_end(&write, ok, err);
}

static void take_step(sqlite3_stmt *row, struct arena *keep, struct store_step *step)
{
    *step = (struct store_step){
        .id = column_id(row, 0),
        .specimen = column_id(row, 1),
        .created = column_text(row, 2, keep),
        .kind = column_text(row, 3, keep),
        .who = column_text(row, 4, keep),
        .text = column_text(row, 5, keep),
        .about = column_text(row, 6, keep),
        .about_id = column_id(row, 7),
    };
}

static bool read_page(struct connection *connection, int64_t specimen, size_t limit, int64_t before,
                      struct arena *keep, struct store_step_page *page, struct error *err)
{
    static const char count[] = "SELECT count(*) FROM step WHERE ?1 IS NULL OR specimen = ?1";
    static const char read[] = "SELECT id, specimen, created, kind, who, text, about, about_id FROM step"
                               " WHERE (?1 IS NULL OR specimen = ?1) AND id < ?2 ORDER BY id DESC LIMIT ?3";
    int step;
    page->items = ARENA_NEW(keep, struct store_step, limit);
    if (!page->items)
        return arena_error(err);
    if (!statement_value(connection, count, &page->total, NULL, err, "k", specimen))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "kii", specimen, before, (int64_t)limit + 1);
    while ((step = statement_step(connection, row, err)) == 1 && page->count < limit)
        take_step(row, keep, &page->items[page->count++]);
    if (step == 1)
        page->next = cursor_make(page->items[page->count - 1].id, keep);
    statement_end(row);
    return step >= 0 && (!keep->failed || arena_error(err));
}

bool store_step_list(struct store *store, int64_t specimen, size_t limit, const char *cursor,
                     struct arena *keep, struct store_step_page *page, struct error *err)
{
    struct connection *connection;
    int64_t before;
    memset(page, 0, sizeof *page);
    if (!limit_check(limit, err) || !cursor_parse(cursor, &before, err)
        || !read_begin(store, &connection, err))
        return false;
    bool ok = (!specimen || specimen_exists(connection, specimen, err))
              && read_page(connection, specimen, limit, before ? before : INT64_MAX, keep, page, err);
    read_end(store, connection);
    return ok;
}
