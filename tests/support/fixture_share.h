/* fixture_share.h - how much of a long test is done: all, unless the environment variable FETTLE_TEST_SHARE
 * names a divisor.
 *
 * For `.ci/run`, and for machines that are imitated (`make arm64`), which take ten to forty times as long. A
 * test draws one of so many of its random cases, or looks at one of so many samples, or asks for an interval
 * so much wider: its claim is the same, and it still can fail. */
#ifndef SUPPORT_FIXTURE_SHARE_H
#define SUPPORT_FIXTURE_SHARE_H

#include <stddef.h>

/* count / divisor (1 where FETTLE_TEST_SHARE is not set), rounded up: of 0 it is 0, else 1 at least. */
size_t fixture_share(size_t count);
/* The small size, length or step of a loop instead of the usual one where there is a divisor above 1. */
size_t fixture_size(size_t usual, size_t small);
/* width times the root of the divisor. */
double fixture_wider(double width);

#endif
