/* test_upload.c
 *   blob_*      where bytes end up, under which name and mode; equal bytes once
 *   refused_*   empty, no room on the disk, damaged
 *   sync_*      a failed fsync at each place: nothing acknowledged, the store read-only
 *   sweep_*     blobs that nobody needs */
#include "store/folder.h"
#include "store/inside.h"

#include <criterion/criterion.h>
#include <errno.h>
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
TestSuite(upload, .init = begin, .fini = end);

/* SHA-256 of "abc": FIPS 180-4, examples of NIST. */
#define ABC "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

static bool upload(const char *bytes, char sha256[DIGEST_HEX_SIZE])
{
    struct store_upload *handle = NULL;
    bool ok = store_upload_begin(folder.store, 0, &handle, &folder.err)
              && store_upload_write(handle, bytes, strlen(bytes), &folder.err)
              && store_upload_finish(handle, sha256, &folder.err);
    store_upload_close(handle);
    return ok;
}

static size_t entries_in(const char *name)
{
    char command[200], line[32] = "";
    snprintf(command, sizeof command, "find %s/%s -type f | wc -l", folder.path, name);
    FILE *out = popen(command, "r");
    cr_assert(fgets(line, sizeof line, out) != NULL);
    pclose(out);
    return strtoul(line, NULL, 10);
}

Test(upload, blob_is_named_by_its_hash_and_cannot_be_written)
{
    char sha256[DIGEST_HEX_SIZE];
    struct stat status;

    cr_assert(upload("abc", sha256));

    cr_expect_str_eq(sha256, ABC);
    cr_assert_eq(stat(path_in(&folder, "blobs/ba/78/" ABC), &status), 0);
    cr_expect_eq(status.st_mode & 07777, 0440);
    cr_expect_eq(status.st_size, 3);
    cr_expect_eq(entries_in("uploads"), 0);
}

Test(upload, blob_of_equal_bytes_is_kept_once)
{
    char sha256[DIGEST_HEX_SIZE];
    cr_assert(upload("abc", sha256) && upload("abc", sha256));
    cr_expect_eq(entries_in("blobs"), 1);
}

Test(upload, blob_that_is_given_up_leaves_nothing)
{
    struct store_upload *handle = NULL;
    cr_assert(store_upload_begin(folder.store, 0, &handle, &folder.err));
    cr_assert(store_upload_write(handle, "abc", 3, &folder.err));

    store_upload_close(handle);

    cr_expect_eq(entries_in("uploads") + entries_in("blobs"), 0);
}

Test(upload, refused_when_empty)
{
    cr_expect_not(upload("", NULL));
    cr_expect_eq(folder.err.code, ERROR_EMPTY);
}

Test(upload, refused_when_it_would_eat_into_the_reserve)
{
    struct store_upload *handle = NULL;
    cr_expect_not(store_upload_begin(folder.store, (uint64_t)1 << 60, &handle, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_MACHINE);
}

Test(upload, refused_on_read_when_one_bit_has_turned)
{
    int64_t specimen = add_specimen(&folder, "A-1"),
            version = add_version(&folder, specimen, "scan", 0, "abc");
    const char *sha256 = version_of(&folder, version).sha256;
    int fd;
    uint64_t bytes;
    cr_assert(store_blob_open(folder.store, sha256, &fd, &bytes, &folder.err));
    cr_expect_eq(bytes, 3);
    close(fd);

    flip_byte(blob_path_of(&folder, version), 1);

    cr_expect_not(store_blob_open(folder.store, sha256, &fd, &bytes, &folder.err));
    cr_expect_eq(folder.err.code, ERROR_STORE);
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

Test(upload, sync_that_fails_anywhere_makes_the_store_read_only)
{
    int failures = 0;
    for (int n = 1; n <= 8; n++) {
        char sha256[DIGEST_HEX_SIZE], why[160], bytes[32];
        store_close(folder.store);
        folder.options.sync = failing_sync;
        cr_assert(store_open(folder.path, false, &folder.options, &folder.store, &folder.err));
        snprintf(bytes, sizeof bytes, "bytes %d", n);
        calls_until_failure = n;
        if (upload(bytes, sha256)) {
            cr_expect_gt(calls_until_failure, 0, "success only where no sync failed");
            continue;
        }
        failures++;
        cr_expect_eq(folder.err.code, ERROR_STORE);
        cr_expect_eq(store_condition(folder.store, why, sizeof why), STORE_READ_ONLY);
        cr_expect(strstr(why, "durable") != NULL, "%s", why);
        cr_expect_not(upload("more", sha256), "every change is refused afterwards");
        int64_t id;
        const struct store_specimen_new wanted = {"A-1", "b", "mm", NULL, NULL};
        cr_expect_not(store_specimen_create(folder.store, &wanted, &id, &folder.err));
        cr_expect_eq(folder.err.code, ERROR_STORE);
    }
    cr_expect_eq(failures, 4, "file, blobs/, blobs/ab/, blobs/ab/cd/");
}

Test(upload, sweep_takes_old_blobs_without_a_row_only)
{
    char sha256[DIGEST_HEX_SIZE];
    struct store_upload *open_upload = NULL;
    int64_t specimen = add_specimen(&folder, "A-1"),
            version = add_version(&folder, specimen, "scan", 0, "kept");
    cr_assert(upload("abc", sha256));
    cr_assert(store_upload_begin(folder.store, 0, &open_upload, &folder.err)
              && store_upload_write(open_upload, "on its way", 10, &folder.err)
              && store_upload_finish(open_upload, NULL, &folder.err));

    blob_sweep(folder.store, 3600);
    cr_expect_eq(entries_in("blobs"), 3, "all are younger");
    cr_expect_eq(verify_folder(&folder).figures.findings, 0, "blobs without a row are legal");
    cr_expect_eq(verify_folder(&folder).figures.notes, 2);

    blob_sweep(folder.store, 0);
    cr_expect_eq(entries_in("blobs"), 2, "one is kept by its row, one by its open upload");
    cr_expect_eq(access(blob_path_of(&folder, version), F_OK), 0);

    store_upload_close(open_upload);
    blob_sweep(folder.store, 0);
    cr_expect_eq(entries_in("blobs"), 1);
}
