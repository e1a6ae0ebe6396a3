/* test_run_files.c
 *   saved_*   what stands in the folder afterwards
 *   failed_*  a file that cannot be written leaves nothing, not even a part */
#include "json/run_files.h"

#include <criterion/criterion.h>
#include <dirent.h>
#include <fcntl.h>
#include <jansson.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

struct folder {
    char path[64];
    int fd;
};

static struct folder new_folder(void)
{
    struct folder folder = {"/tmp/fettle-files-XXXXXX", -1};
    cr_assert(mkdtemp(folder.path) != NULL);
    folder.fd = open(folder.path, O_RDONLY | O_DIRECTORY);
    cr_assert_geq(folder.fd, 0);
    return folder;
}

/* Removes it with what is in it; returns how many files that were. */
static size_t remove_folder(struct folder *folder)
{
    size_t count = 0;
    DIR *listing = fdopendir(folder->fd);
    for (struct dirent *entry; (entry = readdir(listing));)
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0) {
            count++;
            unlinkat(dirfd(listing), entry->d_name, 0);
        }
    closedir(listing);
    rmdir(folder->path);
    return count;
}

static size_t read_back(const struct folder *folder, const char *name, void *bytes, size_t size)
{
    int fd = openat(folder->fd, name, O_RDONLY);
    cr_assert_geq(fd, 0, "%s", name);
    ssize_t count = read(fd, bytes, size);
    close(fd);
    return (size_t)count;
}

Test(run_files, saved_file_replaces_the_old_one)
{
    struct folder folder = new_folder();
    struct error err;
    char bytes[16];

    cr_assert(run_file_save(folder.fd, "record.json", "long and old", 12, &err));
    cr_assert(run_file_save(folder.fd, "record.json", "new", 3, &err));
    cr_expect_eq(read_back(&folder, "record.json", bytes, sizeof bytes), 3u);
    cr_expect_eq(memcmp(bytes, "new", 3), 0);
    cr_expect_eq(remove_folder(&folder), 1u);
}

Test(run_files, saved_fields_are_little_endian_doubles)
{
    struct folder folder = new_folder();
    struct run *run = calloc(1, sizeof *run);
    double distances[3] = {1.0, -2.5, NAN}, *many = calloc(5000, sizeof *many);
    unsigned char bytes[5000 * 8 + 1];
    struct error err;

    run->fields.count = 2;
    run->fields.fields[0] = (struct deviation_field){"distance", false, 3, distances, false};
    run->fields.fields[1] = (struct deviation_field){"nearest_face", true, 5000, many, true};
    cr_assert(run_fields_save(run, folder.fd, &err));

    cr_expect_eq(read_back(&folder, "distance.bin", bytes, sizeof bytes), 24u);
    /* IEEE 754: 1.0 is 3ff0..., -2.5 is c004... */
    cr_expect_eq(memcmp(bytes, "\0\0\0\0\0\0\xf0\x3f\0\0\0\0\0\0\x04\xc0", 16), 0);
    cr_expect_eq(read_back(&folder, "nearest_face.bin", bytes, sizeof bytes), 40000u);

    size_t size = read_back(&folder, "fields.json", bytes, sizeof bytes);
    json_t *document = json_loadb((char *)bytes, size, 0, NULL);
    json_t *fields = json_object_get(document, "fields");
    cr_expect_eq(json_array_size(fields), 2u);
    cr_expect_str_eq(json_string_value(json_object_get(json_array_get(fields, 1), "per")), "face");
    cr_expect_eq(json_integer_value(json_object_get(json_array_get(fields, 0), "count")), 3);
    json_decref(document);
    cr_expect_eq(remove_folder(&folder), 3u);
    free(many);
    free(run);
}

Test(run_files, failed_writing_leaves_nothing)
{
    struct folder folder = new_folder();
    struct rlimit limit = {4096, 4096}; /* RLIMIT_FSIZE: writing more is EFBIG, as a full disk is ENOSPC */
    struct error err;
    char *large = calloc(1, 100000);

    cr_expect_not(run_file_save(folder.fd, "no/such/folder", "x", 1, &err));
    cr_expect_eq((int)err.code, (int)ERROR_MACHINE);
    signal(SIGXFSZ, SIG_IGN);
    cr_assert_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
    cr_expect_not(run_file_save(folder.fd, "record.json", large, 100000, &err));
    cr_expect_eq((int)err.code, (int)ERROR_MACHINE);
    cr_expect(strstr(err.text, "cannot write 'record.json'") != NULL, "%s", err.text);
    cr_expect_eq(remove_folder(&folder), 0u);
    free(large);
}
