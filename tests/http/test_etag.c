/* test_etag.c
 *   tag_*     made of bytes
 *   weak_*    If-None-Match: the comparison table of RFC 9110 section 8.8.3.2
 *   strong_*  If-Match: the same table */
#include "http/etag.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>

Test(etag, tag_is_the_head_of_the_digest_in_quotes)
{
    char etag[ETAG_SIZE];

    etag_of_bytes("abc", 3, etag); /* FIPS 180-4, appendix of SHA-256 examples: ba7816bf 8f01cfea ... */

    cr_expect(eq(str, etag, "\"ba7816bf8f01cfea414140de5dae2223\""));
}

Test(etag, weak_comparison_ignores_weakness)
{
    cr_expect(etag_list_has("W/\"1\"", "\"1\"", true));
    cr_expect(etag_list_has("\"1\"", "\"1\"", true));
    cr_expect(not(etag_list_has("W/\"2\"", "\"1\"", true)));
}

Test(etag, strong_comparison_refuses_weak_tags)
{
    cr_expect(not(etag_list_has("W/\"1\"", "\"1\"", false)));
    cr_expect(etag_list_has("\"1\"", "\"1\"", false));
}

Test(etag, weak_list_and_star)
{
    cr_expect(etag_list_has("\"0\", W/\"1\" , \"2\"", "\"2\"", true));
    cr_expect(etag_list_has("  * ", "\"1\"", true));
    cr_expect(etag_list_has("\"a,b\", \"1\"", "\"1\"", true));
}

Test(etag, strong_broken_lists_match_nothing)
{
    static const char *const lists[] = {"", "1", "\"1", "\"0\" \"1\"", "*, \"1\"", "x\"1\""};
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
        cr_expect(not(etag_list_has(lists[i], "\"1\"", false)), "%s", lists[i]);
}
