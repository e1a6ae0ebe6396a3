/* test_csv.c
 *   csv_*  fields of RFC 4180, none of them a formula */
#include "report/csv.h"

#include <criterion/criterion.h>
#include <stdlib.h>

static void expect(const char *field, const char *written)
{
    struct text text = {0};
    csv_add(&text, true, field);
    csv_end_row(&text);
    cr_assert_not(text.failed);
    cr_expect_str_eq(text.bytes, written);
    free(text.bytes);
}

Test(csv, csv_quotes_only_what_must_be)
{
    expect("plain words", "plain words\r\n");
    expect("", "\r\n");
    expect(NULL, "\r\n");
    expect("a,b", "\"a,b\"\r\n");
    expect("say \"no\"", "\"say \"\"no\"\"\"\r\n");
    expect("\"\"", "\"\"\"\"\"\"\r\n");
    expect("two\nlines", "\"two\nlines\"\r\n");
}

Test(csv, csv_never_begins_a_formula)
{
    expect("=1+1", "'=1+1\r\n");
    expect("+1", "'+1\r\n");
    expect("-1", "'-1\r\n");
    expect("@a", "'@a\r\n");
    expect("\tx", "'\tx\r\n");
    expect("=a,b", "\"'=a,b\"\r\n");
    expect("\rx", "\"'\rx\"\r\n");
}

Test(csv, csv_parts_fields_by_commas)
{
    struct text text = {0};
    csv_add(&text, true, "a");
    csv_add(&text, false, NULL);
    csv_add(&text, false, "b");
    csv_end_row(&text);
    cr_expect_str_eq(text.bytes, "a,,b\r\n");
    free(text.bytes);
}
