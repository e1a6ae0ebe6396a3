/* outcome.c - exit code, signal and report of a worker as a reason. */
#include "job/outcome.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>

static void say(struct store_reason *reason, const char *code, const char *text)
{
    *reason = (struct store_reason){.code = code, .text = text};
}

static void judge_signal(int number, struct store_reason *reason, char text[240])
{
    switch (number) {
    case SIGKILL:
        say(reason, "out-of-memory", "the machine ran short of memory and ended the measurement");
        return;
    case SIGXCPU:
        say(reason, "out-of-time", "the measurement used up its time on the processor");
        return;
    case SIGSYS:
        say(reason, "sandbox", "the measurement tried a system call that it may not make and was ended");
        return;
    default:
        snprintf(text, 240, "the measurement broke down (signal %d, %s)", number, strsignal(number));
        say(reason, "crashed", text);
    }
}

bool outcome_judge(const struct report *report, const struct execution_end *end, enum outcome_cause cause,
                   struct store_reason *reason, char text[240])
{
    bool clean = !end->killed && end->number == 0 && !report->broken;

    memset(reason, 0, sizeof *reason);
    if (report->done && !report->broken)
        return true; /* also where a cancel came too late, or making the pictures failed */
    if (cause == ENDED_BY_CANCEL)
        say(reason, "cancelled", "the job was cancelled");
    else if (cause == ENDED_BY_WALL_CLOCK)
        say(reason, "out-of-time", "the measurement took longer than the limit and was ended");
    else if (end->killed)
        judge_signal(end->number, reason, text);
    else if (clean && report->has_error)
        *reason = (struct store_reason){
            .code = report->code,
            .text = report->error.text,
            .format = report->error.format[0] ? report->error.format : NULL,
            .line = (int64_t)report->error.line,
            .has_byte = report->error.has_byte,
            .byte = (int64_t)report->error.byte,
        };
    else {
        snprintf(text, 240, "the measurement ended without a result (exit status %d)", end->number);
        say(reason, "crashed", text);
    }
    return false;
}
