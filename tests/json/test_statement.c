/* test_statement.c
 *   written_*  the bytes that are signed, by RFC 8785
 *   read_*     read back; what is no statement
 */
#include "json/statement.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

static const struct store_signed facts = {
    .audit = 7,
    .specimen = 3,
    .run = 12,
    .spec_version = 2,
    .catalogue_number = "NH-\"1\" \xe2\x82\xac\n",
    .spec_name = "print",
    .outcome = "conforms",
    .audit_body =
        "{\"rules\":[{\"id\":\"open\",\"waiver\":null},{\"id\":\"closed\",\"waiver\":{\"reason\":\"r\","
        "\"author\":\"a\",\"expires\":\"2026-12-31\"}}]}",
    .record_sha256 = "22",
    .spec_sha256 = "33",
    .audit_sha256 = "44",
    .file_count = 2,
    .files = {
        {.role = "subject",
         .kind = "cage",
         .number = 5,
         .bytes = 1234567890123,
         .name = "b.obj",
         .sha256 = "55"},
        {.role = "reference", .kind = "scan", .number = 1, .bytes = 1, .name = "a.ply", .sha256 = "66"}}};
static const struct statement_signer signer = {.name = "Ada", .role = NULL, .note = "n"};

static char *written(size_t *size)
{
    char *text;
    struct error err = {0};
    cr_assert(statement_write(&facts, &signer, "2026-11-28T12:00:00Z", "77", &text, size, &err), "%s",
              err.text);
    return text;
}

/* Keys by their code units, no blanks, and no more escapes than RFC 8785 section 3.2.2.2 has. */
Test(statement, written_bytes_are_canonical)
{
    static const char wanted[] =
        "{\"audit\":{\"id\":\"7\",\"outcome\":\"conforms\",\"sha256\":\"44\"},"
        "\"files\":[{\"bytes\":1234567890123,\"label\":\"cage "
        "5\",\"name\":\"b.obj\",\"role\":\"subject\",\"sha256\":\"55\"},"
        "{\"bytes\":1,\"label\":\"scan 1\",\"name\":\"a.ply\",\"role\":\"reference\",\"sha256\":\"66\"}],"
        "\"key\":{\"algorithm\":\"Ed25519\",\"fingerprint\":\"77\"},"
        "\"record\":{\"id\":\"12\",\"sha256\":\"22\"},"
        "\"schema\":\"fettle/sign-off/1\","
        "\"signed\":\"2026-11-28T12:00:00Z\","
        "\"signer\":{\"name\":\"Ada\",\"note\":\"n\",\"role\":null},"
        "\"spec\":{\"name\":\"print\",\"sha256\":\"33\",\"version\":2},"
        "\"specimen\":{\"catalogue_number\":\"NH-\\\"1\\\" \xe2\x82\xac\\n\",\"id\":\"3\"},"
        "\"waivers\":[{\"author\":\"a\",\"expires\":\"2026-12-31\",\"reason\":\"r\",\"rule\":\"closed\"}]}";
    size_t size;
    char *text = written(&size);
    cr_expect_str_eq(text, wanted);
    cr_expect_eq(size, sizeof wanted - 1);
    free(text);
}

Test(statement, read_gives_back_what_was_written)
{
    struct statement read;
    struct error err = {0};
    size_t size;
    char *text = written(&size);

    cr_assert(statement_open(text, size, &read, &err), "%s", err.text);

    cr_expect_eq(read.specimen, 3);
    cr_expect_str_eq(read.catalogue_number, facts.catalogue_number);
    cr_expect_eq(read.run, 12);
    cr_expect_eq(read.audit, 7);
    cr_expect_eq(read.spec_version, 2);
    cr_expect_eq(read.file_count, 2u);
    cr_expect_str_eq(read.files[0].label, "cage 5");
    cr_expect_eq(read.files[0].bytes, 1234567890123);
    cr_expect_str_eq(read.files[1].sha256, "66");
    cr_expect_str_eq(read.signer.name, "Ada");
    cr_expect_null(read.signer.role);
    cr_expect_str_eq(read.signer.note, "n");
    cr_expect_str_eq(read.time, "2026-11-28T12:00:00Z");
    cr_expect_str_eq(read.fingerprint, "77");
    statement_close(&read);
    free(text);
}

Test(statement, read_refuses_what_is_none)
{
    static const char *const lost[] = {"\"schema\"", "\"specimen\"", "\"record\"", "\"spec\"",
                                       "\"audit\"",  "\"files\"",    "\"signer\"", "\"signed\"",
                                       "\"key\"",    "\"label\"",    "\"bytes\""};
    struct statement read;
    struct error err = {0};
    size_t size;
    char *text = written(&size);
    for (size_t i = 0; i < sizeof lost / sizeof lost[0]; i++) {
        char *key = strstr(text, lost[i]), kept = key[1];
        key[1] = '_';
        cr_expect_not(statement_open(text, size, &read, &err), "%s", lost[i]);
        cr_expect_eq(err.code, ERROR_DATA);
        key[1] = kept;
    }
    cr_expect_not(statement_open("", 0, &read, &err));
    cr_expect_not(statement_open("[]", 2, &read, &err));
    cr_expect_not(statement_open(text, size - 1, &read, &err));
    cr_expect(statement_open(text, size, &read, &err));
    statement_close(&read);
    free(text);
}

Test(statement, written_of_an_audit_that_is_not_json_is_refused)
{
    struct store_signed broken = facts;
    struct error err = {0};
    char *text;
    size_t size;
    broken.audit_body = "{";
    cr_expect_not(statement_write(&broken, &signer, "2026-11-28T12:00:00Z", "77", &text, &size, &err));
    cr_expect_eq(err.code, ERROR_STORE);
}
