/* test_length.c
 *   lengths_*  what is a length, and conversion between units
 *   wrong_*    what is not */
#include "run/length.h"

#include <criterion/criterion.h>
#include <locale.h>
#include <string.h>

/* 1 in = 25.4 mm exactly: international yard and pound agreement of 1959. */
Test(length, lengths_convert_to_the_units_of_the_file)
{
    static const struct {
        const char *text;
        enum run_units units;
        double length;
    } rows[] = {
        {"0.4", UNITS_UNKNOWN, 0.4}, {"0.4", UNITS_IN, 0.4},     {"0.4mm", UNITS_MM, 0.4},
        {"0.4 mm", UNITS_MM, 0.4},   {"1cm", UNITS_MM, 10},      {"1m", UNITS_MM, 1000},
        {"1in", UNITS_MM, 25.4},     {"254mm", UNITS_IN, 10},    {"4e-1mm", UNITS_MM, 0.4},
        {".5", UNITS_MM, 0.5},       {"5.", UNITS_MM, 5},        {"+2", UNITS_MM, 2},
        {"0", UNITS_MM, 0},          {"0.4mm", UNITS_M, 0.0004},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct error err;
        double length = -1;
        cr_expect(length_parse(rows[i].text, rows[i].units, &length, &err), "%s", rows[i].text);
        cr_expect_eq(length, rows[i].length, "%s gives %.17g", rows[i].text, length);
    }
}

Test(length, wrong_texts_are_refused_as_usage)
{
    static const char *const texts[] = {"",      "mm",       "-1",   "0x1p3", "nan",   "inf",
                                        "1e999", "1,5",      "1 km", "1mmm",  "1  mm", "0.4 mm ",
                                        " 1",    "1unknown", "1e",   "1e+mm", "."};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct error err = {0};
        double length;
        cr_expect_not(length_parse(texts[i], UNITS_MM, &length, &err), "'%s'", texts[i]);
        cr_expect_eq(err.code, ERROR_USAGE, "'%s'", texts[i]);
    }
}

Test(length, wrong_to_state_a_unit_where_the_files_have_none)
{
    struct error err = {0};
    double length;
    cr_expect_not(length_parse("0.4mm", UNITS_UNKNOWN, &length, &err));
    cr_expect(strstr(err.text, "--units"));
}

Test(length, units_have_their_names_in_the_record)
{
    for (int i = 0; i < UNITS_COUNT; i++) {
        enum run_units units;
        cr_expect(run_units_parse(run_units_name((enum run_units)i), &units));
        cr_expect_eq((int)units, i);
    }
    enum run_units units;
    cr_expect_not(run_units_parse("MM", &units));
    cr_expect_not(run_units_parse("", &units));
}
