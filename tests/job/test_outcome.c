/* test_outcome.c
 *   judge_*    every way a worker can end
 *   advice_*   every reason has its own */
#include "job/outcome.h"
#include "job/reason.h"

#include <criterion/criterion.h>
#include <signal.h>
#include <string.h>

Test(outcome, judge_every_end)
{
    static const struct {
        const char *name;
        struct execution_end end;
        enum outcome_cause cause;
        bool done, has_error, broken;
        const char *code; /* NULL: measured */
    } cases[] = {
        {"measured", {false, 0}, ENDED_BY_ITSELF, true, false, false, NULL},
        {"measured before the cancel came", {false, 0}, ENDED_BY_CANCEL, true, false, false, NULL},
        {"cancelled", {false, 0}, ENDED_BY_CANCEL, false, true, false, "cancelled"},
        {"cancelled by force", {true, SIGKILL}, ENDED_BY_CANCEL, false, false, false, "cancelled"},
        {"wall clock", {true, SIGKILL}, ENDED_BY_WALL_CLOCK, false, false, false, "out-of-time"},
        {"processor time", {true, SIGXCPU}, ENDED_BY_ITSELF, false, false, false, "out-of-time"},
        {"killed by the system", {true, SIGKILL}, ENDED_BY_ITSELF, false, false, false, "out-of-memory"},
        {"forbidden call", {true, SIGSYS}, ENDED_BY_ITSELF, false, false, false, "sandbox"},
        {"segmentation fault", {true, SIGSEGV}, ENDED_BY_ITSELF, false, false, false, "crashed"},
        {"abort", {true, SIGABRT}, ENDED_BY_ITSELF, false, false, false, "crashed"},
        {"done, then a crash over its pictures", {true, SIGSEGV}, ENDED_BY_ITSELF, true, false, false, NULL},
        {"done, stopped over its pictures", {true, SIGKILL}, ENDED_BY_WALL_CLOCK, true, false, false, NULL},
        {"silent end", {false, 0}, ENDED_BY_ITSELF, false, false, false, "crashed"},
        {"exit status", {false, 1}, ENDED_BY_ITSELF, false, false, false, "crashed"},
        {"reject", {false, 0}, ENDED_BY_ITSELF, false, true, false, "reject-data"},
        {"broken report", {false, 0}, ENDED_BY_ITSELF, true, true, true, "crashed"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct report report = {
            .done = cases[i].done, .has_error = cases[i].has_error, .broken = cases[i].broken};
        struct store_reason reason;
        char text[240];
        strcpy(report.code, "reject-data");

        bool measured = outcome_judge(&report, &cases[i].end, cases[i].cause, &reason, text);

        cr_expect_eq(measured, cases[i].code == NULL, "%s", cases[i].name);
        if (cases[i].code)
            cr_expect_str_eq(reason.code, cases[i].code, "%s", cases[i].name);
    }
}

Test(outcome, judge_passes_the_place_on)
{
    struct report report = {.has_error = true, .code = "reject-syntax"};
    const struct execution_end end = {false, 0};
    struct store_reason reason;
    char text[240];
    error_set_byte(&report.error, ERROR_SYNTAX, "stl", 84, "cut short");

    cr_expect_not(outcome_judge(&report, &end, ENDED_BY_ITSELF, &reason, text));

    cr_expect_str_eq(reason.format, "stl");
    cr_expect(reason.has_byte);
    cr_expect_eq(reason.byte, 84);
    cr_expect_str_eq(reason.text, "cut short");
}

Test(outcome, advice_is_there_for_every_code_and_only_rejects_are_final)
{
    static const struct {
        const char *code;
        bool is_final;
    } codes[] = {{"reject-syntax", true},  {"reject-data", true},  {"reject-limit", true},
                 {"reject-type", true},    {"reject-empty", true}, {"crashed", false},
                 {"out-of-memory", false}, {"out-of-time", false}, {"sandbox", false},
                 {"blob-corrupt", true},   {"machine", false},     {"cancelled", true}};
    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++) {
        cr_expect(reason_is_known(codes[i].code), "%s", codes[i].code);
        cr_expect_eq(reason_is_final(codes[i].code), codes[i].is_final, "%s", codes[i].code);
        cr_expect_gt(strlen(reason_advice(codes[i].code)), 10);
        for (size_t j = 0; j < i; j++)
            cr_expect_str_neq(reason_advice(codes[i].code), reason_advice(codes[j].code));
    }
    cr_expect_not(reason_is_known("sunspots"));
}
