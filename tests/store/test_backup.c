/* test_backup.c
 *   backup_*  a copy made beside an open store is whole, and only grows
 *   verify_*  each kind of damage is found and named; an intact folder has none */
#include "store/folder.h"
#include "store/inside.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static struct folder folder;
static int64_t specimen, scan, run;

static void begin(void)
{
    folder_begin(&folder);
    specimen = add_specimen(&folder, "A-1");
    scan = add_version(&folder, specimen, "scan", 0, "some bytes of a scan");
    run = run_next_job(&folder, 1, NAN);
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(backup, .init = begin, .fini = end);

static struct store_backup_figures back_up(const char *dest)
{
    struct store_backup_figures figures;
    mkdir(dest, 0750);
    int fd = open(dest, O_RDONLY | O_DIRECTORY);
    cr_assert(store_backup(folder.store, fd, &figures, &folder.err), "%s", folder.err.text);
    close(fd);
    return figures;
}

static int64_t findings_in(const char *path)
{
    struct folder other = folder;
    cr_assert_lt(strlen(path), sizeof other.path);
    strcpy(other.path, path);
    return verify_folder(&other).figures.findings;
}

Test(backup, backup_is_whole_and_opens)
{
    char dest[80];
    struct store *copy;
    struct store_specimen found;
    snprintf(dest, sizeof dest, "%s-copy", folder.path);

    struct store_backup_figures figures = back_up(dest);

    cr_expect_eq(figures.blobs_copied, 1);
    cr_expect_eq(findings_in(dest), 0);
    cr_assert(store_open(dest, false, &folder.options, &copy, &folder.err), "%s", folder.err.text);
    cr_assert(store_specimen_get(copy, specimen, &folder.arena, &found, &folder.err));
    cr_expect_eq(found.trend[0].run, run);
    store_close(copy);
    char command[128];
    snprintf(command, sizeof command, "rm -rf %s", dest);
    cr_expect_eq(system(command), 0);
}

Test(backup, backup_again_copies_only_what_is_new)
{
    char dest[80];
    snprintf(dest, sizeof dest, "%s-copy", folder.path);
    back_up(dest);
    add_version(&folder, specimen, "cage", scan, "a cage");

    struct store_backup_figures figures = back_up(dest);

    cr_expect_eq(figures.blobs_copied, 1);
    cr_expect_eq(figures.blobs_present, 1);
    cr_expect_eq(findings_in(dest), 0);
    char command[128];
    snprintf(command, sizeof command, "rm -rf %s", dest);
    cr_expect_eq(system(command), 0);
}

Test(backup, backup_into_itself_is_refused)
{
    struct store_backup_figures figures;
    cr_expect_not(store_backup(folder.store, store_folder_fd(folder.store), &figures, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_USAGE);
}

Test(backup, verify_finds_nothing_in_an_intact_folder)
{
    struct verdict verdict = verify_folder(&folder);
    cr_expect_eq(verdict.figures.findings, 0, "%s", verdict.first_finding);
    cr_expect_eq(verdict.figures.notes, 0, "%s", verdict.first_note);
    cr_expect_eq(verdict.figures.blobs_hashed, 1);
    cr_expect_eq(verdict.figures.runs, 1);
}

Test(backup, verify_finds_one_flipped_bit_wherever_it_is)
{
    for (long at = 0; at < 20; at++) {
        const char *path = blob_path_of(&folder, scan);
        flip_byte(path, at);
        struct verdict verdict = verify_folder(&folder);
        cr_expect_eq(verdict.figures.findings, 1);
        cr_expect(strstr(verdict.first_finding, "specimen A-1 scan 1 is damaged") != NULL, "%s",
                  verdict.first_finding);
        flip_byte(blob_path_of(&folder, scan), at);
    }
}

Test(backup, verify_finds_a_short_a_missing_and_a_foreign_file)
{
    cr_assert_eq(chmod(blob_path_of(&folder, scan), 0600), 0);
    cr_assert_eq(truncate(blob_path_of(&folder, scan), 3), 0);
    cr_expect(strstr(verify_folder(&folder).first_finding, "has 3 bytes instead of 20") != NULL);

    cr_assert_eq(unlink(blob_path_of(&folder, scan)), 0);
    cr_expect(strstr(verify_folder(&folder).first_finding, "is missing") != NULL);

    FILE *foreign = fopen(path_in(&folder, "blobs/readme"), "w");
    fclose(foreign);
    cr_expect(strstr(verify_folder(&folder).first_note, "readme") != NULL);
}

static void change(const char *sql)
{
    cr_assert(connection_exec(&folder.store->writer, sql, &folder.err), "%s", folder.err.text);
}

Test(backup, verify_finds_a_changed_record)
{
    change("UPDATE run_record SET sha256 = zeroblob(32)");
    cr_expect(strstr(verify_folder(&folder).first_finding, "record of run 1 is damaged") != NULL);
    change("UPDATE run_record SET packed = x'00'");
    cr_expect(strstr(verify_folder(&folder).first_finding, "record of run 1 is damaged") != NULL);
    change("DELETE FROM run_record");
    cr_expect(strstr(verify_folder(&folder).first_finding, "run 1 has no record") != NULL);
}

Test(backup, verify_finds_rows_that_point_nowhere_and_summaries_that_lie)
{
    change("UPDATE specimen SET cage_count = 7");
    cr_expect(strstr(verify_folder(&folder).first_finding, "summary of specimen A-1") != NULL);
    change("PRAGMA foreign_keys = OFF; DELETE FROM blob; PRAGMA foreign_keys = ON");
    cr_expect(strstr(verify_folder(&folder).first_finding, "points to a row of blob") != NULL);
}

Test(backup, verify_finds_a_torn_database)
{
    store_close(folder.store);
    folder.store = NULL;
    FILE *file = fopen(path_in(&folder, "fettle.db"), "r+b");
    fseek(file, 4096 * 3, SEEK_SET);
    for (int i = 0; i < 4096 * 4; i++)
        fputc(0xa5, file);
    fclose(file);

    cr_expect_gt(verify_folder(&folder).figures.findings, 0);
}

static void ignore(void *context, bool is_note, const char *text)
{
    (void)context, (void)is_note, (void)text;
}

Test(backup, verify_of_a_sample_hashes_a_part)
{
    struct store_verify_figures figures;
    for (int i = 0; i < 9; i++) {
        char bytes[32];
        snprintf(bytes, sizeof bytes, "cage %d", i);
        add_version(&folder, specimen, "cage", scan, bytes);
    }
    int64_t hashed = 0;
    for (size_t part = 1; part <= 5; part++) {
        cr_assert(store_verify(folder.path, part, 5, ignore, NULL, &figures, &folder.err));
        cr_expect_eq(figures.blobs, 10);
        hashed += figures.blobs_hashed;
    }
    cr_expect_eq(hashed, 10, "the parts together are the whole");
}
