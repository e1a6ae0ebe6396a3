/* specimen.c - making, reading, listing and changing specimens. */
#include "store/specimen.h"

#include "store/inside.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* --- making and changing --- */

static bool check_texts(const char *title, const char *note, struct error *err)
{
    return (!title || text_check("title", title, STORE_TITLE_MAX, TEXT_LINE, false, err))
           && text_check("note", note, STORE_NOTE_MAX, TEXT_LINES, true, err);
}

static bool check_units(const char *units, struct error *err)
{
    return units_are_known(units)
           || error_set(err, ERROR_USAGE, "the units must be mm, cm, m, in or unknown");
}

/* As the row has them. */
static bool settle_tolerances(const struct store_tolerances *given, char text[STORE_TOLERANCES_TEXT],
                              struct error *err)
{
    struct store_tolerances settled = {0, {0}};

    if (given)
        settled = *given;
    if (!store_tolerances_settle(&settled, err))
        return false;
    store_tolerances_write(&settled, text);
    return true;
}

bool store_specimen_create(struct store *store, const struct store_specimen_new *specimen, int64_t *id,
                           struct error *err)
{
    static const char taken[] = "SELECT id FROM specimen WHERE catalogue_number = ?1";
    static const char add[] = "INSERT INTO specimen (catalogue_number, title, units, note, created, changed,"
                              " revision, tolerances) VALUES (?1, ?2, ?3, ?4, ?5, ?5, ?6, ?7)";
    char tolerances[STORE_TOLERANCES_TEXT];
    struct write write;
    int64_t other;
    bool found, ok;

    if (!text_check("catalogue number", specimen->catalogue_number, STORE_NUMBER_MAX, TEXT_LINE, false, err)
        || !text_check("title", specimen->title, STORE_TITLE_MAX, TEXT_LINE, false, err)
        || !check_texts(NULL, specimen->note, err) || !check_units(specimen->units, err)
        || !settle_tolerances(specimen->tolerances, tolerances, err) || !write_begin(store, &write, err))
        return false;
    ok = statement_value(write.connection, taken, &other, &found, err, "t", specimen->catalogue_number);
    if (ok && found)
        ok = error_set(err, ERROR_CONFLICT, "the catalogue number is taken by specimen %lld",
                       (long long)other);
    ok = ok
         && statement_run(write.connection, add, NULL, err, "tttttit", specimen->catalogue_number,
                          specimen->title, specimen->units, specimen->note ? specimen->note : "", write.now,
                          write.revision, tolerances);
    if (ok) {
        *id = sqlite3_last_insert_rowid(write.connection->db);
        write_note(&write, STORE_CHANGED_SPECIMEN, *id, *id, 0);
    }
    return write_end(&write, ok, err);
}

static bool check_state(const char *state, struct error *err)
{
    static const char *const by_hand[] = {"new", "in work", "ready", "retired"};
    for (size_t i = 0; i < sizeof by_hand / sizeof by_hand[0]; i++)
        if (strcmp(state, by_hand[i]) == 0)
            return true;
    if (strcmp(state, "handed over") == 0)
        return error_set(err, ERROR_USAGE, "only a handoff sets the state \"handed over\"");
    return error_set(err, ERROR_USAGE, "the state must be new, in work, ready or retired");
}

static bool apply_patch(struct write *write, int64_t id, const struct store_specimen_patch *patch,
                        const char *tolerances, int64_t if_revision, bool *stale, struct error *err)
{
    static const char look[] = "SELECT revision, scan_count + cage_count, units FROM specimen WHERE id = ?1";
    static const char change[] = "UPDATE specimen SET title = coalesce(?2, title), note = coalesce(?3, note),"
                                 " units = coalesce(?4, units), state = coalesce(?5, state),"
                                 " tolerances = coalesce(?6, tolerances) WHERE id = ?1";
    bool ok = false;
    sqlite3_stmt *row = statement_begin(write->connection, look, err, "i", id);
    int step = statement_step(write->connection, row, err);

    if (step == 0)
        error_set(err, ERROR_NOT_FOUND, "there is no specimen %lld", (long long)id);
    else if (step == 1 && if_revision && column_id(row, 0) != if_revision) {
        *stale = true;
        error_set(err, ERROR_CONFLICT, "the specimen was changed meanwhile; read it again");
    } else if (step == 1 && patch->units && column_id(row, 1) > 0
               && strcmp(patch->units, (const char *)sqlite3_column_text(row, 2)) != 0)
        error_set(err, ERROR_CONFLICT, "the units cannot change once the specimen has a version");
    else
        ok = step == 1;
    statement_end(row);
    return ok
           && statement_run(write->connection, change, NULL, err, "ittttt", id, patch->title, patch->note,
                            patch->units, patch->state, tolerances)
           && summary_touch_specimen(write, id, true, err);
}

bool store_specimen_change(struct store *store, int64_t id, const struct store_specimen_patch *patch,
                           int64_t if_revision, bool *stale, struct error *err)
{
    char tolerances[STORE_TOLERANCES_TEXT];
    struct write write;
    *stale = false;
    if (!check_texts(patch->title, patch->note, err) || (patch->units && !check_units(patch->units, err))
        || (patch->state && !check_state(patch->state, err))
        || (patch->tolerances && !settle_tolerances(patch->tolerances, tolerances, err))
        || !write_begin(store, &write, err))
        return false;
    bool ok = apply_patch(&write, id, patch, patch->tolerances ? tolerances : NULL, if_revision, stale, err);
    return write_end(&write, ok, err);
}

/* --- reading --- */

#define JOBS_IN(state) "(SELECT count(*) FROM job j WHERE j.specimen = s.id AND j.state = '" state "')"
#define JOB_MEASURING "j.state IN ('queued', 'running')"
/* and no later job measured the same against the same */
#define JOB_FAILED                                                                                           \
    "j.state = 'failed' AND NOT EXISTS (SELECT 1 FROM job l WHERE l.version = j.version AND l.id > j.id"     \
    " AND l.against IS j.against)"
#define JOBS_FAILED "(SELECT count(*) FROM job j WHERE j.specimen = s.id AND " JOB_FAILED ")"
#define SCAN_RUN "(SELECT v.latest_run FROM version v WHERE v.id = s.latest_scan)"
#define SPECIMEN_COLUMNS                                                                                     \
    "s.id, s.revision, s.catalogue_number, s.title, s.units, s.state, s.note, s.created, s.changed,"         \
    " s.scan_count, s.cage_count, s.latest_scan, s.latest_cage, " RUN_VALUE(                                 \
        SCAN_RUN, MEASURE_DIAGONAL) ", " JOBS_IN("queued") ", " JOBS_IN("running") ", " JOBS_FAILED          \
                                                                                   ", s.tolerances"
#define SPECIMEN_COLUMN_COUNT 18

/* A row that was damaged tells none. */
static void take_specimen(sqlite3_stmt *row, struct arena *keep, struct store_specimen *specimen)
{
    *specimen = (struct store_specimen){
        .id = column_id(row, 0),
        .revision = column_id(row, 1),
        .catalogue_number = column_text(row, 2, keep),
        .title = column_text(row, 3, keep),
        .units = column_text(row, 4, keep),
        .state = column_text(row, 5, keep),
        .note = column_text(row, 6, keep),
        .created = column_text(row, 7, keep),
        .changed = column_text(row, 8, keep),
        .scan_count = column_id(row, 9),
        .cage_count = column_id(row, 10),
        .latest_scan = column_id(row, 11),
        .latest_cage = column_id(row, 12),
        .scan_diagonal = column_real(row, 13),
        .jobs_queued = column_id(row, 14),
        .jobs_running = column_id(row, 15),
        .jobs_failed = column_id(row, 16),
    };
    store_tolerances_read((const char *)sqlite3_column_text(row, 17), &specimen->tolerances, NULL);
}

static void take_trend(sqlite3_stmt *row, struct arena *keep, struct store_trend *trend)
{
    *trend = (struct store_trend){
        .version = column_id(row, 0),
        .kind = column_id(row, 1) ? "scan" : "cage",
        .number = column_id(row, 2),
        .face_size = column_real(row, 3),
        .created = column_text(row, 4, keep),
        .withdrawn = column_id(row, 5) != 0,
        .run = column_id(row, 6),
        .against = column_id(row, 7),
        .open_edges = column_real(row, 8),
        .lost = column_real(row, 9),
        .invented = column_real(row, 10),
        .hausdorff = column_real(row, 11),
        .faults = column_real(row, 12),
        .warnings = column_real(row, 13),
        .has_pictures = column_id(row, 14) != 0,
    };
}

#define TREND_VALUE(measure) ", " RUN_VALUE("r.id", measure)
#define TREND_VALUES                                                                                         \
    TREND_VALUE(MEASURE_OPEN_EDGES)                                                                          \
    TREND_VALUE(MEASURE_LOST)                                                                                \
    TREND_VALUE(MEASURE_INVENTED)                                                                            \
    TREND_VALUE(MEASURE_HAUSDORFF)                                                                           \
    TREND_VALUE(MEASURE_FAULTS)                                                                              \
    TREND_VALUE(MEASURE_WARNINGS)
#define AGAINST_DIAGONAL RUN_VALUE("a.latest_run", MEASURE_DIAGONAL)

static bool read_trend(struct connection *connection, struct arena *keep, struct store_specimen *specimen,
                       struct error *err)
{
    static const char read[] =
        "SELECT v.id, v.kind = 'scan', v.number, coalesce(v.face_size, v.face_size_share * " AGAINST_DIAGONAL
        "), v.created, v.withdrawn_at IS NOT NULL, v.latest_run, r.against" TREND_VALUES
        ", EXISTS (SELECT 1 FROM picture p WHERE p.blob = v.blob)"
        " FROM version v LEFT JOIN run r ON r.id = v.latest_run LEFT JOIN version a ON a.id = v.against "
        "WHERE v.specimen = ?1 ORDER BY v.id";
    size_t room = (size_t)(specimen->scan_count + specimen->cage_count);
    int step = 0;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", specimen->id);
    if (!row)
        return false;
    specimen->trend = ARENA_NEW(keep, struct store_trend, room);
    while (specimen->trend && specimen->trend_count < room
           && (step = statement_step(connection, row, err)) == 1)
        take_trend(row, keep, &specimen->trend[specimen->trend_count++]);
    statement_end(row);
    return step >= 0 && (!keep->failed || arena_error(err));
}

bool store_specimen_get(struct store *store, int64_t id, struct arena *keep, struct store_specimen *specimen,
                        struct error *err)
{
    static const char read[] = "SELECT " SPECIMEN_COLUMNS " FROM specimen s WHERE s.id = ?1";
    struct connection *connection;

    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", id);
    int step = statement_step(connection, row, err);
    if (step == 1)
        take_specimen(row, keep, specimen);
    statement_end(row);
    if (step == 0)
        error_set(err, ERROR_NOT_FOUND, "there is no specimen %lld", (long long)id);
    bool ok = step == 1 && read_trend(connection, keep, specimen, err);
    read_end(store, connection);
    return ok;
}

/* --- listing --- */

const char *const store_filters[STORE_FILTERS] = {"new",     "in work",   "ready", "handed over",
                                                  "retired", "measuring", "failed"};

#define MATCHES_TEXT                                                                                         \
    "(?1 IS NULL OR s.catalogue_number LIKE ?1 ESCAPE '\\' OR s.title LIKE ?1 ESCAPE '\\'"                   \
    " OR s.note LIKE ?1 ESCAPE '\\')"
/* Lists of ids that SQLite makes once a statement, from the few jobs in such a state. */
#define JOBS_WHERE(condition) "(SELECT j.specimen FROM job j INDEXED BY job_by_state WHERE " condition ")"
#define IS_MEASURING "s.id IN " JOBS_WHERE(JOB_MEASURING)
#define IS_FAILED "s.id IN " JOBS_WHERE(JOB_FAILED)
#define MATCHES                                                                                              \
    MATCHES_TEXT                                                                                             \
    " AND (?2 IS NULL OR s.state = ?2 OR (?2 = 'measuring' AND " IS_MEASURING                                \
    ") OR (?2 = 'failed' AND " IS_FAILED "))"
/* Only ids and keys are sorted: what is shown of a specimen is looked up for those of the page alone. The
 * column after the specimen's own is the sort key, for the next cursor. */
#define LIST(key, compare, order)                                                                            \
    "SELECT " SPECIMEN_COLUMNS ", p.at FROM (SELECT s.id AS id, " key                                        \
    " AS at FROM specimen s WHERE " MATCHES " AND (?4 IS NULL OR (" key ", s.id) " compare                   \
    " (?3, ?4)) ORDER BY " key " " order ", s.id " order                                                     \
    " LIMIT ?5 OFFSET ?6) p JOIN specimen s ON s.id = p.id ORDER BY p.at " order ", p.id " order
#define BOTH(key)                                                                                            \
    {                                                                                                        \
        LIST(key, ">", "ASC"), LIST(key, "<", "DESC")                                                        \
    }
#define STATE_RANK                                                                                           \
    "CASE s.state WHEN 'new' THEN 0 WHEN 'in work' THEN 1 WHEN 'ready' THEN 2"                               \
    " WHEN 'handed over' THEN 3 ELSE 4 END"

/* The allow-list of orders: [sort][descending]. */
static const char *const list_sql[][2] = {
    [STORE_SORT_CHANGED] = BOTH("s.changed"),
    [STORE_SORT_NUMBER] = BOTH("s.catalogue_number"),
    [STORE_SORT_TITLE] = BOTH("s.title"),
    [STORE_SORT_OPEN_EDGES] = BOTH("coalesce(s.open_edges, -1)"),
    [STORE_SORT_LOST] = BOTH("coalesce(s.lost, -1)"),
    [STORE_SORT_FAULTS] = BOTH("coalesce(s.faults, -1)"),
    [STORE_SORT_STATE] = BOTH(STATE_RANK),
    [STORE_SORT_SCANS] = BOTH("s.scan_count"),
    [STORE_SORT_CAGES] = BOTH("s.cage_count"),
};

static bool sorts_by_number(enum store_specimen_sort sort)
{
    return sort >= STORE_SORT_OPEN_EDGES;
}

/* A cursor is the last item's id and sort key: "12-" and the key's bytes in hex. */
static bool parse_cursor(const char *cursor, int64_t *id, char *key, size_t key_size, struct error *err)
{
    *id = 0;
    key[0] = '\0';
    if (!cursor)
        return true;
    size_t id_digits = strspn(cursor, "0123456789");
    const char *hex = cursor + id_digits + 1;
    size_t digits = cursor[id_digits] == '-' ? strspn(hex, "0123456789abcdef") : 1;
    if (id_digits == 0 || id_digits > 18 || digits % 2 || hex[digits] != '\0' || digits / 2 >= key_size)
        return error_set(err, ERROR_USAGE, "the cursor is not one that a list gave");
    *id = strtoll(cursor, NULL, 10);
    for (size_t i = 0; i < digits / 2; i++) {
        const char pair[3] = {hex[2 * i], hex[2 * i + 1], '\0'};
        key[i] = (char)strtol(pair, NULL, 16);
    }
    key[digits / 2] = '\0';
    return true;
}

static const char *make_cursor(int64_t id, const char *key, struct arena *keep)
{
    size_t size = 24 + 2 * strlen(key);
    char *text = ARENA_NEW(keep, char, size);
    if (!text)
        return NULL;
    int at = snprintf(text, size, "%lld-", (long long)id);
    for (; *key; key++, at += 2)
        snprintf(text + at, size - (size_t)at, "%02x", (unsigned char)*key);
    return text;
}

static bool read_page(struct connection *connection, const struct store_specimen_query *query,
                      const char *pattern, struct arena *keep, struct store_specimen_page *page,
                      struct error *err)
{
    char key[STORE_TITLE_MAX + 1];
    int64_t id;
    int step;
    const char *sql = list_sql[query->sort][query->descending];

    if (!parse_cursor(query->cursor, &id, key, sizeof key, err))
        return false;
    int64_t limit = (int64_t)query->limit + 1, offset = (int64_t)query->offset;
    page->items = ARENA_NEW(keep, struct store_specimen, query->limit);
    if (!page->items)
        return arena_error(err);
    sqlite3_stmt *row =
        sorts_by_number(query->sort)
            ? statement_begin(connection, sql, err, "ttrkii", pattern, query->filter, strtod(key, NULL), id,
                              limit, offset)
            : statement_begin(connection, sql, err, "tttkii", pattern, query->filter, key, id, limit, offset);
    char last_key[STORE_TITLE_MAX + 1] = "";
    while ((step = statement_step(connection, row, err)) == 1 && page->count < query->limit) {
        take_specimen(row, keep, &page->items[page->count++]);
        snprintf(last_key, sizeof last_key, "%s",
                 (const char *)sqlite3_column_text(row, SPECIMEN_COLUMN_COUNT));
    }
    if (step == 1)
        page->next = make_cursor(page->items[page->count - 1].id, last_key, keep);
    statement_end(row);
    return step >= 0;
}

static bool count_states(struct connection *connection, const char *pattern, int64_t totals[STORE_STATES],
                         struct error *err)
{
#define COUNT_STATES(condition) "SELECT s.state, count(*) FROM specimen s" condition " GROUP BY s.state"
    static const char all[] = COUNT_STATES(""), matching[] = COUNT_STATES(" NOT INDEXED WHERE " MATCHES_TEXT);
    int step;
    sqlite3_stmt *row = pattern ? statement_begin(connection, matching, err, "t", pattern)
                                : statement_begin(connection, all, err, "");
    while ((step = statement_step(connection, row, err)) == 1)
        for (int i = 0; i < STORE_STATES; i++)
            if (strcmp((const char *)sqlite3_column_text(row, 0), store_filters[i]) == 0)
                totals[i] = column_id(row, 1);
    statement_end(row);
    return step == 0;
}

static bool count_page(struct connection *connection, const char *pattern, const char *filter,
                       struct store_specimen_page *page, struct error *err)
{
/* From the few jobs to their specimens: the numbers of the planner know only that most jobs are done. */
#define COUNT_JOBS(condition)                                                                                \
    "SELECT count(DISTINCT s.id) FROM job j INDEXED BY job_by_state"                                         \
    " CROSS JOIN specimen s ON s.id = j.specimen WHERE " condition " AND " MATCHES_TEXT
    static const char measuring[] = COUNT_JOBS(JOB_MEASURING), failed[] = COUNT_JOBS(JOB_FAILED);
    int64_t *totals = page->filter_totals;
    if (!count_states(connection, pattern, totals, err)
        || !statement_value(connection, measuring, &totals[STORE_FILTER_MEASURING], NULL, err, "t", pattern)
        || !statement_value(connection, failed, &totals[STORE_FILTER_FAILED], NULL, err, "t", pattern))
        return false;
    for (size_t i = 0; i < STORE_STATES; i++)
        page->text_total += totals[i];
    page->total = filter ? 0 : page->text_total;
    for (size_t i = 0; filter && i < STORE_FILTERS; i++)
        if (strcmp(filter, store_filters[i]) == 0)
            page->total = totals[i];
    return true;
}

bool store_specimen_list(struct store *store, const struct store_specimen_query *query, struct arena *keep,
                         struct store_specimen_page *page, struct error *err)
{
    struct connection *connection;
    const char *pattern = NULL;

    memset(page, 0, sizeof *page);
    if (!limit_check(query->limit, err))
        return false;
    if (query->text && query->text[0] && !(pattern = text_pattern(query->text, keep)))
        return arena_error(err);
    page->revision = store_revision(store); /* before reading: never newer than what is read */
    if (!read_begin(store, &connection, err))
        return false;
    bool ok = read_page(connection, query, pattern, keep, page, err)
              && count_page(connection, pattern, query->filter, page, err);
    for (size_t i = 0; ok && i < page->count; i++)
        ok = read_trend(connection, keep, &page->items[i], err);
    read_end(store, connection);
    return ok && (!keep->failed || arena_error(err));
}
