/* test_sha512.c
 *   known_*  messages whose digests are published
 */
#include "base/sha512.h"

#include <criterion/criterion.h>
#include <string.h>

Test(sha512, known_digests_of_fips_180)
{
    static const struct {
        const char *message, *digest;
    } cases[] = {
        {"", "cf83e1357eefb8bdf1542850d66d8007d620e4050b5715dc83f4a921d36ce9ce"
             "47d0d13c5d85f2b0ff8318d2877eec2f63b931bd47417a81a538327af927da3e"},
        {"abc", "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a"
                "2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sha512 sha512;
        char hex[SHA512_HEX_SIZE];
        sha512_begin(&sha512);
        for (const char *at = cases[i].message; *at; at++)
            sha512_add(&sha512, at, 1);
        sha512_end(&sha512, hex);
        cr_expect_str_eq(hex, cases[i].digest);
    }
}
