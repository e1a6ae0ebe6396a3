/* test_body.c
 *   parse_*  what a body may be
 *   key_*    taking keys out of it
 *   id_*     ids in text */
#include "json/body.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

static struct body parse(const char *text)
{
    struct body body;
    struct error err;
    cr_assert(body_parse(text, strlen(text), &body, &err), "%s", err.text);
    return body;
}

Test(body, parse_refuses_what_is_no_object)
{
    static const char *const texts[] = {"",
                                        "1",
                                        "[]",
                                        "null",
                                        "{",
                                        "{}x",
                                        "{\"a\":1,\"a\":2}",
                                        "{\"a\":\"\\u0000\"}",
                                        "{'a':1}",
                                        "\xef\xbb\xbf{}",
                                        "{\"a\":\"\xff\"}"};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct body body;
        struct error err = {0};
        cr_expect(not(body_parse(texts[i], strlen(texts[i]), &body, &err)), "%s", texts[i]);
        cr_expect(err.code == ERROR_USAGE, "%s", texts[i]);
    }
}

Test(body, parse_names_the_line_at_fault)
{
    struct body body;
    struct error err = {0};

    cr_expect(not(body_parse("{\n\n  oops }", 11, &body, &err)));

    cr_expect(eq(sz, err.line, 3));
}

Test(body, parse_survives_deep_nesting)
{
    char deep[8192];
    struct body body;
    struct error err = {0};

    memset(deep, '[', sizeof deep);
    memcpy(deep, "{\"a\":", 5);

    cr_expect(not(body_parse(deep, sizeof deep, &body, &err)));
}

Test(body, key_of_the_right_type_is_taken)
{
    struct body body = parse("{\"title\":\"A\",\"version\":\"12\",\"again\":true,\"against\":null}");
    const char *title;
    int64_t version, against = 9;
    bool again;
    struct error err;

    cr_expect(body_text(&body, "title", true, &title, &err));
    cr_expect(eq(str, (char *)title, "A"));
    cr_expect(body_id(&body, "version", true, &version, &err));
    cr_expect(eq(i64, version, 12));
    cr_expect(body_flag(&body, "again", &again, &err));
    cr_expect(again);
    cr_expect(body_id(&body, "against", false, &against, &err));
    cr_expect(eq(i64, against, 0));
    body_close(&body);
}

Test(body, key_of_the_wrong_type_is_refused)
{
    struct body body = parse("{\"title\":1,\"version\":12,\"again\":\"yes\",\"withdrawn\":[]}"), inner;
    const char *text;
    int64_t id;
    bool flag;
    struct error err;

    cr_expect(not(body_text(&body, "title", false, &text, &err)));
    cr_expect(not(body_id(&body, "version", false, &id, &err)));
    cr_expect(not(body_flag(&body, "again", &flag, &err)));
    cr_expect(not(body_inner(&body, "withdrawn", &inner, &err)));
    body_close(&body);
}

Test(body, key_that_is_unknown_or_missing_is_named)
{
    struct body body = parse("{\"titel\":\"A\"}");
    const char *text;
    struct error err;

    cr_expect(not(body_allows(&body, "title note", &err)));
    cr_expect(strstr(err.text, "titel") != NULL);
    cr_expect(not(body_text(&body, "title", true, &text, &err)));
    cr_expect(strstr(err.text, "title") != NULL);
    body_close(&body);
}

Test(body, id_is_plain_digits_above_zero)
{
    static const char *const bad[] = {"",   "0",  "01",  "-1",  "+1",
                                      " 1", "1 ", "1.0", "0x1", "9999999999999999999"};
    int64_t id;

    cr_expect(id_parse("999999999999999999", &id));
    cr_expect(eq(i64, id, 999999999999999999));
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        cr_expect(not(id_parse(bad[i], &id)), "%s", bad[i]);
}
