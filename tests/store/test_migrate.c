/* test_migrate.c
 *   newer_*    a database of a newer program is refused untouched
 *   foreign_*  a database that is not ours is refused
 *   forward_*  an older one is copied, then brought forward in one transaction, or not at all */
#include "store/folder.h"
#include "store/inside.h"
#include "store/migrate.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct folder folder;

static void begin(void)
{
    folder_begin(&folder);
    add_specimen(&folder, "A-1");
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(migrate, .init = begin, .fini = end);

static void change_database(const char *sql)
{
    sqlite3 *db = NULL;
    cr_assert_eq(sqlite3_open(path_in(&folder, "fettle.db"), &db), SQLITE_OK);
    cr_assert_eq(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
}

static bool opens_after(const char *sql)
{
    store_close(folder.store);
    folder.store = NULL;
    change_database(sql);
    return store_open(folder.path, false, &folder.options, &folder.store, &folder.err);
}

Test(migrate, newer_schema_is_refused)
{
    cr_expect_not(opens_after("PRAGMA user_version = 9999"));
    cr_expect_eq(folder.err.code, ERROR_STORE);
    cr_expect(strstr(folder.err.text, "newer") != NULL);
}

Test(migrate, foreign_database_is_refused)
{
    cr_expect_not(opens_after("PRAGMA application_id = 1"));
    cr_expect_eq(folder.err.code, ERROR_STORE);
    cr_expect(strstr(folder.err.text, "not a database of fettle") != NULL);
}

static int64_t number(const char *sql)
{
    int64_t value = -1;
    cr_assert(connection_number(&folder.store->writer, sql, &value, &folder.err));
    return value;
}

/* What takes a folder back to the schema of that number: tables and columns that cannot be added twice go. */
#define BACK_TO_0011 "ALTER TABLE job DROP COLUMN certify; "
#define BACK_TO_0010                                                                                         \
    BACK_TO_0011                                                                                             \
    "DROP TRIGGER step_is_told; DROP TABLE delivery; DROP TABLE hook;"                                       \
    " DROP TABLE collection; DROP TABLE audit_hold; DROP INDEX audit_by_specimen; DROP INDEX audit_newest;"  \
    " DROP INDEX version_measured; ALTER TABLE audit DROP COLUMN specimen; "
#define BACK_TO_0009                                                                                         \
    BACK_TO_0010                                                                                             \
    "DROP TABLE handoff; ALTER TABLE version DROP COLUMN intake_device; ALTER TABLE version DROP COLUMN"     \
    " intake_operator; ALTER TABLE version DROP COLUMN intake_date; ALTER TABLE version DROP COLUMN"         \
    " intake_resolution; ALTER TABLE version DROP COLUMN intake_uncertainty; "
#define BACK_TO_0008 BACK_TO_0009 "DROP TABLE signoff; DROP TABLE step; "
#define BACK_TO_0007 BACK_TO_0008 "DROP TABLE audit; DROP TABLE waiver; DROP TABLE spec; "
#define BACK_TO_0006                                                                                         \
    BACK_TO_0007 "ALTER TABLE specimen DROP COLUMN tolerances; ALTER TABLE job DROP COLUMN tolerances; "
#define BACK_TO_0005                                                                                         \
    BACK_TO_0006                                                                                             \
    "DROP INDEX specimen_by_faults; DROP INDEX specimen_by_state; DROP INDEX specimen_by_scans;"             \
    " DROP INDEX specimen_by_cages; ALTER TABLE specimen DROP COLUMN faults; "
#define BACK_TO_0002 BACK_TO_0005 "DROP TABLE part; "

/* The program's own migrations and one more. */
static size_t with_one_more(struct store_migration list[16], const char *sql)
{
    for (size_t i = 0; i < store_migration_count; i++)
        list[i] = store_migrations[i];
    list[store_migration_count] = (struct store_migration){"9999_test.sql", sql};
    return store_migration_count + 1;
}

Test(migrate, forward_keeps_the_rows_and_a_copy_from_before)
{
    struct store_migration list[16];
    char copy[32];
    size_t count = with_one_more(list, "ALTER TABLE specimen ADD COLUMN colour TEXT");

    cr_assert(migrate(&folder.store->writer, list, count, folder.path, &folder.err), "%s", folder.err.text);

    cr_expect_eq(number("PRAGMA user_version"), (int64_t)count);
    cr_expect_eq(number("SELECT count(*) FROM specimen WHERE colour IS NULL"), 1);
    snprintf(copy, sizeof copy, "fettle-before-%04zu.db", count);
    cr_expect_eq(access(path_in(&folder, copy), F_OK), 0);
}

Test(migrate, forward_that_fails_half_way_leaves_everything_as_it_was)
{
    struct store_migration list[16];
    size_t count = with_one_more(list, "CREATE TABLE half (x); CREATE TABLE specimen (x)");

    cr_expect_not(migrate(&folder.store->writer, list, count, folder.path, &folder.err));

    cr_expect_eq(number("PRAGMA user_version"), (int64_t)store_migration_count);
    cr_expect_eq(number("SELECT count(*) FROM sqlite_schema WHERE name = 'half'"), 0);
    cr_expect_eq(number("SELECT count(*) FROM specimen"), 1);
}

Test(migrate, forward_from_before_uploads_in_pieces_keeps_what_is_there_and_has_a_place_for_them)
{
    cr_assert(opens_after(BACK_TO_0002 "PRAGMA user_version = 2"), "%s", folder.err.text);

    cr_expect_eq(number("PRAGMA user_version"), (int64_t)store_migration_count);
    cr_expect_eq(number("SELECT count(*) FROM part"), 0);
    cr_expect_eq(number("SELECT count(*) FROM specimen"), 1);
    cr_expect_eq(access(path_in(&folder, "fettle-before-0003.db"), F_OK), 0);
}

Test(migrate, forward_from_before_orders_by_faults_counts_those_of_the_latest_cage)
{
    int64_t specimen = number("SELECT id FROM specimen");
    add_version(&folder, specimen, "scan", 0, "a");
    run_next_job(&folder, 0, NAN);
    add_version(&folder, specimen, "cage", 0, "b");
    int64_t run = run_next_job(&folder, 0, NAN);
    char sql[2000];
    snprintf(sql, sizeof sql,
             "INSERT OR REPLACE INTO run_measure (run, measure, value) VALUES (%lld, 5, 7); " BACK_TO_0005
             "PRAGMA user_version = 5",
             (long long)run);

    cr_assert(opens_after(sql), "%s", folder.err.text);

    cr_expect_eq(number("SELECT faults FROM specimen"), 7);
}

Test(migrate, forward_from_before_the_log_tells_what_was_done)
{
    add_version(&folder, number("SELECT id FROM specimen"), "scan", 0, "a");

    cr_assert(opens_after(BACK_TO_0008 "PRAGMA user_version = 8"), "%s", folder.err.text);

    cr_expect_eq(number("SELECT count(*) FROM step"), 1);
    cr_expect_eq(number("SELECT count(*) FROM step WHERE kind = 'file added' AND about_id = 1"), 1);
}

Test(migrate, forward_from_before_tolerances_states_none)
{
    cr_assert(opens_after(BACK_TO_0006 "PRAGMA user_version = 6"), "%s", folder.err.text);

    cr_expect_eq(specimen_of(&folder, 1).tolerances.count, 0u);
    cr_expect_eq(number("SELECT count(*) FROM specimen WHERE tolerances = ''"), 1);
}
