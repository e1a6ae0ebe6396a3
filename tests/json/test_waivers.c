/* test_waivers.c
 *   day_*      days of the calendar, and nothing else
 *   waivers_*  read whole, or refused with which and why */
#include "json/waivers.h"

#include <criterion/criterion.h>
#include <string.h>

Test(waivers, day_is_one_of_the_calendar)
{
    static const char *const days[] = {"2026-11-28", "2024-02-29", "2000-02-29", "0001-01-01", "9999-12-31"};
    static const char *const others[] = {
        "",          "2026-11-31",  "2023-02-29", "1900-02-29", "2026-00-10", "2026-13-01", "2026-01-00",
        "2026-1-01", "2026-11-28 ", "28-11-2026", "2026/11/28", "2026-11-2x", "0000-01-01", "-026-11-28"};
    for (size_t i = 0; i < sizeof days / sizeof days[0]; i++)
        cr_expect(is_day(days[i]), "%s", days[i]);
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        cr_expect_not(is_day(others[i]), "%s", others[i]);
}

static void expect_refused(const char *text, const char *wanted)
{
    struct waiver_list list;
    struct error err = {0};
    cr_assert_not(waivers_open(text, strlen(text), &list, &err), "%s", text);
    cr_expect_eq(err.code, ERROR_USAGE);
    cr_expect_not_null(strstr(err.text, wanted), "%s: %s", text, err.text);
    cr_expect(!list.items && list.count == 0);
}

Test(waivers, waivers_are_read_in_their_order)
{
    static const char text[] =
        "[{\"rule\":\"a\",\"reason\":\"why\",\"author\":\"R. Roe\",\"expires\":\"2026-12-31\"},"
        "{\"rule\":\"b\",\"reason\":\"w\",\"author\":\"x\",\"expires\":\"2027-01-01\"}]";
    struct waiver_list list;
    struct error err;
    cr_assert(waivers_open(text, strlen(text), &list, &err), "%s", err.text);
    cr_expect_eq(list.count, 2);
    cr_expect_str_eq(list.items[0].rule, "a");
    cr_expect_str_eq(list.items[0].reason, "why");
    cr_expect_str_eq(list.items[0].author, "R. Roe");
    cr_expect_str_eq(list.items[1].expires, "2027-01-01");
    waivers_close(&list);
    cr_assert(waivers_open("[]", 2, &list, &err));
    cr_expect_eq(list.count, 0);
    waivers_close(&list);
}

Test(waivers, waivers_are_refused_with_which_and_why)
{
    expect_refused("", "waivers are JSON");
    expect_refused("{}", "waivers are a list");
    expect_refused("[{\"rule\":\"a\",\"rule\":\"b\"}]", "duplicate");
    expect_refused("[7]", "waiver 1: \"rule\" is a text, and needed");
    expect_refused("[{\"rule\":\"a\",\"author\":\"x\",\"expires\":\"2026-12-31\"}]", "waiver 1: \"reason\"");
    expect_refused("[{\"rule\":\"a\",\"reason\":\"\",\"author\":\"x\",\"expires\":\"2026-12-31\"}]",
                   "\"reason\"");
    expect_refused("[{\"rule\":\"a\",\"reason\":\"w\",\"expires\":\"2026-12-31\"}]", "\"author\"");
    expect_refused("[{\"rule\":\"a\",\"reason\":\"w\",\"author\":\"x\"}]", "\"expires\"");
    expect_refused("[{\"rule\":\"a\",\"reason\":\"w\",\"author\":\"x\",\"expires\":\"2026-12-31\"},"
                   "{\"rule\":\"b\",\"reason\":\"w\",\"author\":\"x\",\"expires\":\"2026-02-30\"}]",
                   "waiver 2: \"expires\" is its last day, such as 2026-12-31, not \"2026-02-30\"");
}
