/* test_number.c
 *   table_*    the powers of five against long multiplication and division
 *   same_*     results equal, bit for bit, to the C library's strtod (correctly rounded in glibc >= 2.17)
 *   short_*    the short form read eight digits at a time against number_parse
 *   grammar_*  what counts as a number and where it ends
 */
#include "io/number.h"

#include <criterion/criterion.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/fixture_share.h"

/* Parses a heap copy without terminator, so that the sanitizer sees a read at its end. */
static const char *parse(const char *text, double *value)
{
    size_t length = strlen(text);
    char *copy = malloc(length ? length : 1);
    memcpy(copy, text, length);
    const char *end = number_parse(copy, copy + length, value);
    const char *result = end ? text + (end - copy) : NULL;
    free(copy);
    return result;
}

static bool same_bits(double a, double b)
{
    return memcmp(&a, &b, sizeof a) == 0;
}

static void expect_as_strtod(const char *text)
{
    double value = -1.0;
    const char *end = parse(text, &value);
    double expected = strtod(text, NULL);
    cr_assert(end && !*end, "'%.60s' was not read whole", text);
    cr_assert(same_bits(value, expected), "'%.60s': got %a, strtod gives %a", text, value, expected);
}

static uint64_t next_random(uint64_t *state)
{
    *state ^= *state << 13; /* xorshift64, G. Marsaglia, Journal of Statistical Software 8(14), 2003 */
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

static double finite_from(uint64_t bits)
{
    double value;
    memcpy(&value, &bits, sizeof value);
    return isfinite(value) ? value : 0.0;
}

/* 5^q and its reciprocal in 32-bit limbs, most plainly. */
enum { LIMBS = 64 };

static void multiply_small(uint32_t *limbs, uint32_t factor)
{
    uint64_t carry = 0;
    for (int i = 0; i < LIMBS; i++) {
        carry += (uint64_t)limbs[i] * factor;
        limbs[i] = (uint32_t)carry;
        carry >>= 32;
    }
    cr_assert(carry == 0);
}

static int top_bit(const uint32_t *limbs)
{
    for (int i = 32 * LIMBS - 1; i >= 0; i--)
        if (limbs[i / 32] >> (i % 32) & 1)
            return i;
    return -1;
}

static bool bit(const uint32_t *limbs, int i)
{
    return i >= 0 && (limbs[i / 32] >> (i % 32) & 1);
}

static bool at_least(const uint32_t *a, const uint32_t *b)
{
    for (int i = LIMBS - 1; i >= 0; i--)
        if (a[i] != b[i])
            return a[i] > b[i];
    return true;
}

static void subtract(uint32_t *a, const uint32_t *b)
{
    int64_t borrow = 0;
    for (int i = 0; i < LIMBS; i++) {
        borrow += (int64_t)a[i] - b[i];
        a[i] = (uint32_t)borrow;
        borrow >>= 32;
    }
}

Test(io_number, short_form_equals_the_general_one_or_declines)
{
    static const char *const ends[] = {" ", "\n", "\t", "\r\n", "e3 ", "#", ",", "x"};
    const size_t count = fixture_share(200000);
    uint64_t state = 3;
    size_t taken = 0;
    for (size_t i = 0; i < count; i++) {
        char text[120];
        double value = -1.0, expected;
        size_t length = 0;
        state = state * 6364136223846793005u + 1442695040888963407u;
        unsigned whole = (unsigned)(state >> 33) % 10, places = (unsigned)(state >> 40) % 20;
        if (state >> 60 & 1)
            text[length++] = '-';
        for (unsigned d = 0; d < whole; d++)
            text[length++] = (char)('0' + (state >> (5 + 3 * d)) % 10);
        if (places > 0)
            text[length++] = '.';
        for (unsigned d = 1; d < places; d++)
            text[length++] = (char)('0' + (state >> (2 * d)) % 10);
        const char *ending = ends[(state >> 20) % 8];
        length += (size_t)sprintf(text + length, "%s%40s", ending, "");
        const char *end = number_parse_short(text, text + length, &value);
        if (!end)
            continue;
        taken++;
        cr_assert_eq(end, number_parse(text, text + length, &expected), "'%s'", text);
        cr_assert(same_bits(value, expected), "'%s': got %a, not %a", text, value, expected);
        cr_assert(ending[0] == ' ' || ending[0] == '\n' || ending[0] == '\t' || ending[0] == '\r');
    }
    cr_expect_gt(taken, fixture_share(50000));
}

Test(io_number, table_powers_are_the_leading_bits_of_powers_of_five)
{
    uint32_t five[LIMBS] = {1};
    for (int q = 0; q <= NUMBER_POWER_MAX; q++) {
        unsigned __int128 lead = 0;
        int top = top_bit(five);
        for (int i = 0; i < 128; i++)
            lead = lead << 1 | bit(five, top - i);
        cr_expect_eq(number_powers[q - NUMBER_POWER_MIN][0], (uint64_t)(lead >> 64), "5^%d", q);
        cr_expect_eq(number_powers[q - NUMBER_POWER_MIN][1], (uint64_t)lead, "5^%d", q);
        multiply_small(five, 5);
    }
}

Test(io_number, table_reciprocals_are_rounded_as_the_header_says)
{
    uint32_t five[LIMBS] = {1};
    for (int q = -1; q >= NUMBER_POWER_MIN; q--) {
        multiply_small(five, 5);
        /* long division of 2^k by 5^-q, beginning with the first bit that is set in the quotient */
        uint32_t rest[LIMBS] = {0};
        unsigned __int128 lead = 0;
        int top = top_bit(five);
        rest[(top + 1) / 32] = (uint32_t)1 << ((top + 1) % 32);
        for (int i = 0; i < 128; i++) {
            bool set = at_least(rest, five);
            lead = lead << 1 | set;
            if (set)
                subtract(rest, five);
            multiply_small(rest, 2);
        }
        lead += q >= -27;
        cr_expect_eq(number_powers[q - NUMBER_POWER_MIN][0], (uint64_t)(lead >> 64), "5^%d", q);
        cr_expect_eq(number_powers[q - NUMBER_POWER_MIN][1], (uint64_t)lead, "5^%d", q);
    }
}

Test(io_number, same_as_strtod_for_a_million_random_doubles)
{
    const size_t count = fixture_share(500000);
    uint64_t state = 20261125;
    char text[64];
    for (size_t i = 0; i < count; i++) {
        double value = finite_from(next_random(&state));
        snprintf(text, sizeof text, "%.17g", value);
        expect_as_strtod(text);
        snprintf(text, sizeof text, "%.9g", value);
        expect_as_strtod(text);
    }
}

Test(io_number, same_as_strtod_for_random_lengths_and_coordinates)
{
    const size_t count = fixture_share(200000);
    uint64_t state = 7;
    char text[400];
    for (size_t i = 0; i < count; i++) {
        snprintf(text, sizeof text, "%.*e", (int)(next_random(&state) % 40),
                 finite_from(next_random(&state)));
        expect_as_strtod(text);
        /* as exporters write them */
        snprintf(text, sizeof text, "%.*f", (int)(next_random(&state) % 12),
                 (double)(int64_t)next_random(&state) / 1e15);
        expect_as_strtod(text);
    }
}

/* The middle between two neighbours is a tie; the same with its last digit moved is none. Exact in long
 * double where that has more than 53 bits; elsewhere the texts are still valid cases. */
Test(io_number, same_as_strtod_at_and_beside_the_middle_of_neighbours)
{
    const size_t count = fixture_share(20000);
    uint64_t state = 99;
    char text[1200];
    for (size_t i = 0; i < count; i++) {
        uint64_t bits = next_random(&state) & 0x7fffffffffffffffu;
        if (i % 4 == 0)
            bits &= ((uint64_t)1 << 53) - 1; /* subnormal, or nearly */
        double below = finite_from(bits), above = nextafter(below, INFINITY);
        if (isinf(above))
            continue;
        long double middle = ((long double)below + (long double)above) / 2;
        snprintf(text, sizeof text, "%.*Le", 800, middle);
        expect_as_strtod(text);
        strchr(text, 'e')[-1] = '1';
        expect_as_strtod(text);
        snprintf(text, sizeof text, "%.*Le", 18 + (int)(next_random(&state) % 20), middle);
        expect_as_strtod(text);
    }
}

Test(io_number, same_as_strtod_for_hard_cases)
{
    /* limits of double by IEEE 754; 2^53 + 1 and neighbours; the tie at 9007199254740993; the subnormal and
     * overflow borders; a case that defeated many parsers (2.2250738585072011e-308); texts that begin or end
     * with many zeros */
    static const char *const texts[] = {
        "0",
        "-0",
        "0.0",
        "-0.0e5",
        "0e999999999999999999999",
        "1",
        "-1",
        "+1.5",
        ".5",
        "5.",
        "5.e1",
        "-.25e-3",
        "9007199254740991",
        "9007199254740992",
        "9007199254740993",
        "9007199254740994",
        "9007199254740995",
        "9007199254740993.0000000000000000000000000000000000000001",
        "9007199254740992.99999999999999999999",
        "18446744073709551615",
        "18446744073709551616",
        "9999999999999999999",
        "10000000000000000000",
        "99999999999999999999",
        "1e22",
        "1e23",
        "8.5e22",
        "1e-22",
        "1e-23",
        "123456789012345678e-40",
        "1.7976931348623157e308",
        "1.7976931348623158e308",
        "1.7976931348623159e308",
        "1797693134862315807937289714053034150799341327100378269361737789804449682927647509466490179775872070"
        "96330"
        "2864166928879109465555478519404026306574886715058206819089020007083836762738548458177115317644757302"
        "70069"
        "855571366959622842914819860834936475292719074168444365510704342711559699508093042880",
        "2.2250738585072014e-308",
        "2.2250738585072011e-308",
        "2.2250738585072009e-308",
        "4.9406564584124654e-324",
        "2.4703282292062327e-324",
        "2.4703282292062328e-324",
        "2.47032822920623272088e-324",
        "5e-324",
        "2e-324",
        "3e-324",
        "1e-400",
        "1e-999999999999999999999",
        "0.000000000000000000000000000000000000000000000000000001",
        "1000000000000000000000000000000000000000000000000000000000000000000000000000000000000e-84",
        "0.1000000000000000055511151231257827021181583404541015625",
        "0.10000000000000000555111512312578270211815834045410156251",
        "6929495644600919.5",
        "3.5844466002796428e298",
        "7.2057594037927933e16",
        "1.00000000000000011102230246251565",
        "1."
        "0000000000000001110223024625156540423631668090820312500000000000000000000000000000000000000000000000"
        "01",
        "1."
        "0000000000000001110223024625156540423631668090820312499999999999999999999999999999999999999999999999"
        "99"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        expect_as_strtod(texts[i]);
}

/* An installed locale with a decimal comma, or one compiled into a folder of our own; false when neither is
 * to be had. */
static bool set_comma_locale(void)
{
    static const char *const names[] = {"de_DE.UTF-8", "fr_FR.UTF-8", "nl_NL.UTF-8"};
    char folder[] = "/tmp/fettle-locale-XXXXXX", command[200];

    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        if (setlocale(LC_ALL, names[i]))
            return true;
    if (!mkdtemp(folder))
        return false;
    snprintf(command, sizeof command, "localedef -i de_DE -f UTF-8 %s/de_DE.UTF-8 2>/dev/null", folder);
    bool made = system(command) == 0 && setenv("LOCPATH", folder, 1) == 0 && setlocale(LC_ALL, "de_DE.UTF-8");
    snprintf(command, sizeof command, "rm -r %s", folder);
    return system(command) == 0 && made;
}

Test(io_number, same_when_the_locale_writes_a_decimal_comma)
{
    double value = 0.0;
    const char *end = NULL;

    if (!set_comma_locale())
        cr_skip_test("no locale with a decimal comma can be had (package locales)");
    cr_assert_str_eq(localeconv()->decimal_point, ",");
    end = parse("1.5", &value);
    setlocale(LC_ALL, "C");
    cr_assert(end && !*end);
    cr_expect(same_bits(value, 1.5));
}

Test(io_number, grammar_ends_a_number_at_the_first_byte_that_cannot_go_on)
{
    static const struct {
        const char *text;
        int length; /* -1: no number */
    } cases[] = {{"", -1},     {"-", -1},    {"+", -1},    {".", -1},    {"-.", -1},   {"e5", -1},
                 {".e5", -1},  {"nan", -1},  {"inf", -1},  {"-inf", -1}, {"0x10", 1},  {"1,5", 1},
                 {"1e", 1},    {"1e+", 1},   {"1e+5", 4},  {"1E-05", 5}, {"1.2.3", 3}, {"1 2", 1},
                 {"--1", -1},  {"1d5", 1},   {"1_000", 1}, {"5.", 2},    {".5", 2},    {"1.e2", 4},
                 {"12abc", 2}, {"1e5.5", 3}, {"+-1", -1},  {"1-2", 1}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        double value;
        const char *end = parse(cases[i].text, &value);
        int length = end ? (int)(end - cases[i].text) : -1;
        cr_expect_eq(length, cases[i].length, "'%s': read %d bytes", cases[i].text, length);
    }
}

Test(io_number, grammar_gives_infinity_beyond_the_largest_double)
{
    static const char *const texts[] = {"1e309", "1.8e308", "1e400", "1e99999999999999999999",
                                        "179769313486231590e291"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        double value = 0.0;
        cr_assert(parse(texts[i], &value));
        cr_expect(isinf(value) && value > 0.0, "'%s' gives %g", texts[i], value);
    }
}
