/* test_beside.c
 *   beside_*  a store read while another one has it open; what is refused */
#include "store/beside.h"
#include "store/folder.h"
#include "store/runs.h"

#include <criterion/criterion.h>
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>

static struct folder folder;
static int64_t run;

static void begin(void)
{
    folder_begin(&folder);
    int64_t specimen = add_specimen(&folder, "A-1");
    add_version(&folder, specimen, "scan", 0, "some bytes of a scan");
    run = run_next_job(&folder, 1, 0);
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(beside, .init = begin, .fini = end);

/* The store beside is open only within. */
static bool record_beside(const char *path, int64_t id, const char **bytes, size_t *count, struct error *err)
{
    struct store *store;
    if (!store_open_beside(path, &store, err))
        return false;
    bool ok = store_run_record(store, id, &folder.arena, bytes, count, err);
    store_close(store);
    return ok;
}

Test(beside, beside_an_open_store_the_record_is_the_one_that_was_kept)
{
    const char *bytes;
    size_t count;
    cr_assert(record_beside(folder.path, run, &bytes, &count, &folder.err), "%s", folder.err.text);
    cr_expect_eq(count, strlen("{\"schema\":\"fettle/run/1\"}\n"));
    cr_expect_eq(memcmp(bytes, "{\"schema\":\"fettle/run/1\"}\n", count), 0);
    /* and the store goes on */
    add_specimen(&folder, "A-2");
}

Test(beside, beside_nothing_is_changed)
{
    struct store *store;
    int64_t id;
    struct store_specimen_new specimen = {.catalogue_number = "B-1", .title = "B", .units = "mm"};
    cr_assert(store_open_beside(folder.path, &store, &folder.err), "%s", folder.err.text);
    cr_expect_not(store_specimen_create(store, &specimen, &id, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_STORE, "%s", folder.err.text);
    store_close(store);
}

static void expect_refused(const char *path, int64_t id, enum error_code code, const char *wanted)
{
    const char *bytes;
    size_t count;
    struct error err = {0};
    cr_expect_not(record_beside(path, id, &bytes, &count, &err));
    cr_expect_eq(err.code, code, "%s", err.text);
    cr_expect_not_null(strstr(err.text, wanted), "%s", err.text);
}

Test(beside, beside_refuses_what_is_not_there)
{
    expect_refused(folder.path, run + 1, ERROR_NOT_FOUND, "run");
    expect_refused("/tmp", run, ERROR_NOT_FOUND, "no fettle.db");
    expect_refused(path_in(&folder, "none"), run, ERROR_NOT_FOUND, "cannot be opened");
}

Test(beside, beside_refuses_another_schema)
{
    sqlite3 *db;
    cr_assert_eq(sqlite3_open(path_in(&folder, "fettle.db"), &db), SQLITE_OK);
    cr_assert_eq(sqlite3_exec(db, "PRAGMA user_version = 999", NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(db);
    expect_refused(folder.path, run, ERROR_USAGE, "schema 999");
}
