/* test_limits.c
 *   default_*  the table itself
 *   set_*      NAME=VALUE */
#include "http/limits.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>

Test(limits, default_of_each_lies_within_its_own_bounds)
{
    struct http_limits limits = http_limits_default();

    for (size_t i = 0; i < http_limit_count(); i++) {
        const struct http_limit *limit = http_limit_at(i);
        uint64_t value = http_limit_value(&limits, limit);
        cr_expect(value >= limit->least && value <= limit->most, "%s", limit->name);
    }
}

Test(limits, default_table_covers_the_structure)
{
    cr_expect(eq(sz, http_limit_count() * sizeof(uint64_t), sizeof(struct http_limits)));
}

Test(limits, set_changes_one)
{
    struct http_limits limits = http_limits_default(), before = limits;
    struct error err;

    cr_assert(http_limits_set(&limits, "json_bytes=4096", &err));

    cr_expect(eq(u64, limits.json_bytes, 4096));
    limits.json_bytes = before.json_bytes;
    cr_expect(memcmp(&limits, &before, sizeof limits) == 0);
}

Test(limits, set_refuses_what_it_does_not_understand)
{
    static const char *const texts[] = {
        "json_bytes",   "json_bytes=", "json_bytes=1e6", "json_bytes=-1",
        "json_byte=1",  "=1",          "json_bytes=1",   "json_bytes=9999999999999999999",
        "header_ms=0x1"};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct http_limits limits = http_limits_default();
        struct error err = {0};
        cr_expect(not(http_limits_set(&limits, texts[i], &err)), "%s", texts[i]);
        cr_expect(err.code == ERROR_USAGE, "%s", texts[i]);
    }
}
