/* test_measure_text.c
 *   The rules of printing numbers: intervals outward, half-widths up, counts in groups of three, a dash for
 *   what is not defined. Expected texts are worked out by hand from those rules. */
#include "cli/measure_text.h"

#include <criterion/criterion.h>
#include <math.h>

#define NARROW "\xe2\x80\xaf"
#define RANGE "\xe2\x80\x93"
#define MINUS "\xe2\x88\x92"
#define DASH "\xe2\x80\x94"

Test(measure_text, counts_are_set_in_groups_of_three)
{
    static const struct {
        double count;
        const char *text;
    } rows[] = {{0, "0"},
                {999, "999"},
                {1000, "1" NARROW "000"},
                {16971, "16" NARROW "971"},
                {1234567, "1" NARROW "234" NARROW "567"},
                {-12, MINUS "12"},
                {NAN, DASH}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[MEASURE_TEXT_SIZE];
        measure_text_count(rows[i].count, text);
        cr_expect_str_eq(text, rows[i].text);
    }
}

Test(measure_text, values_have_four_significant_digits)
{
    static const struct {
        double value;
        const char *text;
    } rows[] = {{0, "0"},
                {122.43, "122.4"},
                {0.0419999, "0.042"},
                {12345.6, "12" NARROW "346"},
                {-1.5, MINUS "1.5"},
                {1.2344e-9, "1.234e-09"},
                {1e20, "1.000e+20"},
                {NAN, DASH}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[MEASURE_TEXT_SIZE];
        measure_text_value(rows[i].value, text);
        cr_expect_str_eq(text, rows[i].text);
    }
}

Test(measure_text, intervals_are_rounded_outward)
{
    static const struct {
        double lower, upper;
        const char *text;
    } rows[] = {{0.6163, 0.6277, "0.616" RANGE "0.628"}, /* differ in the second decimal: three are set */
                {0, 0.000415, "0.00000" RANGE "0.00042"},
                {0.10001, 0.9, "0.10" RANGE "0.91"},
                {0.5, 0.5, "0.5"},
                {3.980491761, 3.980491763, "3.980491" RANGE "3.980492"},         /* alike in ten digits */
                {1.4999999999995, 1.5000000000005, "1.499999" RANGE "1.500001"}, /* about a round number */
                {12, 57.2, "12" RANGE "58"},
                {0, 1.21e-17, "0" RANGE "1.3e-17"},
                {NAN, NAN, DASH}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[MEASURE_TEXT_SIZE];
        measure_text_interval(rows[i].lower, rows[i].upper, text);
        cr_expect_str_eq(text, rows[i].text);
    }
}

Test(measure_text, half_widths_have_one_digit_rounded_up)
{
    static const struct {
        double value, halfwidth;
        const char *text;
    } rows[] = {{0.04142, 0.00051, "0.0414 \xc2\xb1 0.0006"},
                {0.04142, 0.00097, "0.041 \xc2\xb1 0.001"},
                {1234.5, 30.1, "1" NARROW "230 \xc2\xb1 40"},
                {0.5, 0, "0.5"},
                {NAN, 0.1, DASH}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[MEASURE_TEXT_SIZE];
        measure_text_halfwidth(rows[i].value, rows[i].halfwidth, text);
        cr_expect_str_eq(text, rows[i].text);
    }
}

Test(measure_text, width_counts_characters)
{
    cr_expect_eq(measure_text_width("0.616" RANGE "0.628 mm\xc2\xb2"), 15u);
    char text[MEASURE_TEXT_SIZE];
    measure_text_bytes(4404019, text);
    cr_expect_str_eq(text, "4.2 MiB");
    measure_text_share(0.9321, text);
    cr_expect_str_eq(text, "93.2");
}
