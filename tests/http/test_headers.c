/* test_headers.c
 *   framing_*  RFC 9112 sections 6.1 and 6.3: what two parsers may read differently is refused
 *   host_*     RFC 9112 section 3.2, and loopback names only
 *   origin_*   who may change something */
#include "http/headers.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>

struct field {
    const char *name, *value;
};

static unsigned check(const char *protocol, const struct field *fields, size_t count)
{
    struct header_facts facts = {0};
    struct error err;
    for (size_t i = 0; i < count; i++)
        headers_note(&facts, fields[i].name, fields[i].value);
    return headers_check(&facts, protocol, NULL, &err);
}
#define CHECK(protocol, ...)                                                                                 \
    check(protocol, (struct field[]){__VA_ARGS__},                                                           \
          sizeof((struct field[]){__VA_ARGS__}) / sizeof(struct field))
#define HOST                                                                                                 \
    {                                                                                                        \
        "Host", "localhost"                                                                                  \
    }

Test(headers, framing_of_plain_requests_passes)
{
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST), 0));
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST, {"Content-Length", "12"}), 0));
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST, {"transfer-encoding", "Chunked"}), 0));
}

Test(headers, framing_with_both_lengths_is_refused)
{
    cr_expect(
        eq(uint, CHECK("HTTP/1.1", HOST, {"Content-Length", "1"}, {"Transfer-Encoding", "chunked"}), 400));
}

Test(headers, framing_with_two_lengths_is_refused_even_when_equal)
{
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST, {"Content-Length", "1"}, {"content-length", "1"}), 400));
}

Test(headers, framing_with_a_length_that_is_no_number_is_refused)
{
    static const char *const values[] = {"", "-1", "+1", "1 ", "0x1", "1,1", "99999999999999999999"};
    for (size_t i = 0; i < sizeof values / sizeof *values; i++)
        cr_expect(CHECK("HTTP/1.1", HOST, {"Content-Length", values[i]}) == 400, "%s", values[i]);
}

Test(headers, framing_with_another_encoding_is_refused)
{
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST, {"Transfer-Encoding", "gzip, chunked"}), 400));
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST, {"Transfer-Encoding", "xchunked"}), 400));
    cr_expect(eq(uint,
                 CHECK("HTTP/1.1", HOST, {"Transfer-Encoding", "chunked"}, {"Transfer-Encoding", "chunked"}),
                 400));
    cr_expect(eq(uint, CHECK("HTTP/1.0", HOST, {"Transfer-Encoding", "chunked"}), 400));
}

Test(headers, framing_control_byte_in_any_value_is_refused)
{
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST, {"X-Any", "a\x0b"}), 400));
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST, {"X-Any", "a\tb"}), 0));
}

Test(headers, framing_name_must_be_a_token)
{
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST, {"Content-Length ", "1"}), 400));
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST, {"", "1"}), 400));
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST, {"x-ok_1", "1"}), 0));
}

Test(headers, framing_other_protocols_are_refused)
{
    cr_expect(eq(uint, CHECK("HTTP/2.0", HOST), 505));
    cr_expect(eq(uint, CHECK("HTTP/0.9", HOST), 505));
}

Test(headers, host_is_needed_once)
{
    cr_expect(eq(uint, CHECK("HTTP/1.1", {"Accept", "*/*"}), 400));
    cr_expect(eq(uint, CHECK("HTTP/1.1", HOST, HOST), 400));
    cr_expect(eq(uint, CHECK("HTTP/1.0", {"Accept", "*/*"}), 0));
}

Test(headers, host_must_be_loopback)
{
    static const char *const good[] = {"localhost",       "LOCALHOST:80", "127.0.0.1",
                                       "127.9.8.7:43127", "[::1]",        "[::1]:9"};
    static const char *const bad[] = {"example.org",
                                      "localhost.example.org",
                                      "127.0.0.1.example.org",
                                      "10.0.0.1",
                                      "localhost:80x",
                                      "[::2]",
                                      "",
                                      "[::1",
                                      "127.1",
                                      "localhost@evil",
                                      "2130706433"};
    for (size_t i = 0; i < sizeof good / sizeof *good; i++)
        cr_expect(host_is_loopback(good[i]), "%s", good[i]);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        cr_expect(CHECK("HTTP/1.1", {"Host", bad[i]}) == 421, "%s", bad[i]);
}

Test(headers, host_must_agree_with_an_absolute_target)
{
    struct header_facts facts = {0};
    struct error err;

    headers_note(&facts, "Host", "localhost");

    cr_expect(eq(uint, headers_check(&facts, "HTTP/1.1", "LOCALHOST", &err), 0));
    cr_expect(eq(uint, headers_check(&facts, "HTTP/1.1", "127.0.0.1", &err), 400));
}

static unsigned origin(const char *host, const char *origin_value, const char *site)
{
    struct header_facts facts = {0};
    struct error err;
    headers_note(&facts, "Host", host);
    if (origin_value)
        headers_note(&facts, "Origin", origin_value);
    if (site)
        headers_note(&facts, "Sec-Fetch-Site", site);
    return headers_check_origin(&facts, &err);
}

Test(headers, origin_of_our_own_page_and_of_scripts_passes)
{
    cr_expect(eq(uint, origin("127.0.0.1:80", NULL, NULL), 0));
    cr_expect(eq(uint, origin("127.0.0.1:80", "http://127.0.0.1:80", "same-origin"), 0));
}

Test(headers, origin_of_any_other_page_is_refused)
{
    cr_expect(eq(uint, origin("127.0.0.1:80", "http://127.0.0.1:81", NULL), 403));
    cr_expect(eq(uint, origin("127.0.0.1:80", "https://example.org", NULL), 403));
    cr_expect(eq(uint, origin("127.0.0.1:80", "null", NULL), 403));
    cr_expect(eq(uint, origin("127.0.0.1:80", NULL, "cross-site"), 403));
    cr_expect(eq(uint, origin("127.0.0.1:80", NULL, "same-site"), 403));
}
