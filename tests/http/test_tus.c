/* test_tus.c
 *   base64_*    the test vectors of RFC 4648 section 10, and what is not Base64
 *   number_*    offsets and lengths
 *   metadata_*  keys with values, the protocol's example, broken ones
 *   checksum_*  the protocol's example, both algorithms, broken ones
 *   date_*      the example of RFC 9110 section 5.6.7 */
#include "http/tus.h"

#include "http/base64.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <string.h>

static struct arena arena;
static struct error err;

static void begin(void)
{
    cr_assert(arena_open(&arena, 1 << 20, &err));
}
static void end(void)
{
    arena_close(&arena);
}
TestSuite(tus, .init = begin, .fini = end);

Test(tus, base64_of_the_published_vectors)
{
    static const char *const vectors[][2] = {{"", ""},
                                             {"Zg==", "f"},
                                             {"Zm8=", "fo"},
                                             {"Zm9v", "foo"},
                                             {"Zm9vYg==", "foob"},
                                             {"Zm9vYmE=", "fooba"},
                                             {"Zm9vYmFy", "foobar"}};
    for (size_t i = 0; i < sizeof vectors / sizeof *vectors; i++) {
        unsigned char out[16];
        size_t count;
        cr_assert(base64_decode(vectors[i][0], strlen(vectors[i][0]), out, &count), "%s", vectors[i][0]);
        cr_expect_eq(count, strlen(vectors[i][1]));
        cr_expect_eq(memcmp(out, vectors[i][1], count), 0, "%s", vectors[i][0]);
    }
}

Test(tus, base64_is_read_strictly)
{
    static const char *const broken[] = {
        "Z", "Zg", "Zg=", "Zg=a", "=g==", "====", "Zh==", "Zm9=", "Zm-_", "Zm9v\n"};
    for (size_t i = 0; i < sizeof broken / sizeof *broken; i++) {
        unsigned char out[16];
        size_t count;
        cr_expect_not(base64_decode(broken[i], strlen(broken[i]), out, &count), "%s", broken[i]);
    }
}

Test(tus, number_is_digits_only)
{
    static const char *const broken[] = {"", "-1", "+1", " 1", "1 ", "0x1", "1e3", "1234567890123456789"};
    uint64_t number;
    cr_assert(tus_number_parse("Upload-Offset", "0", &number, &err));
    cr_expect_eq(number, 0);
    cr_assert(tus_number_parse("Upload-Offset", "123456789012345678", &number, &err));
    cr_expect_eq(number, 123456789012345678u);
    for (size_t i = 0; i < sizeof broken / sizeof *broken; i++)
        cr_expect_not(tus_number_parse("Upload-Offset", broken[i], &number, &err), "%s", broken[i]);
    cr_expect_not(tus_number_parse("Upload-Offset", NULL, &number, &err));
    cr_expect(eq(str, err.text, "Upload-Offset is missing"));
}

/* The example of the protocol's section "Upload-Metadata". */
Test(tus, metadata_example_has_a_value_and_a_key_without_one)
{
    struct target metadata;
    cr_assert(tus_metadata_parse("filename d29ybGRfZG9taW5hdGlvbl9wbGFuLnBkZg==,is_confidential", &arena,
                                 &metadata, &err));
    cr_expect_eq(metadata.parameter_count, 2);
    cr_expect(eq(str, (char *)target_parameter(&metadata, "filename"), "world_domination_plan.pdf"));
    cr_expect(eq(str, (char *)target_parameter(&metadata, "is_confidential"), ""));
    cr_expect(target_parameter(&metadata, "other") == NULL);
}

Test(tus, metadata_may_be_missing_or_have_blanks_after_commas)
{
    struct target metadata;
    cr_assert(tus_metadata_parse(NULL, &arena, &metadata, &err));
    cr_expect_eq(metadata.parameter_count, 0);
    cr_assert(tus_metadata_parse("a Zg==, b Zm8=", &arena, &metadata, &err));
    cr_expect(eq(str, (char *)target_parameter(&metadata, "b"), "fo"));
}

Test(tus, metadata_that_is_broken_is_refused)
{
    static const char *const broken[] = {",",        "a Zg==,", "a Zg==,,b",     "a Zg",          "a  Zg==",
                                         "a Zg== x", " ,a",     "a Zg==,a Zm8=", "\xc3\xa4 Zg==", "a AA=="};
    for (size_t i = 0; i < sizeof broken / sizeof *broken; i++) {
        struct target metadata;
        cr_expect_not(tus_metadata_parse(broken[i], &arena, &metadata, &err), "%s", broken[i]);
        cr_expect_eq(err.code, ERROR_USAGE);
    }
}

Test(tus, metadata_of_many_keys_is_refused)
{
    char text[4 * (TARGET_PARAMETERS_MAX + 1) + 1] = "";
    struct target metadata;
    for (size_t i = 0; i <= TARGET_PARAMETERS_MAX; i++)
        snprintf(text + strlen(text), 5, "%sk%c", i ? "," : "", (char)('a' + i));
    cr_expect_not(tus_metadata_parse(text, &arena, &metadata, &err));
    *strrchr(text, ',') = '\0';
    cr_expect(tus_metadata_parse(text, &arena, &metadata, &err));
}

/* The example of the protocol's section "Checksum": 11 bytes, "hello world". */
Test(tus, checksum_example_matches_its_bytes_only)
{
    struct tus_checksum checksum;
    cr_assert(tus_checksum_begin("sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0=", &checksum, &err));
    tus_checksum_add(&checksum, "hello ", 6);
    tus_checksum_add(&checksum, "world", 5);
    cr_expect(tus_checksum_matches(&checksum));
    cr_assert(tus_checksum_begin("sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0=", &checksum, &err));
    tus_checksum_add(&checksum, "hello_world", 11);
    cr_expect_not(tus_checksum_matches(&checksum));
}

/* SHA-256 of "abc": FIPS 180-4, examples of NIST. */
Test(tus, checksum_may_be_sha256_or_missing)
{
    struct tus_checksum checksum;
    cr_assert(tus_checksum_begin("sha256 ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=", &checksum, &err),
              "%s", err.text);
    tus_checksum_add(&checksum, "abc", 3);
    cr_expect(tus_checksum_matches(&checksum));
    cr_assert(tus_checksum_begin(NULL, &checksum, &err));
    tus_checksum_add(&checksum, "abc", 3);
    cr_expect(tus_checksum_matches(&checksum));
}

Test(tus, checksum_that_is_broken_is_refused)
{
    static const char *const broken[] = {"",
                                         "sha1",
                                         "md5 1B2M2Y8AsgTpgAmY7PhCfg==",
                                         "sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0",
                                         "sha1  Kq5sNclPz7QV2+lfQIuc6R7oRu0=",
                                         "SHA1 Kq5sNclPz7QV2+lfQIuc6R7oRu0=",
                                         "sha1,Kq5sNclPz7QV2+lfQIuc6R7oRu0=",
                                         "sha256 Kq5sNclPz7QV2+lfQIuc6R7oRu0="};
    for (size_t i = 0; i < sizeof broken / sizeof *broken; i++) {
        struct tus_checksum checksum;
        cr_expect_not(tus_checksum_begin(broken[i], &checksum, &err), "%s", broken[i]);
        cr_expect_eq(err.code, ERROR_USAGE);
    }
}

Test(tus, date_is_that_of_the_standard)
{
    char date[TUS_DATE_SIZE];
    tus_date("1994-11-06T08:49:37Z", date);
    cr_expect(eq(str, date, "Sun, 06 Nov 1994 08:49:37 GMT"));
    tus_date("2028-02-29T23:59:59Z", date); /* a leap day, a Tuesday */
    cr_expect(eq(str, date, "Tue, 29 Feb 2028 23:59:59 GMT"));
}
