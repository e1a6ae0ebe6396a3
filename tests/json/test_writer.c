/* test_writer.c
 *   canonical_*  the examples of RFC 8785, sections 3.2.2 and 3.2.3
 *   forms_*      compact, line and pretty
 *   strings_*    escapes */
#include "json/writer.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static void expect(const char *source, enum writer_form form, const char *expected)
{
    json_error_t why;
    struct error err;
    char *text;
    size_t size;
    json_t *tree = json_loads(source, JSON_DECODE_ANY | JSON_ALLOW_NUL, &why);

    cr_assert(tree, "%s", why.text);
    cr_assert(writer_dump(tree, form, &text, &size, &err));
    cr_expect_str_eq(text, expected);
    cr_expect_eq(size, strlen(expected));
    free(text);
    json_decref(tree);
}

Test(writer, canonical_example_of_section_3_2_2)
{
    expect("{\"numbers\": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],"
           " \"string\": \"\\u20ac$\\u000F\\u000aA'\\u0042\\u0022\\u005c\\\\\\\"\\/\","
           " \"literals\": [null, true, false]}",
           WRITER_CANONICAL,
           "{\"literals\":[null,true,false],\"numbers\":[333333333.3333333,1e+30,4.5,0.002,1e-27],"
           "\"string\":\"\xe2\x82\xac$\\u000f\\nA'B\\\"\\\\\\\\\\\"/\"}");
}

Test(writer, canonical_keys_sort_by_utf16_code_units)
{
    expect("{\"\\u20ac\":5,\"\\r\":1,\"\\ufb33\":7,\"1\":2,\"\\ud83d\\ude00\":6,\"\\u0080\":3,\"\\u00f6\":4}",
           WRITER_CANONICAL,
           "{\"\\r\":1,\"1\":2,\"\xc2\x80\":3,\"\xc3\xb6\":4,\"\xe2\x82\xac\":5,\"\xf0\x9f\x98\x80\":6,"
           "\"\xef\xac\xb3\":7}");
}

/* RFC 8785 section 3.2.2.3: every number is a double. */
Test(writer, canonical_whole_numbers_are_doubles)
{
    expect("[9007199254740993]", WRITER_CANONICAL, "[9007199254740992]");
    expect("[9007199254740993]", WRITER_COMPACT, "[9007199254740993]");
}

Test(writer, forms_keep_the_order_of_keys)
{
    const char *source = "{\"b\": [1, 2.50], \"a\": {}, \"c\": [], \"d\": {\"z\": null}}";
    expect(source, WRITER_COMPACT, "{\"b\":[1,2.5],\"a\":{},\"c\":[],\"d\":{\"z\":null}}");
    expect(source, WRITER_LINE, "{\"b\":[1,2.5],\"a\":{},\"c\":[],\"d\":{\"z\":null}}\n");
    expect(source, WRITER_PRETTY,
           "{\n  \"b\": [\n    1,\n    2.5\n  ],\n  \"a\": {},\n  \"c\": [],\n  \"d\": {\n    \"z\": null\n  "
           "}\n}\n");
}

Test(writer, strings_escape_controls_only)
{
    expect("\"\\u0000\\u0001\\b\\t\\n\\u000b\\f\\r\\u001f \\u007f\\u00e9/\"", WRITER_COMPACT,
           "\"\\u0000\\u0001\\b\\t\\n\\u000b\\f\\r\\u001f \x7f\xc3\xa9/\"");
}
