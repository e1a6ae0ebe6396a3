/* test_store.c
 *   open_*       the folder, its lock, what is refused
 *   busy_*       another process holds the database: ERROR_BUSY, reads go on
 *   change_*     listeners and revisions
 *   durable_*    settings that the promise of durability rests on */
#include "store/folder.h"
#include "store/inside.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static struct folder folder;

static void begin(void)
{
    folder_begin(&folder);
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(store, .init = begin, .fini = end);

Test(store, open_makes_the_folders_that_the_architecture_names)
{
    cr_expect_eq(access(path_in(&folder, "fettle.db"), F_OK), 0);
    cr_expect_eq(access(path_in(&folder, "blobs"), F_OK), 0);
    cr_expect_eq(access(path_in(&folder, "uploads"), F_OK), 0);
    cr_expect_eq(access(path_in(&folder, "jobs"), F_OK), 0);
}

Test(store, open_a_second_time_is_busy)
{
    struct store *other = NULL;

    cr_expect_not(store_open(folder.path, false, &folder.options, &other, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_BUSY);
}

Test(store, open_without_a_database_is_not_found)
{
    struct store *other = NULL;

    cr_expect_not(store_open("/tmp", false, &folder.options, &other, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
}

Test(store, open_clears_what_an_interrupted_upload_left)
{
    FILE *left = fopen(path_in(&folder, "uploads/raw-0123"), "w");
    fclose(left);

    folder_reopen(&folder);

    cr_expect_neq(access(path_in(&folder, "uploads/raw-0123"), F_OK), 0);
}

Test(store, busy_while_another_process_holds_the_database)
{
    sqlite3 *other = NULL;
    int64_t specimen = add_specimen(&folder, "A-1"), second;
    const struct store_specimen_new wanted = {"A-2", "b", "mm", NULL, NULL};
    store_close(folder.store);
    folder.options.busy_ms = 100;
    cr_assert(store_open(folder.path, false, &folder.options, &folder.store, &folder.err));
    cr_assert_eq(sqlite3_open(path_in(&folder, "fettle.db"), &other), SQLITE_OK);
    cr_assert_eq(sqlite3_exec(other, "BEGIN EXCLUSIVE", NULL, NULL, NULL), SQLITE_OK);

    cr_expect_not(store_specimen_create(folder.store, &wanted, &second, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_BUSY);
    cr_expect_eq(specimen_of(&folder, specimen).id, specimen, "reads go on");

    sqlite3_exec(other, "ROLLBACK", NULL, NULL, NULL);
    sqlite3_close(other);
    cr_expect(store_specimen_create(folder.store, &wanted, &second, &folder.err), "writes go on afterwards");
}

struct heard {
    size_t count;
    struct store_change last;
};
static void hear(void *context, const struct store_change *change)
{
    struct heard *heard = context;
    heard->count++;
    heard->last = *change;
}

Test(store, change_is_told_after_the_commit_with_the_revision_of_the_row)
{
    struct heard heard = {0};
    cr_assert(store_listen(folder.store, hear, &heard, &folder.err));

    int64_t id = add_specimen(&folder, "A-1");

    cr_expect_eq(heard.count, 1);
    cr_expect_eq(heard.last.kind, STORE_CHANGED_SPECIMEN);
    cr_expect_eq(heard.last.id, id);
    cr_expect_eq(heard.last.revision, specimen_of(&folder, id).revision);
}

Test(store, change_that_is_refused_is_not_told)
{
    struct heard heard = {0};
    const struct store_specimen_new same = {"a-1", "b", "mm", NULL, NULL};
    int64_t id;
    add_specimen(&folder, "A-1");
    cr_assert(store_listen(folder.store, hear, &heard, &folder.err));

    cr_expect_not(store_specimen_create(folder.store, &same, &id, &folder.err));

    cr_expect_eq(heard.count, 0);
}

Test(store, change_never_gives_a_revision_twice_across_a_restart)
{
    add_specimen(&folder, "A-1");
    int64_t before = store_revision(folder.store);

    folder_reopen(&folder);

    cr_expect_gt(store_revision(folder.store), before);
}

/* Source of the values: SQLite, "Write-Ahead Logging", "PRAGMA synchronous", and "Defense Against The Dark
 * Arts". */
Test(store, durable_settings_of_the_writing_connection)
{
    static const struct {
        const char *pragma;
        int64_t value;
    } expected[] = {{"PRAGMA synchronous", 2},
                    {"PRAGMA foreign_keys", 1},
                    {"PRAGMA trusted_schema", 0},
                    {"PRAGMA cell_size_check", 1},
                    {"PRAGMA mmap_size", 0}};
    int64_t value;
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++) {
        cr_assert(connection_number(&folder.store->writer, expected[i].pragma, &value, &folder.err));
        cr_expect_eq(value, expected[i].value, "%s", expected[i].pragma);
    }
    sqlite3_stmt *mode = statement_begin(&folder.store->writer, "PRAGMA journal_mode", &folder.err, "");
    cr_expect_eq(statement_step(&folder.store->writer, mode, &folder.err), 1);
    cr_expect_str_eq((const char *)sqlite3_column_text(mode, 0), "wal");
    statement_end(mode);
}

Test(store, durable_readers_cannot_write)
{
    cr_expect_not(connection_exec(&folder.store->readers[0], "DELETE FROM counter", &folder.err));
}
