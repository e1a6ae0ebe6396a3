/* test_standing.c
 *   stands_*  what the facts of a specimen amount to, and since when
 *   words_*   there and back */
#include "spec/standing.h"

#include <criterion/criterion.h>
#include <string.h>

static const char now[] = "2026-11-28T12:00:00Z";

static struct standing_facts audited(const char *outcome)
{
    return (struct standing_facts){.specimen_created = "2026-11-01T00:00:00Z",
                                   .run_created = "2026-11-10T00:00:00Z",
                                   .spec_created = "2026-11-05T00:00:00Z",
                                   .outcome = outcome,
                                   .series_created = "2026-11-11T00:00:00Z"};
}

static void expect(const struct standing_facts *facts, enum standing standing, enum standing_cause cause,
                   const char *since)
{
    struct standing_state state = standing_of(facts, now);
    cr_expect_str_eq(standing_word(state.standing), standing_word(standing));
    cr_expect_str_eq(standing_cause_word(state.cause), standing_cause_word(cause));
    cr_expect_str_eq(state.since, since);
}

Test(standing, stands_as_its_newest_audit_says_since_the_first_that_said_so)
{
    static const struct {
        const char *outcome;
        enum standing standing;
    } cases[] = {{"conforms", STANDING_READY},
                 {"does not conform", STANDING_BLOCKED},
                 {"undecided", STANDING_UNDECIDED}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct standing_facts facts = audited(cases[i].outcome);
        expect(&facts, cases[i].standing, STANDING_NO_CAUSE, "2026-11-11T00:00:00Z");
    }
}

Test(standing, stands_waived_to_the_moment_that_a_waiver_ends)
{
    struct standing_facts facts = audited("conforms");
    facts.has_waived = true;
    facts.waived_until = "2026-11-28T12:00:01Z";
    expect(&facts, STANDING_WAIVED, STANDING_NO_CAUSE, "2026-11-11T00:00:00Z");
    facts.waived_until = now;
    expect(&facts, STANDING_NOT_AUDITED, STANDING_WAIVER_OVER, now);
}

Test(standing, stands_blocked_whatever_becomes_of_waivers_that_did_not_help)
{
    struct standing_facts facts = audited("does not conform");
    facts.has_waived = true;
    facts.waived_until = "2026-11-20T00:00:00Z";
    expect(&facts, STANDING_BLOCKED, STANDING_NO_CAUSE, "2026-11-11T00:00:00Z");
}

Test(standing, stands_not_audited_since_its_run_or_since_the_spec_that_came_later)
{
    struct standing_facts facts = audited(NULL);
    expect(&facts, STANDING_NOT_AUDITED, STANDING_NO_AUDIT, "2026-11-10T00:00:00Z");
    facts.has_older = true;
    expect(&facts, STANDING_NOT_AUDITED, STANDING_OLDER_SPEC, "2026-11-10T00:00:00Z");
    facts.spec_created = "2026-11-12T00:00:00Z";
    expect(&facts, STANDING_NOT_AUDITED, STANDING_OLDER_SPEC, "2026-11-12T00:00:00Z");
}

Test(standing, stands_not_measured_since_it_was_made)
{
    struct standing_facts facts = audited(NULL);
    facts.run_created = NULL;
    expect(&facts, STANDING_NOT_MEASURED, STANDING_NO_CAUSE, "2026-11-01T00:00:00Z");
}

Test(standing, words_lead_back_to_their_standing)
{
    for (size_t i = 0; i < STANDING_COUNT; i++) {
        enum standing standing = STANDING_COUNT;
        cr_expect(standing_parse(standing_word((enum standing)i), &standing));
        cr_expect_eq(standing, (enum standing)i);
    }
    enum standing standing;
    cr_expect_not(standing_parse("fine", &standing));
}
