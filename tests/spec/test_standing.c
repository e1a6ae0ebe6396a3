/* test_standing.c
 *   stands_*  what the facts of a specimen amount to, and since when
 *   waived_*  the same where waivers were added or ended, since its newest audit too
 *   words_*   there and back */
#include "spec/standing.h"

#include <criterion/criterion.h>
#include <string.h>

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
    struct standing_state state = standing_of(facts);
    cr_expect_str_eq(standing_word(state.standing), standing_word(standing));
    cr_expect_str_eq(standing_cause_word(state.cause), standing_cause_word(cause));
    cr_expect_str_eq(state.since, since);
    cr_expect_eq(standing_asks_audit(&state), cause != STANDING_NO_CAUSE);
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

/* --- the holds of an audit that was made on the 11th --- */

static const char before[] = "2026-11-08T00:00:00Z", first[] = "2026-11-11T00:00:00Z",
                  second[] = "2026-11-15T00:00:00Z", third[] = "2026-11-20T00:00:00Z",
                  end[] = "2026-12-25T00:00:00Z", sooner[] = "2026-12-24T00:00:00Z";

static struct standing_hold open_hold(const char *outcome, bool was_waived, const char *turned)
{
    return (struct standing_hold){.outcome = outcome, .was_waived = was_waived, .turned = turned};
}

static struct standing_hold waived_hold(const char *outcome, bool was_waived, const char *turned,
                                        const char *until)
{
    return (struct standing_hold){outcome, outcome, outcome, was_waived, true, turned, until};
}

static struct standing_facts held(const struct standing_hold *holds, size_t count)
{
    struct standing_facts facts = audited("does not conform");
    facts.holds = holds;
    facts.hold_count = count;
    return facts;
}

Test(standing, waived_in_the_audit_stands_so_to_the_end_of_the_first_of_its_waivers)
{
    struct standing_hold holds[] = {waived_hold("undecided", true, before, end),
                                    waived_hold("does not conform", true, before, sooner)};
    struct standing_facts facts = held(holds, 2);
    expect(&facts, STANDING_WAIVED, STANDING_NO_CAUSE, first);
    cr_expect_str_eq(standing_of(&facts).waived_until, sooner);
}

Test(standing, waived_since_the_last_of_its_rules_was)
{
    struct standing_hold holds[] = {waived_hold("does not conform", false, third, end),
                                    waived_hold("undecided", false, second, end)};
    struct standing_facts facts = held(holds, 2);
    expect(&facts, STANDING_WAIVED, STANDING_WAIVER_ADDED, third);
}

Test(standing, waived_in_part_stands_as_the_rules_that_are_left)
{
    struct standing_hold holds[] = {waived_hold("does not conform", false, third, end),
                                    open_hold("undecided", false, NULL)};
    struct standing_facts facts = held(holds, 2);
    expect(&facts, STANDING_UNDECIDED, STANDING_WAIVER_ADDED, third);
    cr_expect_str_eq(standing_of(&facts).waived_until, end);
    holds[1].outcome = "does not conform";
    expect(&facts, STANDING_BLOCKED, STANDING_WAIVER_ADDED, first);
}

Test(standing, waived_no_longer_stands_as_its_rules_since_the_first_waiver_ended)
{
    struct standing_hold holds[] = {open_hold("does not conform", true, third),
                                    open_hold("does not conform", true, second)};
    struct standing_facts facts = held(holds, 2);
    expect(&facts, STANDING_BLOCKED, STANDING_WAIVER_OVER, second);
    cr_expect_null(standing_of(&facts).waived_until);
    holds[1].outcome = "undecided";
    expect(&facts, STANDING_BLOCKED, STANDING_WAIVER_OVER, third);
    holds[0].outcome = "undecided";
    expect(&facts, STANDING_UNDECIDED, STANDING_WAIVER_OVER, second);
}

Test(standing, waived_for_a_while_after_the_audit_is_blocked_since_that_is_over)
{
    struct standing_hold hold = open_hold("does not conform", false, second);
    struct standing_facts facts = held(&hold, 1);
    expect(&facts, STANDING_BLOCKED, STANDING_NO_CAUSE, second);
    hold.turned = before; /* over by the time of the audit */
    expect(&facts, STANDING_BLOCKED, STANDING_NO_CAUSE, first);
}

Test(standing, waived_anew_tells_first_that_another_waiver_is_over)
{
    struct standing_hold holds[] = {waived_hold("does not conform", false, second, end),
                                    open_hold("undecided", true, third)};
    struct standing_facts facts = held(holds, 2);
    expect(&facts, STANDING_UNDECIDED, STANDING_WAIVER_OVER, third);
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
