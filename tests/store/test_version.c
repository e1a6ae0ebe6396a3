/* test_version.c
 *   against_*    the rule for the default reference, and which jobs follow
 *   same_*       the same bytes again
 *   refused_*    relatives of other specimens, references that are no scans
 *   change_*     another reference, withdrawal
 *   face_size_*  as length and as share */
#include "store/folder.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static struct folder folder;
static int64_t specimen;

static void begin(void)
{
    folder_begin(&folder);
    specimen = add_specimen(&folder, "A-1");
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(version, .init = begin, .fini = end);

/* References of a version's jobs, oldest first; -1 where there is no such job. */
static int64_t job_against(int64_t version, size_t nth)
{
    struct store_version found = version_of(&folder, version);
    return nth < found.job_count ? job_of(&folder, found.jobs[found.job_count - 1 - nth]).against : -1;
}

Test(version, against_of_the_first_scan_is_none_and_it_is_measured_alone)
{
    int64_t scan = add_version(&folder, specimen, "scan", 0, "s1");

    cr_expect_eq(version_of(&folder, scan).against, 0);
    cr_expect_eq(job_against(scan, 0), 0);
    cr_expect_eq(job_against(scan, 1), -1);
    cr_expect_str_eq(specimen_of(&folder, specimen).state, "in work");
}

Test(version, against_of_a_mended_scan_is_the_scan_it_was_made_from_besides_alone)
{
    int64_t raw = add_version(&folder, specimen, "scan", 0, "s1");
    int64_t mended = add_version(&folder, specimen, "scan", raw, "s2");

    cr_expect_eq(version_of(&folder, mended).against, raw);
    cr_expect_eq(version_of(&folder, mended).number, 2);
    cr_expect_eq(job_against(mended, 0), 0);
    cr_expect_eq(job_against(mended, 1), raw);
}

Test(version, against_of_a_cage_made_from_a_scan_is_that_scan)
{
    int64_t first = add_version(&folder, specimen, "scan", 0, "s1");
    add_version(&folder, specimen, "scan", 0, "s2");

    int64_t cage = add_version(&folder, specimen, "cage", first, "c1");

    cr_expect_eq(version_of(&folder, cage).against, first);
    cr_expect_eq(job_against(cage, 0), first);
    cr_expect_eq(job_against(cage, 1), -1, "a cage is not measured alone besides");
}

Test(version, against_of_a_cage_made_from_a_cage_is_what_that_one_was_measured_against)
{
    int64_t first = add_version(&folder, specimen, "scan", 0, "s1");
    int64_t cage = add_version(&folder, specimen, "cage", first, "c1");
    add_version(&folder, specimen, "scan", 0, "s2");

    int64_t mended = add_version(&folder, specimen, "cage", cage, "c2");

    cr_expect_eq(version_of(&folder, mended).against, first);
}

Test(version, against_of_a_cage_from_nowhere_is_the_latest_scan_not_withdrawn)
{
    int64_t first = add_version(&folder, specimen, "scan", 0, "s1");
    int64_t second = add_version(&folder, specimen, "scan", 0, "s2");
    bool stale;
    cr_assert(store_version_withdraw(folder.store, second, "wrong object", "", 0, &stale, &folder.err));

    int64_t cage = add_version(&folder, specimen, "cage", 0, "c1");

    cr_expect_eq(version_of(&folder, cage).against, first);
}

Test(version, against_of_a_cage_without_any_scan_is_none_and_it_is_measured_alone)
{
    int64_t cage = add_version(&folder, specimen, "cage", 0, "c1");

    cr_expect_eq(version_of(&folder, cage).against, 0);
    cr_expect_eq(job_against(cage, 0), 0);
}

Test(version, against_said_to_be_none_is_none)
{
    add_version(&folder, specimen, "scan", 0, "s1");
    const struct store_version_new wanted = {
        .specimen = specimen, .kind = "cage", .against_given = true, .face_size = NAN, .file_name = "c.obj"};
    int64_t id;
    bool created;

    cr_assert(try_version(&folder, &wanted, "c1", &id, &created));

    cr_expect_eq(version_of(&folder, id).against, 0);
}

Test(version, same_bytes_of_the_same_kind_are_the_existing_version)
{
    struct store_version_new wanted = {.specimen = specimen, .kind = "cage", .file_name = "c.obj"};
    int64_t first, second, other;
    bool created;
    cr_assert(try_version(&folder, &wanted, "bytes", &first, &created) && created);

    cr_assert(try_version(&folder, &wanted, "bytes", &second, &created));
    cr_expect_not(created);
    cr_expect_eq(second, first);
    cr_expect_eq(version_of(&folder, first).job_count, 1);

    wanted.kind = "scan";
    cr_assert(try_version(&folder, &wanted, "bytes", &other, &created));
    cr_expect(created, "another kind is another version");
    cr_expect_eq(verify_folder(&folder).figures.blobs, 1, "of the same blob");
}

Test(version, refused_relatives)
{
    int64_t elsewhere = add_specimen(&folder, "B-1");
    int64_t foreign = add_version(&folder, elsewhere, "scan", 0, "f");
    int64_t cage = add_version(&folder, specimen, "cage", 0, "c");
    const struct {
        const char *name;
        struct store_version_new version;
        enum error_code code;
    } cases[] = {
        {"made from another specimen's",
         {.specimen = specimen, .kind = "cage", .made_from = foreign},
         ERROR_USAGE},
        {"made from nothing known", {.specimen = specimen, .kind = "cage", .made_from = 999}, ERROR_USAGE},
        {"against another specimen's",
         {.specimen = specimen, .kind = "cage", .against_given = true, .against = foreign},
         ERROR_USAGE},
        {"against a cage",
         {.specimen = specimen, .kind = "cage", .against_given = true, .against = cage},
         ERROR_USAGE},
        {"no such specimen", {.specimen = 999, .kind = "cage"}, ERROR_NOT_FOUND},
        {"no such kind", {.specimen = specimen, .kind = "sponge"}, ERROR_USAGE},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct store_version_new wanted = cases[i].version;
        int64_t id;
        bool created;
        wanted.file_name = "x.obj";
        cr_expect_not(store_version_check(folder.store, &wanted, &folder.err), "%s", cases[i].name);
        cr_expect_eq(folder.err.code, cases[i].code, "%s", cases[i].name);
        cr_expect_not(try_version(&folder, &wanted, "other bytes", &id, &created), "%s", cases[i].name);
    }
}

Test(version, refused_for_a_retired_specimen)
{
    const struct store_specimen_patch retire = {.state = "retired"};
    const struct store_version_new wanted = {.specimen = specimen, .kind = "scan", .file_name = "x.obj"};
    bool stale;
    cr_assert(store_specimen_change(folder.store, specimen, &retire, 0, &stale, &folder.err));

    cr_expect_not(store_version_check(folder.store, &wanted, &folder.err));

    cr_expect_eq(folder.err.code, ERROR_CONFLICT);
}

Test(version, refused_names_and_kept_names)
{
    struct store_version_new wanted = {.specimen = specimen, .kind = "scan", .file_name = "a\x01.obj"};
    int64_t id;
    bool created;
    cr_expect_not(store_version_check(folder.store, &wanted, &folder.err));
    wanted.file_name = "C:\\scans\\../deep/a.obj";

    cr_assert(try_version(&folder, &wanted, "x", &id, &created));

    cr_expect_str_eq(version_of(&folder, id).file_name, "a.obj");
}

Test(version, change_of_the_reference_starts_a_run_against_it)
{
    int64_t first = add_version(&folder, specimen, "scan", 0, "s1");
    int64_t second = add_version(&folder, specimen, "scan", 0, "s2");
    int64_t cage = add_version(&folder, specimen, "cage", first, "c1");
    bool stale;

    cr_assert(store_version_set_against(folder.store, cage, second, version_of(&folder, cage).revision,
                                        &stale, &folder.err));

    cr_expect_eq(version_of(&folder, cage).against, second);
    cr_expect_eq(job_against(cage, 1), second);
    cr_expect_not(store_version_set_against(folder.store, cage, cage, 0, &stale, &folder.err));
}

Test(version, change_back_to_a_measured_reference_finds_that_run)
{
    int64_t scan = add_version(&folder, specimen, "scan", 0, "s1");
    int64_t cage = add_version(&folder, specimen, "cage", scan, "c1");
    bool stale;
    run_next_job(&folder, 0, NAN);                /* the scan */
    int64_t run = run_next_job(&folder, 5, 0.25); /* the cage */
    cr_assert(store_version_set_against(folder.store, cage, 0, 0, &stale, &folder.err));
    int64_t alone = run_next_job(&folder, 5, NAN);
    cr_expect_eq(version_of(&folder, cage).latest_run, alone);

    cr_assert(store_version_set_against(folder.store, cage, scan, 0, &stale, &folder.err));

    cr_expect_eq(version_of(&folder, cage).latest_run, run);
    cr_expect_eq(version_of(&folder, cage).job_count, 2, "nothing to measure");
}

Test(version, change_withdraws_once_and_with_a_reason)
{
    int64_t scan = add_version(&folder, specimen, "scan", 0, "s1");
    bool stale;
    cr_expect_not(store_version_withdraw(folder.store, scan, " ", "me", 0, &stale, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_USAGE);

    cr_assert(store_version_withdraw(folder.store, scan, "wrong object", "me", 0, &stale, &folder.err));

    struct store_version version = version_of(&folder, scan);
    cr_expect(version.withdrawn);
    cr_expect_str_eq(version.withdrawn_reason, "wrong object");
    cr_expect_str_eq(version.withdrawn_by, "me");
    cr_expect_eq(specimen_of(&folder, specimen).latest_scan, 0);
    cr_expect_not(store_version_withdraw(folder.store, scan, "again", "me", 0, &stale, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_CONFLICT);
}

Test(version, face_size_is_parsed_by_its_unit)
{
    static const struct {
        const char *text, *units;
        double length, share; /* NAN: not set */
        bool ok;
    } cases[] = {
        {"0.4mm", "mm", 0.4, NAN, true},       {"0.4 mm", "cm", 0.04, NAN, true},
        {"0.4", "in", 0.4, NAN, true},         {"1in", "mm", 25.4, NAN, true},
        {"0.75%", "mm", NAN, 0.0075, true},    {"2 %", "unknown", NAN, 0.02, true},
        {"0", "mm", NAN, NAN, false},          {"-1", "mm", NAN, NAN, false},
        {"0.4furlong", "mm", NAN, NAN, false}, {"0.4mm", "unknown", NAN, NAN, false},
        {"", "mm", NAN, NAN, false},           {"nan", "mm", NAN, NAN, false},
        {"0x1", "mm", NAN, NAN, false},        {"1e3", "mm", NAN, NAN, false},
        {".5", "mm", 0.5, NAN, true},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        double length, share;
        cr_expect_eq(store_face_size_parse(cases[i].text, cases[i].units, &length, &share, &folder.err),
                     cases[i].ok, "%s", cases[i].text);
        if (!cases[i].ok)
            continue;
        /* two roundings at most */
        cr_expect(isnan(cases[i].length) ? isnan(length) : fabs(length - cases[i].length) <= 1e-15 * length,
                  "%s", cases[i].text);
        cr_expect(isnan(cases[i].share) ? isnan(share) : fabs(share - cases[i].share) <= 1e-15, "%s",
                  cases[i].text);
    }
}

Test(version, face_size_share_becomes_a_length_once_the_reference_is_measured)
{
    int64_t scan = add_version(&folder, specimen, "scan", 0, "s1");
    const struct store_version_new wanted = {.specimen = specimen,
                                             .kind = "cage",
                                             .made_from = scan,
                                             .face_size = NAN,
                                             .face_size_share = 0.01,
                                             .file_name = "c.obj"};
    int64_t cage;
    bool created;
    cr_assert(try_version(&folder, &wanted, "c1", &cage, &created));
    cr_expect(isnan(version_of(&folder, cage).face_size));

    run_next_job(&folder, 0, NAN); /* the scan: a diagonal of 200 */

    cr_expect_float_eq(version_of(&folder, cage).face_size, 2.0, 1e-12);
    cr_expect_eq(version_of(&folder, cage).face_size_share, 0.01);
}
