/* test_tolerances.c
 *   settle_*   order, doubles, what is refused
 *   text_*     written and read back; what is no such text
 *   specimen_* stated, changed, and what they do to requests and jobs */
#include "store/tolerances.h"

#include "store/folder.h"
#include "store/jobs.h"
#include "store/runs.h"

#include <criterion/criterion.h>
#include <float.h>
#include <math.h>
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

Test(tolerances, settle_sorts_and_leaves_each_once)
{
    struct store_tolerances given = {4, {0.5, 0.1, 0.5, 2}};
    struct error err = {0};

    cr_assert(store_tolerances_settle(&given, &err));

    cr_expect_eq(given.count, 3u);
    cr_expect_eq(given.lengths[0], 0.1);
    cr_expect_eq(given.lengths[1], 0.5);
    cr_expect_eq(given.lengths[2], 2);
}

Test(tolerances, settle_refuses_what_is_no_length_above_nought)
{
    const double wrong[] = {0, -1, NAN, INFINITY};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct store_tolerances given = {2, {0.5, wrong[i]}};
        struct error err = {0};
        cr_expect_not(store_tolerances_settle(&given, &err), "%g", wrong[i]);
        cr_expect_eq(err.code, ERROR_USAGE);
        cr_expect(strstr(err.text, "above 0") != NULL);
    }
}

Test(tolerances, text_of_the_longest_list_is_read_back_bit_for_bit)
{
    struct store_tolerances given = {STORE_TOLERANCES_MAX, {0}}, got;
    char text[STORE_TOLERANCES_TEXT];
    struct error err = {0};
    for (size_t i = 0; i < STORE_TOLERANCES_MAX; i++)
        given.lengths[i] = DBL_MIN * (1 + 0x1p-52) * (double)(i + 1) / 3;
    cr_assert(store_tolerances_settle(&given, &err));

    store_tolerances_write(&given, text);

    cr_assert(store_tolerances_read(text, &got, &err), "%s", err.text);
    cr_expect_eq(got.count, given.count);
    cr_expect_eq(memcmp(got.lengths, given.lengths, sizeof got.lengths), 0);
}

Test(tolerances, text_is_as_people_write_it)
{
    const struct store_tolerances given = {3, {0.1, 0.30000000000000004, 25}};
    char text[STORE_TOLERANCES_TEXT];

    store_tolerances_write(&given, text);

    cr_expect_str_eq(text, "0.1 0.30000000000000004 25");
}

Test(tolerances, text_that_is_no_list_is_refused)
{
    static const char *const wrong[] = {
        "x",  "0.1,0.2", "0.2 0.1", "0.1 0.1", "0",
        "-1", "nan",     "0.1x",    "inf",     "1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct store_tolerances got = {9, {0}};
        struct error err = {0};
        cr_expect_not(store_tolerances_read(wrong[i], &got, &err), "%s", wrong[i]);
        cr_expect_eq(err.code, ERROR_STORE);
        cr_expect_eq(got.count, 0u);
    }
}

static void state(int64_t specimen, const struct store_tolerances *tolerances)
{
    const struct store_specimen_patch patch = {.tolerances = tolerances};
    bool stale;
    cr_assert(store_specimen_change(folder.store, specimen, &patch, 0, &stale, &folder.err), "%s",
              folder.err.text);
}

/* What asking for the version's measurement comes to: a run that is there, or 0 and a job. */
static int64_t ask(int64_t version)
{
    const struct store_run_request wanted = {.version = version};
    int64_t run, job;
    cr_assert(store_run_request(folder.store, &wanted, &run, &job, &folder.err), "%s", folder.err.text);
    cr_assert((run != 0) != (job != 0));
    return run;
}

static const char *claimed_tolerances(void)
{
    struct store_claim claim;
    bool claimed = false;
    cr_assert(store_job_peek(folder.store, &folder.arena, &claim, &folder.err) && claim.job);
    cr_assert(store_job_claim(folder.store, &claim, &claimed, &folder.err) && claimed);
    finish_job(&folder, claim.job, "{}\n", 1, 2);
    return claim.tolerances;
}

Test(tolerances, specimen_keeps_those_it_was_given_until_others_are, .init = begin, .fini = end)
{
    const struct store_specimen_new wanted = {.catalogue_number = "T-1",
                                              .title = "t",
                                              .units = "mm",
                                              .tolerances = &(struct store_tolerances){2, {0.5, 0.1}}};
    const struct store_specimen_patch title = {.title = "other"},
                                      wrong = {.tolerances = &(struct store_tolerances){1, {-1}}};
    int64_t id;
    bool stale;

    cr_assert(store_specimen_create(folder.store, &wanted, &id, &folder.err), "%s", folder.err.text);
    cr_expect_eq(specimen_of(&folder, id).tolerances.count, 2u);
    cr_expect_eq(specimen_of(&folder, id).tolerances.lengths[0], 0.1);
    cr_assert(store_specimen_change(folder.store, id, &title, 0, &stale, &folder.err));
    cr_expect_eq(specimen_of(&folder, id).tolerances.count, 2u);
    cr_expect_not(store_specimen_change(folder.store, id, &wrong, 0, &stale, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_USAGE);
    state(id, &(struct store_tolerances){0, {0}});
    cr_expect_eq(specimen_of(&folder, id).tolerances.count, 0u);
}

Test(tolerances, specimen_with_others_is_measured_anew_against_its_reference_alone_not, .init = begin,
     .fini = end)
{
    int64_t specimen = add_specimen(&folder, "T-1"), scan = add_version(&folder, specimen, "scan", 0, "s"),
            cage = add_version(&folder, specimen, "cage", scan, "c");
    cr_expect_str_eq(claimed_tolerances(), "");
    cr_expect_str_eq(claimed_tolerances(), "");
    int64_t alone = ask(scan), without = ask(cage);
    cr_assert(alone && without);

    state(specimen, &(struct store_tolerances){2, {0.5, 0.1}});

    cr_expect_eq(ask(scan), alone);
    cr_assert_eq(ask(cage), 0);
    cr_expect_str_eq(claimed_tolerances(), "0.1 0.5");
    int64_t with = ask(cage);
    cr_expect_neq(with, without);
    cr_expect_eq(version_of(&folder, cage).latest_run, with);
    state(specimen, &(struct store_tolerances){0, {0}});
    cr_expect_eq(ask(cage), without, "the run without any is there still");
}

Test(tolerances, specimen_that_changes_them_while_a_job_runs_leaves_the_job_its_own, .init = begin,
     .fini = end)
{
    int64_t specimen = add_specimen(&folder, "T-1"), scan = add_version(&folder, specimen, "scan", 0, "s"),
            cage = add_version(&folder, specimen, "cage", scan, "c");
    claimed_tolerances();
    int64_t job = claim_next_job(&folder);

    state(specimen, &(struct store_tolerances){1, {0.25}});
    int64_t run = finish_job(&folder, job, "{}\n", 1, 2);

    cr_expect_eq(ask(cage), 0, "the run was made without");
    state(specimen, &(struct store_tolerances){0, {0}});
    cr_expect_eq(ask(cage), run);
}
