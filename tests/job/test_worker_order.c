/* test_worker_order.c
 *   round_*    what is written is read back
 *   refused_*  arguments that nobody wrote */
#include "job/worker_order.h"

#include <criterion/criterion.h>
#include <string.h>

#define HASH "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

static size_t count(char **argv)
{
    size_t n = 0;
    while (argv[n])
        n++;
    return n;
}

Test(worker_order, round_trip_with_and_without_a_reference)
{
    const struct worker_order orders[] = {
        {.subject_name = "--odd name.obj",
         .subject_sha256 = HASH,
         .kind = "scan",
         .units = "mm",
         .tolerances = "0.1 0.5",
         .certify = "1.0000000000000001e-05",
         .threads = 2,
         .address_space_bytes = (uint64_t)1 << 40,
         .file_bytes = 7,
         .cpu_seconds = 600,
         .parent = 12},
        {.subject_name = "c",
         .subject_sha256 = HASH,
         .reference_name = "s",
         .reference_sha256 = HASH,
         .kind = "cage",
         .units = "in",
         .threads = 1,
         .file_bytes = 7,
         .cpu_seconds = 1},
    };
    for (size_t i = 0; i < sizeof orders / sizeof orders[0]; i++) {
        struct worker_arguments arguments;
        struct worker_order got;
        struct error err = {0};
        worker_order_write(&orders[i], "/proc/self/exe", &arguments);

        cr_assert(worker_order_read((int)count(arguments.argv) - 1, arguments.argv + 1, &got, &err), "%s",
                  err.text);

        cr_expect_str_eq(got.subject_name, orders[i].subject_name);
        cr_expect_eq(got.reference_sha256 == NULL, orders[i].reference_sha256 == NULL);
        cr_expect_str_eq(got.units, orders[i].units);
        cr_expect_eq(got.tolerances == NULL, orders[i].tolerances == NULL);
        if (orders[i].tolerances)
            cr_expect_str_eq(got.tolerances, orders[i].tolerances);
        cr_expect_eq(got.certify == NULL, orders[i].certify == NULL);
        if (orders[i].certify)
            cr_expect_str_eq(got.certify, orders[i].certify);
        cr_expect_eq(got.address_space_bytes, orders[i].address_space_bytes);
        cr_expect_eq(got.cpu_seconds, orders[i].cpu_seconds);
        cr_expect_eq(got.parent, orders[i].parent);
    }
}

Test(worker_order, refused_arguments)
{
    static char *const cases[][6] = {
        {"work", NULL},
        {"work", "--threads", NULL},
        {"work", "--threads", "two", NULL},
        {"work", "--frobnicate", "1", NULL},
        {"work", "--threads", "99999999999999999999", NULL},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct worker_order order;
        struct error err = {0};
        char *argv[6];
        memcpy(argv, cases[i], sizeof argv);
        cr_expect_not(worker_order_read((int)count(argv), argv, &order, &err), "case %zu", i);
        cr_expect_eq(err.code, ERROR_USAGE);
    }
}
