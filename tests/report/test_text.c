/* test_text.c
 *   text_*  grows, escapes, remembers */
#include "report/text.h"
#include "support/fixture_shapes.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

static void expect_escaped(const char *plain, const char *wanted)
{
    struct text text = {0};
    text_add_escaped(&text, plain);
    text_add(&text, "");
    cr_expect_str_eq(text.bytes, wanted, "%s", text.bytes);
    cr_expect_eq(text.size, strlen(wanted));
    free(text.bytes);
}

Test(text, text_is_escaped_for_xml_and_html)
{
    expect_escaped("", "");
    expect_escaped("plain, 0.4 mm", "plain, 0.4 mm");
    expect_escaped("<a href=\"x\">'&'</a>", "&lt;a href=&quot;x&quot;&gt;&#39;&amp;&#39;&lt;/a&gt;");
    expect_escaped("a\tb\nc\rd", "a&#9;b&#10;c&#13;d");
    expect_escaped("\x01\x1f\x7f", "???");
    expect_escaped("Stra\xc3\x9f"
                   "e \xe2\x82\xac \xf0\x9f\xa6\xb4",
                   "Stra\xc3\x9f"
                   "e \xe2\x82\xac \xf0\x9f\xa6\xb4");
    expect_escaped("a\xef\xbf\xbe"
                   "b\xef\xbf\xbf\xef\xbf\xbd",
                   "a?b?\xef\xbf\xbd");
}

Test(text, text_grows_by_any_piece)
{
    struct text text = {0};
    char *wanted = calloc(1, 200000), piece[400];
    uint64_t state = 4;
    for (size_t size = 0; size < 199000;) {
        size_t length = fixture_random_below(&state, sizeof piece - 1);
        memset(piece, 'a' + (int)fixture_random_below(&state, 26), length);
        piece[length] = '\0';
        text_add(&text, piece);
        memcpy(wanted + size, piece, length + 1);
        size += length;
    }
    cr_expect_not(text.failed);
    cr_expect_str_eq(text.bytes, wanted);
    free(text.bytes);
    free(wanted);
}

Test(text, text_says_when_a_formatted_piece_is_too_long)
{
    struct text text = {0};
    text_add_format(&text, "%d of %s", 3, "four");
    cr_expect_str_eq(text.bytes, "3 of four");
    text_add_format(&text, "%600d", 1);
    cr_expect(text.failed);
    text_add(&text, "more");
    cr_expect_str_eq(text.bytes, "3 of four");
    free(text.bytes);
}
