/* test_number.c
 *   appendix_b_*   the table of RFC 8785, appendix B
 *   powers_*       every power of two, where the shortest digits are easiest to miss
 *   forms_*        the cases of Number::toString (ECMA-262, section 6.1.6.1.20)
 * Random bit patterns are compared with node's own String(x) in tests/cli/record_numbers.test.mjs. */
#include "json/number.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static double from_bits(uint64_t bits)
{
    double x;
    memcpy(&x, &bits, sizeof x);
    return x;
}

Test(number, appendix_b_of_rfc_8785)
{
    static const struct {
        uint64_t bits;
        const char *text;
    } rows[] = {
        {0x0000000000000000, "0"},
        {0x8000000000000000, "0"},
        {0x0000000000000001, "5e-324"},
        {0x8000000000000001, "-5e-324"},
        {0x7fefffffffffffff, "1.7976931348623157e+308"},
        {0xffefffffffffffff, "-1.7976931348623157e+308"},
        {0x4340000000000000, "9007199254740992"},
        {0xc340000000000000, "-9007199254740992"},
        {0x4430000000000000, "295147905179352830000"},
        {0x44b52d02c7e14af5, "9.999999999999997e+22"},
        {0x44b52d02c7e14af6, "1e+23"},
        {0x44b52d02c7e14af7, "1.0000000000000001e+23"},
        {0x444b1ae4d6e2ef4e, "999999999999999700000"},
        {0x444b1ae4d6e2ef4f, "999999999999999900000"},
        {0x444b1ae4d6e2ef50, "1e+21"},
        {0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7"},
        {0x3eb0c6f7a0b5ed8d, "0.000001"},
        {0x41b3de4355555553, "333333333.3333332"},
        {0x41b3de4355555554, "333333333.33333325"},
        {0x41b3de4355555555, "333333333.3333333"},
        {0x41b3de4355555556, "333333333.3333334"},
        {0x41b3de4355555557, "333333333.33333343"},
        {0xbecbf647612f3696, "-0.0000033333333333333333"},
        {0x43143ff3c1cb0959, "1424953923781206.2"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[NUMBER_TEXT_SIZE];
        size_t length = number_write(from_bits(rows[i].bits), text);
        cr_expect_str_eq(text, rows[i].text, "%016llx", (unsigned long long)rows[i].bits);
        cr_expect_eq(length, strlen(rows[i].text));
    }
}

Test(number, what_json_does_not_have_is_null)
{
    char text[NUMBER_TEXT_SIZE];
    const double values[] = {NAN, -NAN, INFINITY, -INFINITY};
    for (size_t i = 0; i < 4; i++) {
        cr_expect_eq(number_write(values[i], text), 4u);
        cr_expect_str_eq(text, "null");
    }
}

static size_t count_digits(const char *text)
{
    size_t count = 0;
    bool leading = true;
    for (; *text && *text != 'e'; text++)
        if (*text >= '0' && *text <= '9') {
            leading = leading && *text == '0';
            count += !leading;
        }
    return count;
}

/* Slow and obvious: the closest decimal of that many digits and its two neighbours; none may read back. */
static bool some_text_of(size_t digits, double x)
{
    char text[64];
    snprintf(text, sizeof text, "%.*e", (int)digits - 1, x);
    char *exponent = strchr(text, 'e');
    long long significand = 0;
    for (char *c = text; c < exponent; c++)
        if (*c != '.')
            significand = 10 * significand + (*c - '0');
    int power = atoi(exponent + 1) - ((int)digits - 1);
    for (long long near = significand - 1; near <= significand + 1; near++) {
        snprintf(text, sizeof text, "%llde%d", near, power);
        if (strtod(text, NULL) == x)
            return true;
    }
    return false;
}

Test(number, powers_of_two_have_the_fewest_digits)
{
    for (int power = -1074; power <= 1023; power++) {
        char text[NUMBER_TEXT_SIZE];
        double x = ldexp(1, power);
        number_write(x, text);
        size_t digits = count_digits(text);
        while (digits > 1 && x >= 1e15 && !strchr(text, 'e') && text[digits - 1] == '0')
            digits--;
        cr_expect_eq(strtod(text, NULL), x, "2^%d as %s", power, text);
        cr_expect(digits == 1 || !some_text_of(digits - 1, x), "2^%d as %s is not the shortest", power, text);
    }
}

/* The closest 16 digits to 2^-44 read back as its lower neighbour; the next ones up are 2^-44. Expected
 * values: String(x) of node 18. */
Test(number, powers_where_the_closest_digits_are_another_double)
{
    char text[NUMBER_TEXT_SIZE];
    number_write(ldexp(1, -44), text);
    cr_expect_str_eq(text, "5.684341886080802e-14");
    number_write(9007199254740993.0, text);
    cr_expect_str_eq(text, "9007199254740992");
    number_write(9007199254740994.0, text);
    cr_expect_str_eq(text, "9007199254740994");
    number_write(2.2250738585072014e-308, text);
    cr_expect_str_eq(text, "2.2250738585072014e-308");
}

Test(number, forms_change_at_the_edges_that_the_standard_names)
{
    static const struct {
        double x;
        const char *text;
    } rows[] = {
        {1, "1"},
        {-1, "-1"},
        {100, "100"},
        {0.1, "0.1"},
        {123.456, "123.456"},
        {1e20, "100000000000000000000"},
        {1e21, "1e+21"},
        {1e-6, "0.000001"},
        {1e-7, "1e-7"},
        {1.5e-7, "1.5e-7"},
        {123456789012345680000.0, "123456789012345680000"},
        {1e100, "1e+100"},
        {-0.000001234567890123456, "-0.000001234567890123456"},
        {0.30000000000000004, "0.30000000000000004"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[NUMBER_TEXT_SIZE];
        number_write(rows[i].x, text);
        cr_expect_str_eq(text, rows[i].text);
    }
}
