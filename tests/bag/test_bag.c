/* test_bag.c
 *   whole_*   what the writer writes, the reader reads and every rule finds right
 *   same_*    the same calls give the same bytes
 *   small_*   ever smaller arenas: refused, never a crash
 */
#include "bag/bag_check.h"
#include "bag/bag_writer.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static FILE *write_bag(const char *payload)
{
    FILE *file = tmpfile();
    struct bag_writer *writer;
    struct error err = {0};
    cr_assert(bag_writer_open(fileno(file), "bag", 1795000000, &writer, &err));
    cr_assert(bag_writer_add(writer, "data/a.txt", payload, strlen(payload), &err), "%s", err.text);
    cr_assert(bag_writer_add(writer, "data/empty", "", 0, &err));
    cr_assert(bag_writer_add(writer, "data/50%.txt", "x", 1, &err));
    cr_expect_not(bag_writer_add(writer, "data/a.txt", "x", 1, &err), "once only");
    cr_expect_not(bag_writer_add(writer, "../a.txt", "x", 1, &err), "not outside");
    cr_assert(bag_writer_manifests(writer, "Bagging-Date: 2026-11-28\n", &err), "%s", err.text);
    cr_assert(bag_writer_finish(writer, &err));
    bag_writer_close(writer);
    return file;
}

static bool open_bag(FILE *zip, FILE *spool, struct arena *arena, struct bag *bag, struct error *err)
{
    struct bag_limits limits = bag_limits_default();
    return bag_open_zip(fileno(zip), fileno(spool), &limits, arena, bag, err);
}

Test(bag, whole_bag_is_read_and_every_rule_holds)
{
    struct bag_problems *problems = calloc(1, sizeof *problems);
    struct error err = {0};
    struct arena arena;
    struct bag bag;
    const char *bytes;
    FILE *zip = write_bag("abc"), *spool = tmpfile();
    cr_assert(arena_open(&arena, (size_t)1 << 24, &err));
    cr_assert(open_bag(zip, spool, &arena, &bag, &err), "%s", err.text);
    cr_expect_str_eq(bag.name, "bag");
    cr_expect_eq(bag.count, 9);
    const struct bag_file *file = bag_find(&bag, "data/a.txt");
    cr_assert(file != NULL);
    cr_expect_str_eq(file->sha256, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    cr_expect_str_eq(file->sha512, "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a"
                                   "2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f");
    cr_assert(bag_read(&bag, file, 3, &arena, &bytes, &err));
    cr_expect_str_eq(bytes, "abc");
    cr_expect_not(bag_read(&bag, file, 2, &arena, &bytes, &err), "longer than allowed");
    problems->keep = &arena;
    cr_assert(bag_check(&bag, &arena, problems, &err), "%s", err.text);
    cr_expect_eq(problems->total, 0, "%s: %s", problems->items[0].path, problems->items[0].text);
    arena_close(&arena);
    free(problems);
    fclose(zip);
    fclose(spool);
}

static char *read_all(FILE *file, size_t *size)
{
    *size = (size_t)lseek(fileno(file), 0, SEEK_END);
    char *bytes = malloc(*size);
    cr_assert(pread(fileno(file), bytes, *size, 0) == (ssize_t)*size);
    return bytes;
}

Test(bag, same_calls_give_the_same_bytes)
{
    size_t sizes[2];
    FILE *files[2] = {write_bag("abc"), NULL};
    setenv("TZ", "America/St_Johns", 1);
    files[1] = write_bag("abc");
    char *bytes[2] = {read_all(files[0], &sizes[0]), read_all(files[1], &sizes[1])};
    cr_assert(sizes[0] == sizes[1]);
    cr_expect(memcmp(bytes[0], bytes[1], sizes[0]) == 0);
    for (int i = 0; i < 2; i++) {
        free(bytes[i]);
        fclose(files[i]);
    }
}

Test(bag, small_arenas_and_every_shorter_zip_are_refused)
{
    struct error err = {0};
    struct arena arena;
    struct bag bag;
    size_t size;
    FILE *zip = write_bag("abc"), *spool = tmpfile();
    char *bytes = read_all(zip, &size);
    cr_assert(arena_open(&arena, (size_t)1 << 24, &err));
    for (size_t left = 0; left < 8192; left += 64) {
        struct arena part = arena, small;
        if (arena_split(&part, left, &small) && !open_bag(zip, spool, &small, &bag, &err))
            cr_expect_eq(err.code, ERROR_LIMIT, "%s", err.text);
    }
    for (size_t shorter = 0; shorter < size; shorter += 7) {
        struct arena copy = arena;
        cr_assert(ftruncate(fileno(zip), (off_t)(size - 1 - shorter)) == 0);
        cr_expect_not(open_bag(zip, spool, &copy, &bag, &err));
    }
    free(bytes);
    arena_close(&arena);
    fclose(zip);
    fclose(spool);
}

/* Every byte of a small zip, changed in every bit pattern's simplest way: read, refused or told; never a
 * crash, never a byte more than was said. */
Test(bag, small_changes_of_any_byte_are_refused_or_told)
{
    struct bag_problems *problems = calloc(1, sizeof *problems);
    struct error err = {0};
    struct arena arena;
    struct bag bag;
    size_t size, unseen = 0;
    FILE *zip = write_bag("abc"), *spool = tmpfile();
    char *bytes = read_all(zip, &size);
    cr_assert(arena_open(&arena, (size_t)1 << 24, &err));
    for (size_t at = 0; at < size; at++) {
        struct arena copy = arena;
        char changed = (char)(bytes[at] ^ 0x40);
        cr_assert(pwrite(fileno(zip), &changed, 1, (off_t)at) == 1);
        *problems = (struct bag_problems){.keep = &copy};
        if (open_bag(zip, spool, &copy, &bag, &err) && bag_check(&bag, &copy, problems, &err)
            && problems->total == 0)
            unseen++; /* times, versions and attributes say nothing of a file */
        cr_assert(pwrite(fileno(zip), &bytes[at], 1, (off_t)at) == 1);
    }
    cr_expect_lt(unseen, 9 * 60, "of %zu bytes", size);
    free(bytes);
    free(problems);
    arena_close(&arena);
    fclose(zip);
    fclose(spool);
}
