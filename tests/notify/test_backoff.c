/* test_backoff.c
 *   backoff_*  waits double, end at the most, and never leave their upper half */
#include "notify/backoff.h"

#include <criterion/criterion.h>

Test(backoff, backoff_doubles_with_every_failure_up_to_the_most)
{
    cr_expect_eq(backoff_ms(1, 5000, 0), 2500);
    cr_expect_eq(backoff_ms(2, 5000, 0), 5000);
    cr_expect_eq(backoff_ms(3, 5000, 0), 10000);
    cr_expect_eq(backoff_ms(40, 5000, 0), BACKOFF_MOST_MS / 2);
    cr_expect_eq(backoff_ms(INT64_MAX, 5000, 0), BACKOFF_MOST_MS / 2);
    cr_expect_eq(backoff_ms(1, 1, 1), 1);
}

Test(backoff, backoff_by_any_chance_stays_in_its_upper_half)
{
    uint64_t random = 0x9e3779b97f4a7c15u;
    for (int64_t attempts = 1; attempts < 30; attempts++)
        for (int i = 0; i < 100; i++) {
            int64_t most = backoff_ms(attempts, 1000, 0) * 2;
            int64_t wait = backoff_ms(attempts, 1000, random);
            cr_assert(wait >= most / 2 && wait <= most, "%lld", (long long)wait);
            random = random * 6364136223846793005u + 1442695040888963407u;
        }
}
