/* standing.c - the words, and the choice. */
#include "spec/standing.h"

#include <string.h>

static const char *const words[STANDING_COUNT] = {
    [STANDING_BLOCKED] = "blocked",         [STANDING_UNDECIDED] = "undecided",
    [STANDING_NOT_AUDITED] = "not audited", [STANDING_NOT_MEASURED] = "not measured",
    [STANDING_WAIVED] = "waived",           [STANDING_READY] = "ready",
};

const char *standing_word(enum standing standing)
{
    return words[standing];
}

bool standing_parse(const char *word, enum standing *standing)
{
    for (size_t i = 0; i < STANDING_COUNT; i++)
        if (strcmp(word, words[i]) == 0) {
            *standing = (enum standing)i;
            return true;
        }
    return false;
}

const char *standing_cause_word(enum standing_cause cause)
{
    static const char *const causes[] = {[STANDING_NO_CAUSE] = "",
                                         [STANDING_NO_AUDIT] = "no audit",
                                         [STANDING_OLDER_SPEC] = "older spec",
                                         [STANDING_WAIVER_OVER] = "waiver over",
                                         [STANDING_WAIVER_ADDED] = "waiver added"};
    return causes[cause];
}

static const char *later(const char *a, const char *b)
{
    return strcmp(a, b) >= 0 ? a : b;
}

static const char *earlier(const char *a, const char *b)
{
    return a && strcmp(a, b) < 0 ? a : b;
}

static struct standing_state not_audited(const struct standing_facts *facts)
{
    if (facts->has_older)
        return (struct standing_state){STANDING_NOT_AUDITED, STANDING_OLDER_SPEC,
                                       later(facts->spec_created, facts->run_created), NULL};
    return (struct standing_state){STANDING_NOT_AUDITED, STANDING_NO_AUDIT, facts->run_created, NULL};
}

static enum standing standing_by(const char *outcome)
{
    return strcmp(outcome, "does not conform") == 0 ? STANDING_BLOCKED
           : strcmp(outcome, "undecided") == 0      ? STANDING_UNDECIDED
                                                    : STANDING_READY;
}

static enum standing standing_by_hold(const struct standing_hold *hold)
{
    return hold->waived ? STANDING_WAIVED : standing_by(hold->outcome);
}

static enum standing_cause cause_of(const struct standing_facts *facts)
{
    enum standing_cause cause = STANDING_NO_CAUSE;
    for (size_t i = 0; i < facts->hold_count; i++) {
        const struct standing_hold *hold = &facts->holds[i];
        if (hold->was_waived && !hold->waived)
            return STANDING_WAIVER_OVER;
        if (hold->waived && !hold->was_waived)
            cause = STANDING_WAIVER_ADDED;
    }
    return cause;
}

/* The standing is the worst of what the rules amount to. It has been that since the first of the rules of
 * that kind came to it, and the last of what would be worse was waived. */
static const char *since_of(const struct standing_facts *facts, enum standing standing)
{
    const char *since = facts->series_created, *first = NULL;
    for (size_t i = 0; i < facts->hold_count; i++) {
        const struct standing_hold *hold = &facts->holds[i];
        const char *turned = hold->turned ? hold->turned : "";
        if (standing_by_hold(hold) == standing)
            first = earlier(first, turned);
        if (standing_by(hold->outcome) < standing)
            since = later(since, turned);
    }
    return first ? later(since, first) : since;
}

struct standing_state standing_of(const struct standing_facts *facts)
{
    if (!facts->run_created)
        return (struct standing_state){STANDING_NOT_MEASURED, STANDING_NO_CAUSE, facts->specimen_created,
                                       NULL};
    if (!facts->outcome)
        return not_audited(facts);
    struct standing_state state = {facts->hold_count ? STANDING_READY : standing_by(facts->outcome),
                                   cause_of(facts), NULL, NULL};
    for (size_t i = 0; i < facts->hold_count; i++) {
        enum standing standing = standing_by_hold(&facts->holds[i]);
        if (standing < state.standing)
            state.standing = standing;
        if (facts->holds[i].waived)
            state.waived_until = earlier(state.waived_until, facts->holds[i].waived_until);
    }
    state.since = since_of(facts, state.standing);
    return state;
}

bool standing_asks_audit(const struct standing_state *state)
{
    return state->cause != STANDING_NO_CAUSE;
}
