/* test_digest_field.c
 *   standard_*  the example of RFC 9530 section 2 (Repr-Digest of {"hello": "world"} and a line end)
 *   parse_*     other members, broken values */
#include "http/digest_field.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>

static const char field[] = "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:";

Test(digest_field, standard_example_is_the_digest_of_its_content)
{
    struct digest digest;
    char hex[DIGEST_HEX_SIZE], stated[DIGEST_HEX_SIZE];
    struct error err;
    bool found;

    digest_begin(&digest);
    digest_add(&digest, "{\"hello\": \"world\"}\n", 19);
    digest_end(&digest, hex);

    cr_assert(digest_field_parse(field, &found, stated, &err));
    cr_expect(found);
    cr_expect(eq(str, stated, hex));
}

Test(digest_field, standard_example_is_written_back)
{
    char hex[DIGEST_HEX_SIZE], out[DIGEST_FIELD_SIZE];
    struct error err;
    bool found;

    cr_assert(digest_field_parse(field, &found, hex, &err));
    digest_field_write(hex, out);

    cr_expect(eq(str, out, (char *)field));
}

Test(digest_field, parse_finds_the_member_among_others)
{
    char hex[DIGEST_HEX_SIZE];
    struct error err;
    bool found;

    cr_assert(digest_field_parse(
        "sha-512=:YWJj:, sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:", &found, hex, &err));

    cr_expect(found);
}

Test(digest_field, parse_of_other_algorithms_finds_nothing)
{
    char hex[DIGEST_HEX_SIZE];
    struct error err;
    bool found = true;

    cr_assert(digest_field_parse("unixsum=:AAA=:", &found, hex, &err));

    cr_expect(not(found));
}

Test(digest_field, parse_refuses_what_is_no_digest)
{
    static const char *const values[] = {
        "sha-256=RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=",
        "sha-256=:RK/0:",
        "sha-256=::",
        "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=",
        "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabD!=:",
        "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDh=:", /* bits beyond the 32nd byte */
    };
    for (size_t i = 0; i < sizeof values / sizeof *values; i++) {
        char hex[DIGEST_HEX_SIZE];
        struct error err;
        bool found;
        cr_expect(not(digest_field_parse(values[i], &found, hex, &err)), "%s", values[i]);
    }
}
