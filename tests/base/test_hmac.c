/* test_hmac.c
 *   hmac_*  the test cases of RFC 4231 */
#include "base/hmac.h"

#include <criterion/criterion.h>
#include <string.h>

Test(hmac, hmac_gives_what_rfc_4231_lists)
{
    static const uint8_t key1[20] = {0x0b, 0x0b, 0x0b, 0x0b, 0x0b, 0x0b, 0x0b, 0x0b, 0x0b, 0x0b,
                                     0x0b, 0x0b, 0x0b, 0x0b, 0x0b, 0x0b, 0x0b, 0x0b, 0x0b, 0x0b};
    uint8_t key6[131];
    memset(key6, 0xaa, sizeof key6);
    const struct {
        const void *key;
        size_t key_size;
        const char *text, *hex;
    } cases[] = {
        {key1, 20, "Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"},
        {"Jefe", 4, "what do ya want for nothing?",
         "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"},
        {key6, 131, "Test Using Larger Than Block-Size Key - Hash Key First",
         "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char hex[DIGEST_HEX_SIZE];
        const struct hmac_piece pieces[] = {{cases[i].text, 3},
                                            {cases[i].text + 3, strlen(cases[i].text) - 3}};
        hmac_sha256(cases[i].key, cases[i].key_size, pieces, 2, hex);
        cr_expect_str_eq(hex, cases[i].hex);
    }
}
