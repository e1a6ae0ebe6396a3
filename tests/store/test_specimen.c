/* test_specimen.c
 *   create_*  what is taken and what is refused
 *   change_*  patches, stale revisions
 *   list_*    search, sort, pages
 *   trend_*   what a specimen says of its versions */
#include "store/folder.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static struct folder folder;

static void begin(void)
{
    folder_begin(&folder);
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(specimen, .init = begin, .fini = end);

Test(specimen, create_refuses_what_cannot_be_kept)
{
    static const struct {
        const char *name;
        struct store_specimen_new specimen;
        enum error_code code;
    } cases[] = {
        {"no number", {"", "t", "mm", NULL, NULL}, ERROR_USAGE},
        {"blank number", {"  ", "t", "mm", NULL, NULL}, ERROR_USAGE},
        {"no title", {"A", NULL, "mm", NULL, NULL}, ERROR_USAGE},
        {"unknown unit", {"A", "t", "furlong", NULL, NULL}, ERROR_USAGE},
        {"no unit", {"A", "t", NULL, NULL, NULL}, ERROR_USAGE},
        {"invalid UTF-8", {"A\xff", "t", "mm", NULL, NULL}, ERROR_USAGE},
        {"overlong UTF-8", {"A\xc0\xaf", "t", "mm", NULL, NULL}, ERROR_USAGE},
        {"surrogate", {"A\xed\xa0\x80", "t", "mm", NULL, NULL}, ERROR_USAGE},
        {"control character", {"A\x1b", "t", "mm", NULL, NULL}, ERROR_USAGE},
        {"line in a title", {"A", "t\nu", "mm", NULL, NULL}, ERROR_USAGE},
        {"taken, whatever the case", {"nh-1", "t", "mm", NULL, NULL}, ERROR_CONFLICT},
    };
    add_specimen(&folder, "NH-1");
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        int64_t id;
        cr_expect_not(store_specimen_create(folder.store, &cases[i].specimen, &id, &folder.err), "%s",
                      cases[i].name);
        cr_expect_eq(folder.err.code, cases[i].code, "%s", cases[i].name);
    }
}

Test(specimen, create_keeps_what_was_said)
{
    const struct store_specimen_new wanted = {"NH-7", "Großer Käfer", "in", "two\nlines", NULL};
    int64_t id;
    cr_assert(store_specimen_create(folder.store, &wanted, &id, &folder.err));

    struct store_specimen specimen = specimen_of(&folder, id);

    cr_expect_str_eq(specimen.title, "Großer Käfer");
    cr_expect_str_eq(specimen.units, "in");
    cr_expect_str_eq(specimen.note, "two\nlines");
    cr_expect_str_eq(specimen.state, "new");
    cr_expect_eq(strlen(specimen.created), 20);
    cr_expect_eq(specimen.created[19], 'Z');
    cr_expect(isnan(specimen.scan_diagonal));
}

Test(specimen, change_of_a_stale_revision_is_refused_as_stale)
{
    int64_t id = add_specimen(&folder, "A-1"), seen = specimen_of(&folder, id).revision;
    const struct store_specimen_patch patch = {.title = "other"};
    bool stale;
    cr_assert(store_specimen_change(folder.store, id, &patch, seen, &stale, &folder.err));

    cr_expect_not(store_specimen_change(folder.store, id, &patch, seen, &stale, &folder.err));

    cr_expect(stale);
    cr_expect_eq(folder.err.code, ERROR_CONFLICT);
    cr_expect_str_eq(specimen_of(&folder, id).title, "other");
}

Test(specimen, change_of_units_only_before_the_first_version)
{
    int64_t id = add_specimen(&folder, "A-1");
    const struct store_specimen_patch patch = {.units = "cm"};
    bool stale;
    cr_expect(store_specimen_change(folder.store, id, &patch, 0, &stale, &folder.err));
    add_version(&folder, id, "scan", 0, "scan");
    const struct store_specimen_patch again = {.units = "m"};

    cr_expect_not(store_specimen_change(folder.store, id, &again, 0, &stale, &folder.err));

    cr_expect_eq(folder.err.code, ERROR_CONFLICT);
    cr_expect_not(stale);
    cr_expect_str_eq(specimen_of(&folder, id).units, "cm");
}

Test(specimen, change_to_handed_over_needs_a_handoff)
{
    int64_t id = add_specimen(&folder, "A-1");
    const struct store_specimen_patch patch = {.state = "handed over"};
    bool stale;
    cr_expect_not(store_specimen_change(folder.store, id, &patch, 0, &stale, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_USAGE);
}

static struct store_specimen_page list(const struct store_specimen_query *query)
{
    struct store_specimen_page page;
    cr_assert(store_specimen_list(folder.store, query, &folder.arena, &page, &folder.err), "%s",
              folder.err.text);
    return page;
}

Test(specimen, list_finds_wildcards_as_plain_characters)
{
    add_specimen(&folder, "100%_a");
    add_specimen(&folder, "100Xxa");

    struct store_specimen_page page = list(&(struct store_specimen_query){.text = "%_A", .limit = 50});

    cr_assert_eq(page.count, 1);
    cr_expect_eq(page.total, 1);
    cr_expect_str_eq(page.items[0].catalogue_number, "100%_a");
}

/* Every order gives every specimen exactly once, in pages of any size, equal keys and nulls included. */
Test(specimen, list_pages_reach_everything_once_in_every_order)
{
    enum { COUNT = 23 };
    for (int i = 0; i < COUNT; i++) {
        char number[32];
        snprintf(number, sizeof number, "N-%02d", i);
        int64_t id = add_specimen(&folder, number);
        if (i % 3 == 0) {
            add_version(&folder, id, "scan", 0, number);
            run_next_job(&folder, i % 2, NAN);
        }
    }
    for (int sort = STORE_SORT_CHANGED; sort <= STORE_SORT_CAGES; sort++)
        for (int descending = 0; descending < 2; descending++) {
            bool seen[COUNT + 1] = {false};
            size_t total = 0;
            struct store_specimen_query query = {
                .sort = (enum store_specimen_sort)sort, .descending = descending, .limit = 5};
            do {
                struct store_specimen_page page = list(&query);
                for (size_t i = 0; i < page.count; i++) {
                    cr_expect_not(seen[page.items[i].id], "sort %d", sort);
                    seen[page.items[i].id] = true;
                }
                total += page.count;
                query.cursor = page.next;
                cr_expect_eq(page.total, COUNT);
            } while (query.cursor);
            cr_expect_eq(total, COUNT, "sort %d descending %d", sort, descending);
        }
}

Test(specimen, list_orders_by_open_edges_of_the_latest_cage)
{
    int64_t few = add_specimen(&folder, "few"), many = add_specimen(&folder, "many");
    add_version(&folder, few, "cage", 0, "a");
    run_next_job(&folder, 3, NAN);
    add_version(&folder, many, "cage", 0, "b");
    run_next_job(&folder, 40, NAN);

    struct store_specimen_page page =
        list(&(struct store_specimen_query){.sort = STORE_SORT_OPEN_EDGES, .descending = true, .limit = 2});

    cr_expect_eq(page.items[0].id, many);
    cr_expect_eq(page.items[1].id, few);
}

Test(specimen, list_begins_anywhere_by_an_offset)
{
    char number[32];
    for (int i = 0; i < 7; i++) {
        snprintf(number, sizeof number, "N-%d", i);
        add_specimen(&folder, number);
    }

    struct store_specimen_page page =
        list(&(struct store_specimen_query){.sort = STORE_SORT_NUMBER, .limit = 5, .offset = 5});

    cr_assert_eq(page.count, 2);
    cr_expect_str_eq(page.items[0].catalogue_number, "N-5");
    cr_expect_eq(page.total, 7);
    cr_expect_null(page.next);
    cr_expect_eq(
        list(&(struct store_specimen_query){.sort = STORE_SORT_NUMBER, .limit = 5, .offset = 7}).count, 0);
}

/* One that waits, one that failed, one that failed and was measured since, and one without versions (still
 * new; the others are in work). */
Test(specimen, list_filters_and_counts_by_state_and_by_jobs)
{
    int64_t failed = add_specimen(&folder, "failed"), mended = add_specimen(&folder, "mended"), job, run;
    int64_t waits = add_specimen(&folder, "waits");
    const struct store_reason reason = {.code = "reject-syntax", .text = "no"};
    const struct store_specimen_patch ready = {.state = "ready"};
    bool stale;
    add_specimen(&folder, "bare");
    add_version(&folder, failed, "scan", 0, "a");
    cr_assert(store_job_fail(folder.store, claim_next_job(&folder), &reason, false, &folder.err));
    int64_t version = add_version(&folder, mended, "scan", 0, "b");
    cr_assert(store_job_fail(folder.store, claim_next_job(&folder), &reason, false, &folder.err));
    const struct store_run_request again = {.version = version, .again = true};
    cr_assert(store_run_request(folder.store, &again, &run, &job, &folder.err));
    run_next_job(&folder, 0, NAN);
    add_version(&folder, waits, "scan", 0, "c");
    cr_assert(store_specimen_change(folder.store, mended, &ready, 0, &stale, &folder.err));

    struct store_specimen_page page = list(&(struct store_specimen_query){.filter = "failed", .limit = 5});

    cr_assert_eq(page.count, 1);
    cr_expect_eq(page.items[0].id, failed);
    cr_expect_eq(page.total, 1);
    cr_expect_eq(page.text_total, 4);
    const int64_t totals[STORE_FILTERS] = {1, 2, 1, 0, 0, 1, 1};
    for (size_t i = 0; i < STORE_FILTERS; i++) {
        struct store_specimen_page some =
            list(&(struct store_specimen_query){.filter = store_filters[i], .limit = 5});
        cr_expect_eq(page.filter_totals[i], totals[i], "%s", store_filters[i]);
        cr_expect_eq((int64_t)some.count, totals[i], "%s", store_filters[i]);
    }
    cr_expect_eq(list(&(struct store_specimen_query){.text = "mend", .limit = 5}).filter_totals[1], 0);
}

Test(specimen, list_refuses_cursors_and_limits_that_are_none)
{
    static const char *const cursors[] = {"x", "-1", "12", "12-zz", "12-abc", "99999999999999999999999-"};
    struct store_specimen_page page;
    for (size_t i = 0; i < sizeof cursors / sizeof cursors[0]; i++) {
        const struct store_specimen_query query = {.limit = 5, .cursor = cursors[i]};
        cr_expect_not(store_specimen_list(folder.store, &query, &folder.arena, &page, &folder.err), "%s",
                      cursors[i]);
        cr_expect_eq(folder.err.code, ERROR_USAGE, "%s", cursors[i]);
    }
    const struct store_specimen_query too_many = {.limit = 501};
    cr_expect_not(store_specimen_list(folder.store, &too_many, &folder.arena, &page, &folder.err));
}

Test(specimen, trend_has_every_version_and_the_values_of_its_latest_run)
{
    int64_t id = add_specimen(&folder, "A-1");
    int64_t scan = add_version(&folder, id, "scan", 0, "scan");
    int64_t run = run_next_job(&folder, 12, NAN);
    int64_t cage = add_version(&folder, id, "cage", 0, "cage");

    struct store_specimen specimen = specimen_of(&folder, id);

    cr_assert_eq(specimen.trend_count, 2);
    cr_expect_eq(specimen.trend[0].version, scan);
    cr_expect_eq(specimen.trend[0].run, run);
    cr_expect_eq(specimen.trend[0].open_edges, 12);
    cr_expect(isnan(specimen.trend[0].lost));
    cr_expect_eq(specimen.trend[1].version, cage);
    cr_expect_eq(specimen.trend[1].run, 0);
    cr_expect(isnan(specimen.trend[1].open_edges));
    cr_expect_eq(specimen.scan_diagonal, 200);
    cr_expect_eq(specimen.jobs_queued, 1);
    cr_expect_eq(specimen.latest_scan, scan);
    cr_expect_eq(specimen.latest_cage, cage);
}
