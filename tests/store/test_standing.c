/* test_standing.c
 *   since_*   how long a standing has lasted, by the audits there were
 *   waiver_*  what is added and what ends counts at once, and leaves the stored audit alone
 *   hold_*    which rules hold a specimen up
 *   outbox_*  what hooks have still to be told, and when they are told nothing more
 */
#include "store/standing.h"

#include "store/audits.h"
#include "store/folder.h"
#include "store/hooks.h"
#include "store/inside.h"
#include "store/specs.h"
#include "store/waivers.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

static struct folder folder;
static int64_t specimen, run, spec;

static void run_sql(const char *sql)
{
    cr_assert(connection_exec(&folder.store->writer, sql, &folder.err), "%s", folder.err.text);
}

/* An audit made on the nth day of November; waived: its undecided rule is. */
static int64_t audit_on(int64_t of_run, int64_t by_spec, const char *outcome, bool waived, int day)
{
    static int made;
    char body[400], sql[100];
    const char *rule = waived ? "conforms" : outcome;
    snprintf(body, sizeof body,
             "{\"rules\":[{\"id\":\"near\",\"name\":\"Near\",\"need\":\"required\",\"outcome\":\"%s\","
             "\"waiver\":%s},"
             "{\"id\":\"nice\",\"name\":\"Nice\",\"need\":\"advisory\",\"outcome\":\"undecided\",\"waiver\":"
             "null}]}",
             waived ? "undecided" : rule, waived ? "{\"reason\":\"r\"}" : "null");
    struct store_audit_new added = {
        .run = of_run, .spec = by_spec, .waived = waived, .outcome = outcome, .body = body};
    int64_t id;
    bool created;
    snprintf(added.sha256, sizeof added.sha256, "%064d", ++made);
    cr_assert(store_audit_add(folder.store, &added, &id, &created, &folder.err), "%s", folder.err.text);
    snprintf(sql, sizeof sql, "UPDATE audit SET created = '2026-11-%02dT00:00:00Z' WHERE id = %lld", day,
             (long long)id);
    run_sql(sql);
    return id;
}

static void begin(void)
{
    folder_begin(&folder);
    specimen = add_specimen(&folder, "A-1");
    add_version(&folder, specimen, "scan", 0, "some bytes of a scan");
    run = run_next_job(&folder, 1, 0);
    spec = add_spec(&folder, "print", 1);
}
static void end(void)
{
    folder_end(&folder);
}
TestSuite(standing_store, .init = begin, .fini = end);

static struct store_standing standing_by(int64_t by_spec)
{
    struct store_standing_query query = {.spec = by_spec, .for_scan = true, .for_cage = true};
    struct store_standing_list list;
    cr_assert(store_standing_list(folder.store, &query, &folder.arena, &list, &folder.err), "%s",
              folder.err.text);
    cr_assert_eq(list.count, 1u);
    struct store_standing *items[] = {&list.items[0]};
    cr_assert(store_standing_holds(folder.store, items, 1, &folder.arena, &folder.err));
    return list.items[0];
}

static void expect(enum standing standing, const char *since)
{
    struct store_standing item = standing_by(spec);
    cr_expect_str_eq(standing_word(item.state.standing), standing_word(standing));
    cr_expect_str_eq(item.state.since, since);
}

/* The run of one more file. */
static int64_t next_run(void)
{
    static int made;
    char bytes[40];
    snprintf(bytes, sizeof bytes, "the bytes of scan %d", ++made);
    add_version(&folder, specimen, "scan", 0, bytes);
    return run_next_job(&folder, 1, 0);
}

Test(standing_store, since_the_first_of_an_unbroken_series)
{
    static const char *const outcomes[] = {"does not conform", "conforms", "conforms", "conforms"};
    for (int i = 0; i < 4; i++)
        audit_on(i ? next_run() : run, spec, outcomes[i], false, i + 1);
    expect(STANDING_READY, "2026-11-02T00:00:00Z");
    audit_on(next_run(), spec, "undecided", false, 5);
    expect(STANDING_UNDECIDED, "2026-11-05T00:00:00Z");
    audit_on(next_run(), spec, "conforms", false, 6);
    expect(STANDING_READY, "2026-11-06T00:00:00Z");
}

Test(standing_store, since_goes_on_over_newer_versions_of_file_and_spec)
{
    audit_on(run, spec, "does not conform", false, 1);
    add_version(&folder, specimen, "scan", 0, "a better scan");
    int64_t second = run_next_job(&folder, 1, 0);
    cr_expect_eq(standing_by(spec).state.cause, STANDING_NO_AUDIT);
    audit_on(second, spec, "does not conform", false, 3);
    expect(STANDING_BLOCKED, "2026-11-01T00:00:00Z");
    int64_t first_spec = spec;
    spec = add_spec(&folder, "print", 2);
    cr_expect_eq(standing_by(spec).state.cause, STANDING_OLDER_SPEC);
    audit_on(second, spec, "does not conform", false, 4);
    expect(STANDING_BLOCKED, "2026-11-01T00:00:00Z");
    spec = first_spec;
    expect(STANDING_BLOCKED, "2026-11-01T00:00:00Z");
}

Test(standing_store, since_is_not_interrupted_by_other_specs_or_by_audits_of_runs_that_were_older)
{
    int64_t other = add_spec(&folder, "cast", 1);
    add_version(&folder, specimen, "scan", 0, "a better scan");
    int64_t second = run_next_job(&folder, 1, 0);
    audit_on(second, spec, "conforms", false, 1);
    audit_on(second, other, "does not conform", false, 2);
    audit_on(second, spec, "conforms", false, 3);
    expect(STANDING_READY, "2026-11-01T00:00:00Z");
    audit_on(run, spec, "does not conform", false, 4);
    expect(STANDING_READY, "2026-11-01T00:00:00Z");
    audit_on(second, spec, "conforms", false, 5);
    expect(STANDING_READY, "2026-11-01T00:00:00Z");
}

/* A waiver of that rule, made on the nth day of November. */
static int64_t add_waiver(const char *rule, int day, const char *expires)
{
    struct store_waiver waiver = {.specimen = specimen,
                                  .spec_name = "print",
                                  .rule = rule,
                                  .reason = "r",
                                  .author = "a",
                                  .expires = expires};
    char sql[100];
    int64_t id;
    cr_assert(store_waiver_add(folder.store, &waiver, &id, &folder.err), "%s", folder.err.text);
    snprintf(sql, sizeof sql, "UPDATE waiver SET created = '2026-11-%02dT00:00:00Z' WHERE id = %lld", day,
             (long long)id);
    run_sql(sql);
    return id;
}

static void expect_because(enum standing standing, enum standing_cause cause, const char *since)
{
    expect(standing, since);
    cr_expect_str_eq(standing_cause_word(standing_by(spec).state.cause), standing_cause_word(cause));
}

Test(standing_store, waiver_counts_from_when_it_is_added_to_when_it_ends)
{
    int64_t id = audit_on(run, spec, "does not conform", false, 1);
    struct store_audit audit;
    add_waiver("other", 2, "2199-12-31");
    expect_because(STANDING_BLOCKED, STANDING_NO_CAUSE, "2026-11-01T00:00:00Z");
    add_waiver("near", 3, "2199-12-31");
    expect_because(STANDING_WAIVED, STANDING_WAIVER_ADDED, "2026-11-03T00:00:00Z");
    cr_expect_str_eq(standing_by(spec).state.waived_until, "2200-01-01T00:00:00Z");
    cr_expect(standing_by(spec).facts.holds[0].waived);
    run_sql("UPDATE waiver SET expires = '2026-11-04' WHERE rule = 'near'");
    expect_because(STANDING_BLOCKED, STANDING_NO_CAUSE, "2026-11-05T00:00:00Z");
    cr_assert(store_audit_get(folder.store, id, &folder.arena, &audit, &folder.err));
    cr_expect_str_eq(audit.outcome, "does not conform");
    cr_expect(strstr(audit.body, "\"waiver\":null"), "%s", audit.body);
}

Test(standing_store, waiver_is_over_by_its_last_day_or_by_its_withdrawal)
{
    add_waiver("near", 1, "2199-12-31");
    audit_on(run, spec, "conforms", true, 2);
    expect_because(STANDING_WAIVED, STANDING_NO_CAUSE, "2026-11-02T00:00:00Z");
    run_sql("UPDATE waiver SET expires = '2026-11-20'");
    expect_because(STANDING_UNDECIDED, STANDING_WAIVER_OVER, "2026-11-21T00:00:00Z");
    run_sql("UPDATE waiver SET withdrawn_at = '2026-11-18T10:00:00Z'");
    expect_because(STANDING_UNDECIDED, STANDING_WAIVER_OVER, "2026-11-18T10:00:00Z");
    add_waiver("near", 22, "2199-12-30");
    expect_because(STANDING_WAIVED, STANDING_NO_CAUSE, "2026-11-22T00:00:00Z");
}

Test(standing_store, waiver_that_takes_over_from_another_leaves_no_gap)
{
    audit_on(run, spec, "undecided", false, 1);
    add_waiver("near", 2, "2026-11-09");
    add_waiver("near", 5, "2026-11-06");
    add_waiver("near", 8, "2199-12-31");
    expect(STANDING_WAIVED, "2026-11-02T00:00:00Z");
    run_sql("UPDATE waiver SET expires = '2026-11-06' WHERE expires = '2026-11-09'");
    expect(STANDING_WAIVED, "2026-11-08T00:00:00Z");
}

Test(standing_store, waiver_does_not_count_later_because_it_is_audited_later)
{
    audit_on(run, spec, "undecided", false, 1);
    add_waiver("near", 3, "2199-12-31");
    expect_because(STANDING_WAIVED, STANDING_WAIVER_ADDED, "2026-11-03T00:00:00Z");
    audit_on(run, spec, "conforms", true, 7);
    expect_because(STANDING_WAIVED, STANDING_NO_CAUSE, "2026-11-03T00:00:00Z");
    run_sql("UPDATE waiver SET expires = '2026-11-09'");
    expect_because(STANDING_UNDECIDED, STANDING_WAIVER_OVER, "2026-11-10T00:00:00Z");
    audit_on(run, spec, "undecided", false, 12);
    expect_because(STANDING_UNDECIDED, STANDING_NO_CAUSE, "2026-11-10T00:00:00Z");
}

Test(standing_store, waiver_of_another_spec_or_specimen_does_not_count)
{
    audit_on(run, spec, "undecided", false, 1);
    add_waiver("near", 2, "2199-12-31");
    run_sql("UPDATE waiver SET spec_name = 'cast'");
    expect(STANDING_UNDECIDED, "2026-11-01T00:00:00Z");
    int64_t first = specimen;
    specimen = add_specimen(&folder, "A-2");
    add_waiver("near", 3, "2199-12-31");
    specimen = first;
    struct store_standing_query query = {
        .spec = spec, .for_scan = true, .for_cage = true, .specimen = specimen};
    struct store_standing_list list;
    cr_assert(store_standing_list(folder.store, &query, &folder.arena, &list, &folder.err));
    cr_expect_eq(list.items[0].state.standing, STANDING_UNDECIDED);
}

Test(standing_store, hold_is_every_required_rule_that_does_not_conform)
{
    audit_on(run, spec, "undecided", false, 1);
    struct store_standing item = standing_by(spec);
    cr_assert_eq(item.facts.hold_count, 1u);
    cr_expect_str_eq(item.facts.holds[0].rule, "near");
    cr_expect_str_eq(item.facts.holds[0].outcome, "undecided");
    cr_expect_not(item.facts.holds[0].waived);
    audit_on(next_run(), spec, "conforms", true, 2);
    cr_expect(standing_by(spec).facts.holds[0].was_waived);
    audit_on(next_run(), spec, "conforms", false, 3);
    cr_expect_eq(standing_by(spec).facts.hold_count, 0u);
}

/* --- hooks --- */

static int64_t add_hook(const char *events)
{
    struct store_hook_new added = {"https://example.org/", events, "sixteen letters."};
    int64_t id;
    cr_assert(store_hook_add(folder.store, &added, &id, &folder.err), "%s", folder.err.text);
    return id;
}

static bool next_delivery(int64_t now_ms, struct store_delivery *delivery)
{
    bool found;
    int64_t next_ms;
    cr_assert(
        store_delivery_due(folder.store, now_ms, &folder.arena, delivery, &found, &next_ms, &folder.err),
        "%s", folder.err.text);
    return found;
}

static struct store_hook hook_of(int64_t id)
{
    struct store_hook hook;
    cr_assert(store_hook_get(folder.store, id, &folder.arena, &hook, &folder.err), "%s", folder.err.text);
    return hook;
}

static const struct store_attempt refused = {
    .status = 500, .error = "the answer was 500", .again_ms = 1000, .disable_after_s = 5 * 86400};

Test(standing_store, outbox_holds_what_hooks_of_that_event_want_to_hear)
{
    int64_t hook = add_hook(" audit ");
    add_hook(" sign-off ");
    audit_on(run, spec, "conforms", false, 1);
    struct store_delivery delivery;
    cr_assert(next_delivery(0, &delivery));
    cr_expect_eq(delivery.hook, hook);
    cr_expect(strstr(delivery.body, "\"outcome\":\"conforms\""), "%s", delivery.body);
    cr_expect_str_eq(delivery.secret, "sixteen letters.");
    struct store_attempt accepted = {.accepted = true, .status = 204};
    cr_assert(store_delivery_tried(folder.store, &delivery, &accepted, &folder.err));
    cr_expect_not(next_delivery(INT64_MAX, &delivery));
}

Test(standing_store, outbox_waits_after_a_failure_and_gives_up_after_days_of_them)
{
    int64_t hook = add_hook(" audit ");
    struct store_delivery delivery;
    audit_on(run, spec, "conforms", false, 1);
    cr_assert(next_delivery(0, &delivery));
    cr_assert(store_delivery_tried(folder.store, &delivery, &refused, &folder.err));
    cr_expect_not(next_delivery(999, &delivery));
    cr_assert(next_delivery(1000, &delivery));
    cr_expect_eq(delivery.attempts, 1);
    cr_expect_null(hook_of(hook).disabled_at);
    run_sql("UPDATE hook SET failing_since = '2026-11-01T00:00:00Z'");
    cr_assert(store_delivery_tried(folder.store, &delivery, &refused, &folder.err));
    struct store_hook disabled = hook_of(hook);
    cr_expect_str_eq(disabled.disabled_reason, "nothing was accepted since 2026-11-01T00:00:00Z");
    cr_expect_eq(disabled.failed, 1);
    cr_expect_not(next_delivery(INT64_MAX, &delivery));
    audit_on(run, spec, "undecided", false, 2);
    cr_expect_not(next_delivery(INT64_MAX, &delivery), "a hook that is disabled is told nothing");
}

Test(standing_store, outbox_tests_a_disabled_hook_once_and_enables_it_when_the_test_is_accepted)
{
    int64_t hook = add_hook(" audit "), test;
    struct store_delivery delivery;
    run_sql("UPDATE hook SET failing_since = '2026-11-01T00:00:00Z', disabled_at = '2026-11-07T00:00:00Z',"
            " disabled_reason = 'r'");
    cr_assert(store_hook_test(folder.store, hook, &test, &folder.err));
    cr_assert(next_delivery(0, &delivery));
    cr_assert(store_delivery_tried(folder.store, &delivery, &refused, &folder.err));
    cr_expect_not(next_delivery(INT64_MAX, &delivery), "a test is tried once");
    cr_expect(hook_of(hook).disabled_at);
    cr_assert(store_hook_test(folder.store, hook, &test, &folder.err));
    cr_assert(next_delivery(0, &delivery));
    struct store_attempt accepted = {.accepted = true, .status = 200};
    cr_assert(store_delivery_tried(folder.store, &delivery, &accepted, &folder.err));
    cr_expect_null(hook_of(hook).disabled_at);
    cr_expect_null(hook_of(hook).failing_since);
}

Test(standing_store, outbox_of_a_hook_that_was_withdrawn_is_given_up_and_its_secret_forgotten)
{
    int64_t hook = add_hook(" audit ");
    struct store_delivery delivery;
    audit_on(run, spec, "conforms", false, 1);
    cr_assert(store_hook_withdraw(folder.store, hook, &folder.err));
    cr_expect_not(next_delivery(INT64_MAX, &delivery));
    int64_t left;
    cr_assert(connection_number(&folder.store->writer,
                                "SELECT count(*) FROM hook WHERE secret = 'sixteen letters.'", &left,
                                &folder.err));
    cr_expect_eq(left, 0);
}
