/* test_options.c
 *   walk_*    options and operands in any order
 *   wrong_*   each way to call wrongly, and its message
 *   number_*  values */
#include "cli/options.h"

#include <criterion/criterion.h>
#include <string.h>

static const struct option_spec specs[] = {
    {"--kind", true, false, 1},
    {"--tolerance", true, true, 2},
    {"--json", false, false, 3},
};

#define WALK(...)                                                                                            \
    char *argv[] = {"measure", __VA_ARGS__};                                                                 \
    struct options options = options_begin(specs, 3, (int)(sizeof argv / sizeof argv[0]), argv);             \
    struct error err = {0};                                                                                  \
    const char *value

Test(options, walk_takes_options_and_operands_in_any_order)
{
    WALK("a.obj", "--tolerance", "0.1", "--json", "--tolerance=0.2", "--kind", "--json", "-", "--", "--kind");
    static const struct {
        int key;
        const char *value;
    } expected[] = {{OPTION_OPERAND, "a.obj"},
                    {2, "0.1"},
                    {3, NULL},
                    {2, "0.2"},
                    {1, "--json"},
                    {OPTION_OPERAND, "-"},
                    {OPTION_OPERAND, "--kind"},
                    {OPTION_END, NULL}};
    for (size_t i = 0; i < sizeof expected / sizeof expected[0]; i++) {
        cr_expect_eq(options_next(&options, &value, &err), expected[i].key, "step %zu", i);
        if (expected[i].value)
            cr_expect_str_eq(value, expected[i].value);
        else
            cr_expect_null(value);
    }
}

Test(options, wrong_ways_say_which_option)
{
    static char *const calls[][3] = {{"--kin", "scan"},        {"--kind"}, {"--json=1"},
                                     {"--kind=a", "--kind=b"}, {"-k"},     {"--kind-of=x"}};
    static const char *const texts[] = {"there is no option '--kin'", "'--kind' needs a value",
                                        "'--json' takes no value",    "'--kind' is there twice",
                                        "there is no option '-k'",    "there is no option '--kind-of'"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        char *argv[] = {"measure", calls[i][0], calls[i][1]};
        struct options options = options_begin(specs, 3, calls[i][1] ? 3 : 2, argv);
        struct error err = {0};
        const char *value;
        int key;
        while ((key = options_next(&options, &value, &err)) > 0)
            ;
        cr_expect_eq(key, OPTION_WRONG, "%s", texts[i]);
        cr_expect_eq(err.code, ERROR_USAGE);
        cr_expect(strstr(err.text, texts[i]), "'%s' instead of '%s'", err.text, texts[i]);
    }
}

Test(options, number_of_threads_is_whole_and_bounded)
{
    struct error err;
    size_t number = 0;
    cr_expect(option_integer("--threads", "2", 1, 256, &number, &err));
    cr_expect_eq(number, 2u);
    const char *const wrong[] = {"", "0", "257", "-1", "+2", "2 ", "2.0", "0x2", "99999999999999999999"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        cr_expect_not(option_integer("--threads", wrong[i], 1, 256, &number, &err), "%s", wrong[i]);
    cr_expect_eq(number, 2u);
}

Test(options, number_is_decimal)
{
    struct error err;
    double number = 0;
    cr_expect(option_number("--certify", "1e-4", &number, &err));
    cr_expect_eq(number, 1e-4);
    const char *const wrong[] = {"", "1e", "nan", "0x1", "1e-4x", " 1", "1e400"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        cr_expect_not(option_number("--certify", wrong[i], &number, &err), "%s", wrong[i]);
}
