/* test_signature.c
 *   signature_*  HMAC-SHA-256 of "timestamp.body"
 *   url_*        what may be the address of a hook */
#include "notify/signature.h"

#include "notify/url.h"

#include <criterion/criterion.h>
#include <string.h>

/* printf '1764331200.{"event":"test"}' | openssl dgst -sha256 -hmac 'a secret of our own' */
Test(signature, signature_is_what_openssl_makes_of_the_same)
{
    char text[SIGNATURE_SIZE];
    signature_make("a secret of our own", 1764331200, "{\"event\":\"test\"}", text);
    cr_expect_str_eq(text, "sha256=6f63e5a787bbe23dbe2fdf35cfc553f065211fc1b2323f7a684debd8b193755e");
}

Test(signature, signature_is_another_for_another_time_body_or_secret)
{
    char one[SIGNATURE_SIZE], other[SIGNATURE_SIZE];
    signature_make("secret", 1, "body", one);
    signature_make("secret", 2, "body", other);
    cr_expect_str_neq(one, other);
    signature_make("secret", 1, "bodY", other);
    cr_expect_str_neq(one, other);
    signature_make("secreT", 1, "body", other);
    cr_expect_str_neq(one, other);
}

Test(signature, url_with_http_or_https_and_a_host_may_be_one)
{
    static const char *const good[] = {"https://example.org/", "HTTP://example.org",
                                       "https://[2001:db8::1]:8080/a?b=c@d", "http://127.0.0.1:9/x"};
    struct error err;
    for (size_t i = 0; i < sizeof good / sizeof *good; i++)
        cr_expect(url_check(good[i], &err), "%s: %s", good[i], err.text);
}

Test(signature, url_of_anything_else_is_refused_with_its_reason)
{
    static const struct {
        const char *url, *says;
    } bad[] = {{"", "must begin"},
               {"ftp://example.org/", "must begin"},
               {"https://", "no host"},
               {"https:///path", "no host"},
               {"https://:80/", "no host"},
               {"https://a:b@example.org/", "password"},
               {"https://example.org/#a", "fragment"},
               {"https://example.org/\r\nHost: x", "byte 21"},
               {"https://ex\xc3\xa4mple.org/", "byte 11"}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct error err;
        cr_expect_not(url_check(bad[i].url, &err), "%s", bad[i].url);
        cr_expect(strstr(err.text, bad[i].says), "%s: %s", bad[i].url, err.text);
        cr_expect_eq(err.code, ERROR_USAGE);
    }
}
