/* test_range.c
 *   part_*     the examples of RFC 9110 section 14.1.2, for 10,000 bytes
 *   whole_*    what is ignored
 *   outside_*  what cannot be satisfied */
#include "http/range.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>

struct sample {
    const char *value;
    enum range_kind kind;
    uint64_t first, size;
};

static void check(const struct sample *samples, size_t count, uint64_t total)
{
    for (size_t i = 0; i < count; i++) {
        struct byte_range range = range_parse(samples[i].value, total);
        cr_expect(range.kind == samples[i].kind, "%s", samples[i].value);
        if (samples[i].kind == RANGE_PART) {
            cr_expect(range.first == samples[i].first, "%s", samples[i].value);
            cr_expect(range.size == samples[i].size, "%s", samples[i].value);
        }
    }
}

Test(range, part_examples_of_the_standard)
{
    static const struct sample samples[] = {
        {"bytes=0-499", RANGE_PART, 0, 500},
        {"bytes=500-999", RANGE_PART, 500, 500},
        {"bytes=-500", RANGE_PART, 9500, 500},
        {"bytes=9500-", RANGE_PART, 9500, 500},
        {"bytes=0-0", RANGE_PART, 0, 1},
        {"bytes=-1", RANGE_PART, 9999, 1},
        {"bytes=9000-20000", RANGE_PART, 9000, 1000},
        {"bytes=-20000", RANGE_PART, 0, 10000},
        {"Bytes=1-2", RANGE_PART, 1, 2},
        {"bytes=1-99999999999999999999999999", RANGE_PART, 1, 9999},
    };
    check(samples, sizeof samples / sizeof *samples, 10000);
}

Test(range, whole_for_lists_and_other_forms)
{
    static const struct sample samples[] = {
        {NULL, RANGE_WHOLE, 0, 0},         {"bytes=0-0,-1", RANGE_WHOLE, 0, 0},
        {"lines=1-2", RANGE_WHOLE, 0, 0},  {"bytes=5-2", RANGE_WHOLE, 0, 0},
        {"bytes=-", RANGE_WHOLE, 0, 0},    {"bytes=a-b", RANGE_WHOLE, 0, 0},
        {"bytes=1-2x", RANGE_WHOLE, 0, 0}, {"bytes=", RANGE_WHOLE, 0, 0},
    };
    check(samples, sizeof samples / sizeof *samples, 10000);
}

Test(range, outside_of_what_there_is)
{
    static const struct sample samples[] = {
        {"bytes=10000-", RANGE_UNSATISFIABLE, 0, 0},
        {"bytes=99999999999999999999-", RANGE_UNSATISFIABLE, 0, 0},
        {"bytes=-0", RANGE_UNSATISFIABLE, 0, 0},
    };
    check(samples, sizeof samples / sizeof *samples, 10000);
    cr_expect(range_parse("bytes=0-", 0).kind == RANGE_UNSATISFIABLE);
    cr_expect(range_parse("bytes=-1", 0).kind == RANGE_UNSATISFIABLE);
}
