/* test_part.c
 *   create_*   rows and files of uploads in pieces; what is refused
 *   piece_*    appending, offsets, one at a time, checked pieces
 *   whole_*    the version that is made of it, and crashes before and after
 *   start_*    what a start keeps and clears
 *   expired_*  what is removed
 *   sync_*     a failed fsync
 *   copy_*     verify and backup beside a part */
#include "store/folder.h"
#include "store/inside.h"
#include "store/part.h"

#include <criterion/criterion.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

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
TestSuite(part, .init = begin, .fini = end);

static struct store_version_new wanted(void)
{
    return (struct store_version_new){.specimen = specimen,
                                      .kind = "scan",
                                      .face_size = 0.5,
                                      .face_size_share = NAN,
                                      .file_name = "dir/a.obj",
                                      .by = "B. Keeper",
                                      .note = "in pieces"};
}

static bool try_part(uint64_t bytes, struct store_part *part)
{
    const struct store_version_new version = wanted();
    return store_part_create(folder.store, &version, bytes, "kind c2Nhbg==", part, &folder.err);
}

static struct store_part make_part(uint64_t bytes)
{
    struct store_part part;
    cr_assert(try_part(bytes, &part), "%s", folder.err.text);
    return part;
}

static struct store_part state_of(const char *name)
{
    struct store_part part = {0};
    cr_assert(store_part_get(folder.store, name, &folder.arena, &part, NULL, &folder.err), "%s",
              folder.err.text);
    return part;
}

static struct store_piece *open_piece(const char *name, uint64_t offset, bool is_checked)
{
    struct store_piece *piece = NULL;
    bool locked;
    cr_assert(store_piece_begin(folder.store, name, offset, is_checked, &piece, &locked, &folder.err), "%s",
              folder.err.text);
    return piece;
}

static bool begins(const char *name, uint64_t offset, bool *locked)
{
    struct store_piece *piece = NULL;
    bool ok = store_piece_begin(folder.store, name, offset, false, &piece, locked, &folder.err);
    store_piece_close(piece);
    return ok;
}

static bool send(const char *name, uint64_t offset, const char *bytes, struct store_part *part)
{
    struct store_piece *piece = open_piece(name, offset, false);
    bool ok = store_piece_write(piece, bytes, strlen(bytes), &folder.err)
              && store_piece_finish(piece, part, &folder.err);
    store_piece_close(piece);
    return ok;
}

static const char *file_of(const char *name)
{
    char file[64];
    snprintf(file, sizeof file, "uploads/part-%s", name);
    return path_in(&folder, file);
}

static void change_rows(const char *sql)
{
    cr_assert(connection_exec(&folder.store->writer, sql, &folder.err), "%s", folder.err.text);
}

static int64_t number(const char *sql)
{
    int64_t value = -1;
    cr_assert(connection_number(&folder.store->writer, sql, &value, &folder.err));
    return value;
}

/* The open descriptor of a part's file. */
static int piece_descriptor(const char *name)
{
    char link[64], target[400], wanted[400];
    snprintf(wanted, sizeof wanted, "%s", file_of(name));
    for (int fd = 3; fd < 100; fd++) {
        snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
        ssize_t size = readlink(link, target, sizeof target - 1);
        target[size > 0 ? size : 0] = '\0';
        if (strcmp(target, wanted) == 0)
            return fd;
    }
    return -1;
}

/* Leaves the store as a killed process would: what is in memory is lost, the files stay. */
static void crash(struct store_piece *piece)
{
    folder.store->pieces = NULL;
    if (piece)
        free(piece); /* its descriptor is lost with it, as it should */
    folder_reopen(&folder);
}

Test(part, create_gives_an_empty_upload_that_can_be_asked_for)
{
    struct store_part made = make_part(6), part;
    const char *metadata;

    cr_assert(store_part_get(folder.store, made.name, &folder.arena, &part, &metadata, &folder.err));

    cr_expect_eq(strspn(made.name, "0123456789abcdef"), 32);
    cr_expect_eq(part.bytes, 6);
    cr_expect_eq(part.arrived, 0);
    cr_expect_eq(part.version, 0);
    cr_expect_str_eq(part.expires, made.expires);
    cr_expect_str_eq(metadata, "kind c2Nhbg==");
    cr_expect_eq(access(file_of(made.name), F_OK), 0);
}

Test(part, create_checks_all_that_can_be_before_the_bytes_are_there)
{
    struct store_part part;
    struct store_version_new version = wanted();
    cr_expect_not(try_part(0, &part));
    cr_expect_eq(folder.err.code, ERROR_EMPTY);
    cr_expect_not(try_part((uint64_t)1 << 60, &part));
    cr_expect_eq(folder.err.code, ERROR_MACHINE);
    version.made_from = 77;
    cr_expect_not(store_part_create(folder.store, &version, 6, "", &part, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_USAGE);
    version = wanted();
    version.specimen = 77;
    cr_expect_not(store_part_create(folder.store, &version, 6, "", &part, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
    cr_expect_eq(number("SELECT count(*) FROM part"), 0);
}

Test(part, create_stops_at_the_number_of_unfinished_ones)
{
    struct store_part part, first;
    folder.store->options.parts_max = 2;
    first = make_part(1);
    make_part(1);
    cr_expect_not(try_part(1, &part));
    cr_expect_eq(folder.err.code, ERROR_BUSY);
    cr_assert(send(first.name, 0, "a", &part));
    cr_expect(try_part(1, &part), "a whole one does not count");
}

Test(part, piece_by_piece_the_file_comes_and_the_version_is_made)
{
    struct store_part made = make_part(6), part;

    cr_assert(send(made.name, 0, "ab", &part));
    cr_expect_eq(part.arrived, 2);
    cr_expect_eq(part.version, 0);
    cr_expect_eq(state_of(made.name).arrived, 2);
    cr_assert(send(made.name, 2, "cdef", &part), "%s", folder.err.text);

    cr_expect_eq(part.arrived, 6);
    cr_assert_neq(part.version, 0);
    struct store_version version = version_of(&folder, part.version);
    /* sha256sum of "abcdef" */
    cr_expect_str_eq(version.sha256, "bef57ec7f53a6d40beb640a780a639c83bc29ac8a9816f1fc6c5c6dcd93c4721");
    cr_expect_eq(version.bytes, 6);
    cr_expect_str_eq(version.file_name, "a.obj");
    cr_expect_str_eq(version.by, "B. Keeper");
    cr_expect_str_eq(version.note, "in pieces");
    cr_expect_eq(version.face_size, 0.5);
    cr_expect(isnan(version.face_size_share));
    cr_expect_eq(version.job_count, 1);
    cr_expect_neq(access(file_of(made.name), F_OK), 0, "the bytes are a blob now");
    cr_expect_eq(state_of(made.name).version, part.version, "who missed the answer can ask");
    cr_expect_eq(state_of(made.name).arrived, 6);
}

Test(part, piece_keeps_reference_and_origin_as_they_were_given)
{
    int64_t scan = add_version(&folder, specimen, "scan", 0, "scan");
    struct store_version_new version = wanted();
    struct store_part made, part;
    version.kind = "cage";
    version.made_from = scan;
    version.against_given = true; /* alone, though it was made from a scan */
    version.face_size = NAN;
    version.face_size_share = 0.25;
    cr_assert(store_part_create(folder.store, &version, 1, "", &made, &folder.err));
    cr_assert(send(made.name, 0, "c", &part));
    cr_expect_eq(version_of(&folder, part.version).made_from, scan);
    cr_expect_eq(version_of(&folder, part.version).against, 0);
    cr_expect_eq(version_of(&folder, part.version).face_size_share, 0.25);
}

Test(part, piece_at_another_offset_is_refused)
{
    struct store_part made = make_part(6), part;
    bool locked;
    cr_assert(send(made.name, 0, "ab", &part));
    for (uint64_t offset = 0; offset < 8; offset++) {
        if (offset == 2)
            continue;
        cr_expect_not(begins(made.name, offset, &locked));
        cr_expect_eq(folder.err.code, ERROR_CONFLICT);
        cr_expect_not(locked);
    }
    cr_expect(strstr(folder.err.text, "byte 2") != NULL, "%s", folder.err.text);
}

Test(part, piece_beside_another_is_refused)
{
    struct store_part made = make_part(6);
    bool locked;
    struct store_piece *piece = open_piece(made.name, 0, false);

    cr_expect_not(begins(made.name, 0, &locked));
    cr_expect(locked);

    store_piece_close(piece);
    cr_expect(begins(made.name, 0, &locked));
}

Test(part, piece_whose_upload_is_removed_meanwhile_ends)
{
    struct store_part made = make_part(6), part;
    struct store_piece *piece = open_piece(made.name, 0, false);
    cr_assert(store_piece_write(piece, "ab", 2, &folder.err));

    cr_assert(store_part_remove(folder.store, made.name, &folder.err));

    cr_expect_not(store_piece_write(piece, "cd", 2, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_CONFLICT);
    cr_expect_not(store_piece_finish(piece, &part, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
    store_piece_close(piece);
    cr_expect_neq(access(file_of(made.name), F_OK), 0);
}

Test(part, piece_that_is_cut_off_keeps_what_came)
{
    struct store_part made = make_part(6);
    struct store_piece *piece = open_piece(made.name, 0, false);
    cr_assert(store_piece_write(piece, "abc", 3, &folder.err));
    cr_expect_eq(state_of(made.name).arrived, 3);
    store_piece_close(piece);
    cr_expect_eq(state_of(made.name).arrived, 3);
}

Test(part, piece_that_is_longer_than_said_is_refused)
{
    struct store_part made = make_part(3);
    struct store_piece *piece = open_piece(made.name, 0, false);
    cr_assert(store_piece_write(piece, "ab", 2, &folder.err));
    cr_expect_eq(store_piece_left(piece), 1);
    cr_expect_not(store_piece_write(piece, "cd", 2, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_LIMIT);
    store_piece_undo(piece);
    store_piece_close(piece);
    cr_expect_eq(state_of(made.name).arrived, 0);
}

Test(part, piece_with_a_checksum_counts_once_it_is_finished)
{
    struct store_part made = make_part(6), part;
    cr_assert(send(made.name, 0, "ab", &part));
    struct store_piece *piece = open_piece(made.name, 2, true);
    cr_assert(store_piece_write(piece, "cd", 2, &folder.err));
    cr_expect_eq(state_of(made.name).arrived, 2);
    cr_assert(store_piece_finish(piece, &part, &folder.err));
    store_piece_close(piece);
    cr_expect_eq(state_of(made.name).arrived, 4);
}

Test(part, piece_with_a_checksum_that_is_cut_off_leaves_nothing)
{
    struct store_part made = make_part(6), part;
    cr_assert(send(made.name, 0, "ab", &part));
    struct store_piece *piece = open_piece(made.name, 2, true);
    cr_assert(store_piece_write(piece, "cd", 2, &folder.err));
    store_piece_close(piece);
    cr_expect_eq(state_of(made.name).arrived, 2);
    cr_assert(send(made.name, 2, "xyz!", &part));
    /* sha256sum of "abxyz!" */
    cr_expect_str_eq(version_of(&folder, part.version).sha256,
                     "1f554addd2861415963fe86b9dda585e86c2b82e11897c8f3b9cd8127ab7b65c");
}

Test(part, start_keeps_what_came_at_every_byte)
{
    struct store_part made = make_part(5);
    for (uint64_t at = 0; at < 5; at++) {
        struct store_piece *piece = open_piece(made.name, at, false);
        cr_assert(store_piece_write(piece, &"abcde"[at], 1, &folder.err));
        crash(piece);
        cr_expect_eq(state_of(made.name).arrived, at + 1);
    }
    struct store_piece *piece = open_piece(made.name, 5, false);
    struct store_part part;
    cr_expect(store_piece_finish(piece, &part, &folder.err), "%s", folder.err.text);
    store_piece_close(piece);
    /* sha256sum of "abcde" */
    cr_expect_str_eq(version_of(&folder, part.version).sha256,
                     "36bbe50ed96841d10443bcb670d6554f0a34b761be67ec9c4a8ad2c0c44ca42c");
}

Test(part, start_takes_back_what_a_crash_left_of_a_checked_piece)
{
    struct store_part made = make_part(6), part;
    cr_assert(send(made.name, 0, "ab", &part));
    struct store_piece *piece = open_piece(made.name, 2, true);
    cr_assert(store_piece_write(piece, "XXXX", 4, &folder.err));
    crash(piece);

    cr_expect_eq(state_of(made.name).arrived, 2);
    cr_expect_eq(state_of(made.name).version, 0);
    cr_assert(send(made.name, 2, "cd", &part), "%s", folder.err.text);
    crash(NULL);
    cr_expect_eq(state_of(made.name).arrived, 4, "the mark of the checked piece is gone");
    cr_assert(send(made.name, 4, "ef", &part));
    cr_expect_str_eq(version_of(&folder, part.version).sha256,
                     "bef57ec7f53a6d40beb640a780a639c83bc29ac8a9816f1fc6c5c6dcd93c4721");
}

/* The mark of a checked piece of nothing at the end does not make it one that must be written. */
Test(part, whole_file_that_is_a_blob_is_only_read_even_after_a_checked_piece)
{
    struct store_part made = make_part(3), part;
    change_rows("UPDATE specimen SET state = 'retired'");
    cr_expect_not(send(made.name, 0, "abc", &part), "the blob is made, the version is not");
    store_piece_close(open_piece(made.name, 3, true));
    change_rows("UPDATE specimen SET state = 'new'");

    struct store_piece *piece = open_piece(made.name, 3, false);
    cr_expect_eq(fcntl(piece_descriptor(made.name), F_GETFL) & O_ACCMODE, O_RDONLY);
    cr_expect(store_piece_finish(piece, &part, &folder.err), "%s", folder.err.text);
    store_piece_close(piece);
    cr_expect_eq(verify_folder(&folder).figures.findings, 0);
}

/* As after a kill between the blob and its row: the file is a blob already, and cannot be written. */
Test(part, whole_file_whose_version_a_crash_prevented_gets_it_later)
{
    struct store_part made = make_part(3), part;
    struct store_piece *piece = open_piece(made.name, 0, false);
    cr_assert(store_piece_write(piece, "abc", 3, &folder.err));
    store_piece_close(piece);
    static const char hash[] = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    struct store_upload *upload = NULL;
    char name[64];
    snprintf(name, sizeof name, "part-%s", made.name);
    int fd = openat(folder.store->uploads_fd, name, O_RDWR | O_CLOEXEC);
    cr_assert(upload_adopt(folder.store, fd, name, hash, 3, &upload, &folder.err), "%s", folder.err.text);
    store_upload_close(upload);
    crash(NULL);

    cr_expect_eq(state_of(made.name).arrived, 3);
    cr_assert(send(made.name, 3, "", &part), "%s", folder.err.text);

    cr_expect_str_eq(version_of(&folder, part.version).sha256, hash);
    cr_expect_neq(access(file_of(made.name), F_OK), 0);
    cr_expect_eq(verify_folder(&folder).figures.findings, 0);
    struct store_part again;
    cr_assert(send(made.name, 3, "", &again), "asked once more");
    cr_expect_eq(again.version, part.version);
}

Test(part, whole_file_that_cannot_become_a_version_stays_until_it_can)
{
    struct store_part made = make_part(3), part;
    change_rows("UPDATE specimen SET state = 'retired'");
    cr_expect_not(send(made.name, 0, "abc", &part));
    cr_expect_eq(folder.err.code, ERROR_CONFLICT);
    cr_expect_eq(state_of(made.name).arrived, 3);
    change_rows("UPDATE specimen SET state = 'new'");
    cr_expect(send(made.name, 3, "", &part), "%s", folder.err.text);
    cr_expect_neq(part.version, 0);
}

Test(part, whole_file_of_bytes_that_are_there_is_the_existing_version)
{
    int64_t version = add_version(&folder, specimen, "scan", 0, "abc");
    struct store_part made = make_part(3), part;
    cr_assert(send(made.name, 0, "abc", &part));
    cr_expect_eq(part.version, version);
}

Test(part, whole_file_is_removed_without_its_version)
{
    struct store_part made = make_part(3), part, gone;
    cr_assert(send(made.name, 0, "abc", &part));
    cr_assert(store_part_remove(folder.store, made.name, &folder.err));
    cr_expect_not(store_part_get(folder.store, made.name, &folder.arena, &gone, NULL, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
    cr_expect_eq(version_of(&folder, part.version).bytes, 3);
    cr_expect_not(store_part_remove(folder.store, made.name, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
}

Test(part, start_clears_files_without_a_row)
{
    struct store_part made = make_part(3);
    char command[200];
    snprintf(command, sizeof command,
             "touch %s/uploads/part-0123456789abcdef0123456789abcdef %s/uploads/part-x", folder.path,
             folder.path);
    cr_assert_eq(system(command), 0);
    crash(NULL);
    cr_expect_eq(access(file_of(made.name), F_OK), 0);
    cr_expect_neq(access(file_of("0123456789abcdef0123456789abcdef"), F_OK), 0);
    cr_expect_neq(access(file_of("x"), F_OK), 0);
}

Test(part, start_clears_the_file_of_a_part_that_became_a_version)
{
    struct store_part made = make_part(3), part;
    cr_assert(send(made.name, 0, "abc", &part));
    char command[200];
    snprintf(command, sizeof command, "touch %s", file_of(made.name));
    cr_assert_eq(system(command), 0);
    crash(NULL);
    cr_expect_neq(access(file_of(made.name), F_OK), 0);
    cr_expect_eq(state_of(made.name).version, part.version);
}

Test(part, expired_one_is_not_found_and_goes_with_its_file)
{
    struct store_part made = make_part(3), kept = make_part(3), part;
    bool locked;
    char sql[160];
    snprintf(sql, sizeof sql, "UPDATE part SET expires = '2026-01-01T00:00:00Z' WHERE name = '%s'",
             made.name);
    change_rows(sql);

    cr_expect_not(store_part_get(folder.store, made.name, &folder.arena, &part, NULL, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
    cr_expect_not(begins(made.name, 0, &locked));
    cr_expect_eq(folder.err.code, ERROR_NOT_FOUND);
    store_part_expire(folder.store);

    cr_expect_neq(access(file_of(made.name), F_OK), 0);
    cr_expect_eq(access(file_of(kept.name), F_OK), 0);
    cr_expect_eq(number("SELECT count(*) FROM part"), 1);
}

Test(part, expired_ones_go_at_the_start_and_before_the_next_is_made)
{
    for (int i = 0; i < 5; i++)
        make_part(3);
    change_rows("UPDATE part SET expires = '2026-01-01T00:00:00Z'");
    make_part(3);
    cr_expect_eq(number("SELECT count(*) FROM part"), 1);
    change_rows("UPDATE part SET expires = '2026-01-01T00:00:00Z'");
    crash(NULL);
    cr_expect_eq(number("SELECT count(*) FROM part"), 0);
}

Test(part, expired_one_that_is_being_written_to_is_left_alone)
{
    struct store_part made = make_part(3), part;
    struct store_piece *piece = open_piece(made.name, 0, false);
    change_rows("UPDATE part SET expires = '2026-01-01T00:00:00Z'");
    store_part_expire(folder.store);
    cr_expect_eq(access(file_of(made.name), F_OK), 0);

    cr_assert(store_piece_write(piece, "ab", 2, &folder.err)
              && store_piece_finish(piece, &part, &folder.err));
    store_piece_close(piece);
    cr_expect_eq(state_of(made.name).arrived, 2, "it is kept for longer now");
}

Test(part, expired_is_later_with_every_piece)
{
    struct store_part made = make_part(3), part;
    change_rows("UPDATE part SET expires = '9999-01-01T00:00:00Z'");
    cr_assert(send(made.name, 0, "a", &part));
    cr_expect_geq(strcmp(part.expires, made.expires), 0);
    cr_expect_lt(strcmp(part.expires, "9999-01-01T00:00:00Z"), 0, "counted from now");
    cr_expect_str_eq(state_of(made.name).expires, part.expires);
}

/* fsync fails at the nth call and works at every other. */
static int calls_until_failure;
static int failing_sync(int fd)
{
    if (--calls_until_failure == 0) {
        errno = EIO;
        return -1;
    }
    return fsync(fd);
}

Test(part, sync_that_fails_anywhere_makes_the_store_read_only_and_acknowledges_nothing)
{
    int failures = 0;
    for (int n = 1; n <= 9; n++) {
        struct store_part made, part;
        char bytes[] = {'a', 'b', (char)('a' + n), '\0'};
        store_close(folder.store);
        folder.options.sync = failing_sync;
        calls_until_failure = n;
        cr_assert(store_open(folder.path, false, &folder.options, &folder.store, &folder.err));
        bool ok = try_part(3, &made) && send(made.name, 0, bytes, &part);
        if (ok) {
            cr_expect_gt(calls_until_failure, 0, "success only where no sync failed");
            continue;
        }
        failures++;
        cr_expect_eq(folder.err.code, ERROR_STORE);
        cr_expect_eq(store_condition(folder.store, NULL, 0), STORE_READ_ONLY);
    }
    cr_expect_eq(failures, 6, "uploads/, the piece; then file, blobs/, blobs/ab/, blobs/ab/cd/ of the blob");
}

static void copy_to(struct folder *copy)
{
    struct store_backup_figures figures;
    memset(copy, 0, sizeof *copy);
    copy->options = folder.options;
    strcpy(copy->path, "/tmp/fettle-test-XXXXXX");
    cr_assert(mkdtemp(copy->path) != NULL);
    int fd = open(copy->path, O_RDONLY | O_DIRECTORY);
    cr_assert(store_backup(folder.store, fd, &figures, &folder.err), "%s", folder.err.text);
    close(fd);
    cr_assert(arena_open(&copy->arena, (size_t)32 << 20, &folder.err));
}

Test(part, copy_begins_unfinished_ones_from_nothing_and_verify_is_clean)
{
    struct store_part made = make_part(6), whole = make_part(3), part;
    struct folder copy;
    cr_assert(send(made.name, 0, "ab", &part) && send(whole.name, 0, "abc", &part));
    int64_t version = part.version;
    cr_expect_eq(verify_folder(&folder).figures.findings + verify_folder(&folder).figures.notes, 0);

    copy_to(&copy);
    cr_expect_eq(verify_folder(&copy).figures.findings + verify_folder(&copy).figures.notes, 0);
    cr_assert(store_open(copy.path, false, &copy.options, &copy.store, &copy.err), "%s", copy.err.text);
    cr_assert(store_part_get(copy.store, made.name, &copy.arena, &part, NULL, &copy.err));
    cr_expect_eq(part.arrived, 0);
    cr_assert(store_part_get(copy.store, whole.name, &copy.arena, &part, NULL, &copy.err));
    cr_expect_eq(part.version, version);

    struct store *original = folder.store;
    folder.store = copy.store;
    cr_expect(send(made.name, 0, "abcdef", &part), "%s", folder.err.text);
    folder.store = original;
    folder_end(&copy);
}
