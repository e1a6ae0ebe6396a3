/* test_sha1.c - SHA-1 against the examples of FIPS 180-4's example file. */
#include "base/sha1.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdio.h>
#include <string.h>

static void expect_digest(const char *text, size_t piece, const char *expected)
{
    struct sha1 sha1;
    uint8_t raw[SHA1_SIZE];
    char hex[2 * SHA1_SIZE + 1];
    sha1_begin(&sha1);
    for (size_t at = 0, size = strlen(text); at < size; at += piece)
        sha1_add(&sha1, text + at, piece < size - at ? piece : size - at);
    sha1_end(&sha1, raw);
    for (size_t i = 0; i < SHA1_SIZE; i++)
        snprintf(hex + 2 * i, 3, "%02x", raw[i]);
    cr_expect(eq(str, hex, (char *)expected));
}

Test(sha1, of_published_messages)
{
    expect_digest("abc", 3, "a9993e364706816aba3e25717850c26c9cd0d89d");
    expect_digest("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 5,
                  "84983e441c3bd26ebaae4aa1f95129e5e54670f1");
}
