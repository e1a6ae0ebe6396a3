/* test_digest.c - SHA-256 against the examples of FIPS 180-4's example file ("abc" and the two-block message)
 * and the digest of nothing, which every published implementation states; every length up to some blocks, in
 * any pieces, against nettle. */
#include "base/digest.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <nettle/sha2.h>
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

Test(digest, of_every_length_in_any_pieces_as_nettle_has_it)
{
    uint8_t bytes[300], raw[32], expected[32];
    struct sha256_ctx nettle;
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (uint8_t)(i * 167 + 13);
    for (size_t length = 0; length <= sizeof bytes; length++)
        for (size_t piece = 1; piece <= 129; piece += 32) {
            struct digest digest;
            digest_begin(&digest);
            for (size_t at = 0; at < length; at += piece)
                digest_add(&digest, bytes + at, length - at < piece ? length - at : piece);
            digest_end_raw(&digest, raw);
            sha256_init(&nettle);
            sha256_update(&nettle, length, bytes);
            sha256_digest(&nettle, sizeof expected, expected);
            cr_assert_arr_eq(raw, expected, sizeof raw, "length %zu in pieces of %zu", length, piece);
        }
}

Test(digest, hex_is_recognised_exactly)
{
    cr_expect(not(digest_is_hex("e3b0")));
    cr_expect(not(digest_is_hex("E3B0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855")));
    cr_expect(not(digest_is_hex(NULL)));
}
