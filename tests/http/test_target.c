/* test_target.c
 *   path_*   splitting, decoding and refusing of paths (RFC 3986 section 2.1, RFC 3629)
 *   query_*  parameters
 *   utf8_*   well-formed and broken sequences of RFC 3629 section 4
 *   absolute_*  targets that name a host (RFC 9112 section 3.2.2) */
#include "http/target.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>

static bool refused(const char *raw)
{
    struct target target;
    struct error err = {0};
    bool ok = target_parse(raw, &target, &err);
    target_close(&target);
    return !ok && err.code == ERROR_USAGE && err.text[0];
}

Test(target, path_is_split_before_it_is_decoded)
{
    struct target target;
    struct error err;

    cr_assert(target_parse("/api/v1/a%20b/%C3%A9", &target, &err));

    cr_expect(eq(sz, target.segment_count, 4));
    cr_expect(eq(str, (char *)target.segments[2], "a b"));
    cr_expect(eq(str, (char *)target.segments[3], "\xc3\xa9"));
    target_close(&target);
}

Test(target, path_root_has_no_segment)
{
    struct target target;
    struct error err;

    cr_assert(target_parse("/", &target, &err));

    cr_expect(eq(sz, target.segment_count, 0));
    target_close(&target);
}

Test(target, path_tricks_are_refused)
{
    static const char *const raws[] = {
        "",
        "a",
        "/..",
        "/a/../b",
        "/%2e%2e/b",
        "/.%2E/b",
        "/a/.",
        "//a",
        "/a//b",
        "/a%2fb",
        "/a%5cb",
        "/a\\b",
        "/%00",
        "/a%00.html",
        "/a%0d%0ab",
        "/a%7f",
        "/a\x01",
        "/%ff",
        "/%c0%af",
        "/%ed%a0%80",
        "/%f4%90%80%80",
        "/%",
        "/%4",
        "/%zz",
        "/1/2/3/4/5/6/7/8/9/10/11/12/13/14/15/16/17",
    };
    for (size_t i = 0; i < sizeof raws / sizeof *raws; i++)
        cr_expect(refused(raws[i]), "%s", raws[i]);
}

Test(target, path_is_decoded_once_only)
{
    struct target target;
    struct error err;

    cr_assert(target_parse("/..%252f..%252fx", &target, &err));

    cr_expect(eq(str, (char *)target.segments[0], "..%2f..%2fx"));
    target_close(&target);
}

Test(target, query_parameters_are_decoded)
{
    struct target target;
    struct error err;

    cr_assert(target_parse("/x?name=a%26b+c&note=two%0Alines&empty=&flag", &target, &err));

    cr_expect(eq(str, (char *)target_parameter(&target, "name"), "a&b c"));
    cr_expect(eq(str, (char *)target_parameter(&target, "note"), "two\nlines"));
    cr_expect(eq(str, (char *)target_parameter(&target, "empty"), ""));
    cr_expect(eq(str, (char *)target_parameter(&target, "flag"), ""));
    cr_expect(target_parameter(&target, "nam") == NULL);
    target_close(&target);
}

Test(target, query_tricks_are_refused)
{
    static const char *const raws[] = {"/x?a=1&a=2",
                                       "/x?=1",
                                       "/x?a=%00",
                                       "/x?a=%1b",
                                       "/x?a=%ff",
                                       "/x?%00=1",
                                       "/x?a&b&c&d&e&f&g&h&i&j&k&l&m&n&o&p&q&r&s&t&u&v&w&x&y&z"};
    for (size_t i = 0; i < sizeof raws / sizeof *raws; i++)
        cr_expect(refused(raws[i]), "%s", raws[i]);
}

Test(target, query_unknown_parameter_is_named)
{
    struct target target;
    struct error err = {0};

    cr_assert(target_parse("/x?limit=1&limi=2", &target, &err));

    cr_expect(not(target_allows(&target, "limit cursor", &err)));
    cr_expect(strstr(err.text, "\"limi\"") != NULL);
    target_close(&target);
}

Test(target, query_known_parameters_pass)
{
    struct target target;
    struct error err = {0};

    cr_assert(target_parse("/x?cursor=1&limit=2", &target, &err));

    cr_expect(target_allows(&target, "limit cursor", &err));
    target_close(&target);
}

Test(target, utf8_of_every_length_is_well_formed)
{
    cr_expect(not(refused("/a%c3%a9%e2%98%83%f0%9f%98%80")));
    cr_expect(refused("/%c3"));
    cr_expect(refused("/%e0%80%80"));
    cr_expect(refused("/%f0%80%80%80"));
    cr_expect(refused("/%80"));
    cr_expect(refused("/%f8%88%80%80%80"));
}

Test(target, absolute_target_gives_host_and_path)
{
    struct target target;
    struct error err;

    cr_assert(target_parse("http://127.0.0.1:80/api/v1?x=1", &target, &err));

    cr_expect(eq(str, target.authority, "127.0.0.1:80"));
    cr_expect(eq(sz, target.segment_count, 2));
    cr_expect(eq(str, (char *)target_parameter(&target, "x"), "1"));
    target_close(&target);
}

Test(target, absolute_target_without_path_is_the_root)
{
    struct target target;
    struct error err;

    cr_assert(target_parse("http://localhost", &target, &err));

    cr_expect(eq(str, target.authority, "localhost"));
    cr_expect(eq(sz, target.segment_count, 0));
    target_close(&target);
}
