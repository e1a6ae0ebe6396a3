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
                                         [STANDING_WAIVER_OVER] = "waiver over"};
    return causes[cause];
}

static const char *later(const char *a, const char *b)
{
    return strcmp(a, b) >= 0 ? a : b;
}

static struct standing_state not_audited(const struct standing_facts *facts)
{
    if (facts->has_older)
        return (struct standing_state){STANDING_NOT_AUDITED, STANDING_OLDER_SPEC,
                                       later(facts->spec_created, facts->run_created)};
    return (struct standing_state){STANDING_NOT_AUDITED, STANDING_NO_AUDIT, facts->run_created};
}

struct standing_state standing_of(const struct standing_facts *facts, const char *now)
{
    if (!facts->run_created)
        return (struct standing_state){STANDING_NOT_MEASURED, STANDING_NO_CAUSE, facts->specimen_created};
    if (!facts->outcome)
        return not_audited(facts);
    enum standing standing = strcmp(facts->outcome, "does not conform") == 0 ? STANDING_BLOCKED
                             : strcmp(facts->outcome, "undecided") == 0      ? STANDING_UNDECIDED
                             : facts->has_waived                             ? STANDING_WAIVED
                                                                             : STANDING_READY;
    if (standing == STANDING_WAIVED && facts->waived_until && strcmp(facts->waived_until, now) <= 0)
        return (struct standing_state){STANDING_NOT_AUDITED, STANDING_WAIVER_OVER, facts->waived_until};
    return (struct standing_state){standing, STANDING_NO_CAUSE, facts->series_created};
}
