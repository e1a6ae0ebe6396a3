/* test_atom.c
 *   uuid_*   version 5 UUIDs
 *   feed_*   what a feed holds; its grammar is looked at by tests/api/standing.test.mjs
 *   badge_*  what a badge says */
#include "report/atom.h"

#include "report/badge.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* RFC 9562, appendix A.4: www.example.com in the name space of DNS. */
Test(atom, uuid_is_that_of_rfc_9562)
{
    char uuid[ATOM_UUID_SIZE];
    cr_assert(atom_uuid("6ba7b810-9dad-11d1-80b4-00c04fd430c8", "www.example.com", uuid));
    cr_expect_str_eq(uuid, "2ed6657d-e927-568b-95e1-2665a8aea6a2");
}

Test(atom, uuid_of_a_space_that_is_none_is_refused)
{
    char uuid[ATOM_UUID_SIZE];
    cr_expect_not(atom_uuid("", "a", uuid));
    cr_expect_not(atom_uuid("6ba7b810-9dad-11d1-80b4-00c04fd430", "a", uuid));
    cr_expect_not(atom_uuid("6ba7b810-9dad-11d1-80b4-00c04fd430c8c8", "a", uuid));
    cr_expect_not(atom_uuid("gba7b810-9dad-11d1-80b4-00c04fd430c8", "a", uuid));
}

Test(atom, feed_escapes_what_people_wrote_and_is_as_new_as_its_newest_entry)
{
    struct atom_entry entry = {"audit/1", "<A> & B",  "s",   "audit", "2026-11-28T12:00:00Z",
                               "A \"B\"", "/#/a?b&c", "/api"};
    struct atom_feed feed = {
        "6ba7b810-9dad-11d1-80b4-00c04fd430c8", "feed", "t", "/f", "/p", "2000-01-01T00:00:00Z", 1, &entry};
    char *text;
    size_t size;
    struct error err;
    cr_assert(atom_write(&feed, &text, &size, &err), "%s", err.text);
    cr_expect_eq(size, strlen(text));
    cr_expect(strstr(text, "<title>&lt;A&gt; &amp; B</title>"));
    cr_expect(strstr(text, "<name>A &quot;B&quot;</name>"));
    cr_expect(strstr(text, "href=\"/#/a?b&amp;c\""));
    cr_expect_not(strstr(text, "2000-01-01"));
    free(text);
    feed.collection = "lost";
    cr_expect_not(atom_write(&feed, &text, &size, &err));
    cr_expect_eq(err.code, ERROR_STORE);
}

Test(atom, badge_says_every_standing_by_a_word_and_a_shape_of_its_own)
{
    char *texts[STANDING_COUNT];
    for (size_t i = 0; i < STANDING_COUNT; i++) {
        struct badge badge = {"Print 2", "A <1>", (enum standing)i, "2026-11-28T12:00:00Z"};
        char title[120], word[40];
        size_t size;
        struct error err;
        cr_assert(badge_write(&badge, &texts[i], &size, &err), "%s", err.text);
        snprintf(title, sizeof title, ">A &lt;1&gt; by Print 2: %s since 2026-11-28<",
                 standing_word(badge.standing));
        snprintf(word, sizeof word, ">%s</text>", standing_word(badge.standing));
        cr_expect(strstr(texts[i], title), "%s", texts[i]);
        cr_expect(strstr(texts[i], word), "%s", texts[i]);
        const char *shape = strstr(texts[i], "<g transform");
        for (size_t j = 0; j < i; j++) {
            const char *other = strchr(strstr(texts[j], "<g transform"), '>'), *mine = strchr(shape, '>');
            cr_expect_neq(strncmp(mine, other, strcspn(mine, "\n")), 0, "%zu and %zu look alike", i, j);
        }
    }
    for (size_t i = 0; i < STANDING_COUNT; i++)
        free(texts[i]);
}

Test(atom, badge_of_a_long_name_is_cut_between_letters)
{
    char name[400] = "";
    for (int i = 0; i < 60; i++)
        strcat(name, "\xc3\xa4");
    struct badge badge = {name, "A", STANDING_READY, "2026-11-28T12:00:00Z"};
    char *text;
    size_t size;
    struct error err;
    cr_assert(badge_write(&badge, &text, &size, &err), "%s", err.text);
    cr_expect(strstr(text, "\xc3\xa4</text>"));
    free(text);
}
