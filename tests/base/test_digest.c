/* test_digest.c - SHA-256 against the examples of FIPS 180-4's example file ("abc" and the two-block message)
 * and the digest of nothing, which every published implementation states. */
#include "base/digest.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

static void expect_digest(const char *text, size_t piece, const char *expected)
{
    struct digest digest;
    char hex[DIGEST_HEX_SIZE];
    digest_begin(&digest);
    for (size_t at = 0, left = strlen(text); left; at += piece, left -= piece) {
        if (piece > left)
            piece = left;
        digest_add(&digest, text + at, piece);
    }
    digest_end(&digest, hex);
    cr_expect(eq(str, hex, (char *)expected));
    cr_expect(digest_is_hex(hex));
}

Test(digest, of_published_messages)
{
    expect_digest("abc", 3, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    expect_digest("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 5,
                  "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    expect_digest("", 1, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

Test(digest, hex_is_recognised_exactly)
{
    cr_expect(not(digest_is_hex("e3b0")));
    cr_expect(not(digest_is_hex("E3B0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855")));
    cr_expect(not(digest_is_hex(NULL)));
}
