/* fixture_share.c - the divisor of the environment. */
#include "support/fixture_share.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

static size_t divisor(void)
{
    const char *text = getenv("FETTLE_TEST_SHARE");
    unsigned long parts = text ? strtoul(text, NULL, 10) : 1;

    cr_assert(parts > 0, "FETTLE_TEST_SHARE is '%s'; write a whole number from 1 on", text);
    return parts;
}

size_t fixture_share(size_t count)
{
    size_t parts = divisor();
    return count / parts + (count % parts != 0);
}

size_t fixture_size(size_t usual, size_t small)
{
    return divisor() > 1 ? small : usual;
}

double fixture_wider(double width)
{
    return width * sqrt((double)divisor());
}
