/* test_name.c
 *   check_*   which paths may be in a bag
 *   safe_*    a file's name as one of those
 *   code_*    as manifests write it, and back
 */
#include "bag/name.h"

#include <criterion/criterion.h>
#include <string.h>

Test(bag_name, check_takes_plain_paths_and_no_others)
{
    static const struct {
        const char *path;
        bool taken;
    } cases[] = {
        {"bagit.txt", true},
        {"data/files/scan-1/a b.obj", true},
        {"data/100%.obj", true},
        {"data/...x", true},
        {"", false},
        {"/data/a", false},
        {"data//a", false},
        {"data/", false},
        {"data/../a", false},
        {"..", false},
        {"./a", false},
        {"data\\a", false},
        {"C:a", false},
        {"data/a\n", false},
        {"data/\x7f", false},
        {"data/caf\xc3\xa9", false},
        {"data/ a", false},
        {"data/a ", false},
        {"data/a.", false},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct error err = {0};
        cr_expect(bag_path_check(cases[i].path, strlen(cases[i].path), &err) == cases[i].taken, "'%s'",
                  cases[i].path);
    }
}

Test(bag_name, safe_names_are_taken_and_keep_their_end)
{
    static const struct {
        const char *name, *safe;
    } cases[] = {
        {"cage 0.4mm.obj", "cage_0.4mm.obj"},
        {"Sch\xc3\xa4"
         "del.ply",
         "Sch_del.ply"},
        {"../../etc/passwd", "_._.._etc_passwd"},
        {"-rf", "_rf"},
        {".hidden", "_hidden"},
        {"a\r\n%0A", "a_0A"},
        {"...", "_"},
        {"", "_"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char safe[100];
        struct error err = {0};
        bag_name_safe(cases[i].name, safe, sizeof safe);
        cr_expect_str_eq(safe, cases[i].safe, "'%s' became '%s'", cases[i].name, safe);
        cr_expect(bag_path_check(safe, strlen(safe), &err), "%s", err.text);
    }
    char longest[300], safe[100];
    memset(longest, 'a', sizeof longest - 1);
    strcpy(longest + 295, ".obj");
    bag_name_safe(longest, safe, sizeof safe);
    cr_expect_eq(strlen(safe), 80);
    cr_expect_str_eq(safe + 76, ".obj");
}

Test(bag_name, code_is_that_of_rfc_8493_and_comes_back)
{
    char coded[40], back[40];
    cr_assert(bag_path_encode("data/50%\r\nx", coded, sizeof coded));
    cr_expect_str_eq(coded, "data/50%25%0D%0Ax");
    strcpy(back, coded);
    bag_path_decode(back);
    cr_expect_str_eq(back, "data/50%\r\nx");
    strcpy(back, "a%0ab%41%2");
    bag_path_decode(back);
    cr_expect_str_eq(back, "a\nb%41%2", "nothing else stands for something");
    cr_expect_not(bag_path_encode("%%%%%%%%%%%%%%", coded, sizeof coded), "42 bytes do not fit into 40");
}
