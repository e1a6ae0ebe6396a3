/* test_settings.c
 *   certify_*  the first word of a run's settings: read, replaced, left out of what is compared */
#include "store/settings.h"

#include <criterion/criterion.h>
#include <string.h>

Test(settings, certify_is_the_first_word_or_not_there)
{
    cr_expect_eq(store_settings_certify("certify=0.0001 surface=2"), 1e-4);
    cr_expect_eq(store_settings_certify("certify=1.0000000000000001e-05"), 1e-5);
    cr_expect_eq(store_settings_certify("surface=2 certify=1"), 0);
    cr_expect_eq(store_settings_certify(""), 0);
}

Test(settings, certify_is_replaced_to_the_last_bit_and_all_else_is_kept)
{
    static const struct {
        const char *settings, *written;
        double certify;
    } cases[] = {
        {"certify=0.0001 surface=2", "certify=1.0000000000000001e-05 surface=2", 1e-5},
        {"certify=0.0001", "certify=0.5", 0.5},
        {"certify=0.0001 surface=2", "certify=0.0001 surface=2", 0},
        {"surface=2", "surface=2", 1e-5},
    };
    char text[STORE_SETTINGS_TEXT];
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        store_settings_write(cases[i].settings, cases[i].certify, text);
        cr_expect_str_eq(text, cases[i].written);
        cr_expect(store_settings_alike(text, cases[i].settings));
    }
}

Test(settings, certify_is_left_out_of_what_is_compared)
{
    cr_expect(store_settings_alike("certify=1 a=2", "certify=3 a=2"));
    cr_expect_not(store_settings_alike("certify=1 a=2", "certify=1 a=3"));
    cr_expect_not(store_settings_alike("certify=1 a=2", "a=2"));
    cr_expect(store_settings_alike("{}", "{}"));
}
