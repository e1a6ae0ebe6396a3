/* test_quantiles.c - order statistics against a full sort.
 *   same_*   as interpolating in the sorted list, for random, tied, signed, tiny and huge values
 *   ranks_*  values of given ranks, in any order and twice
 *   few_*    no value, one value
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>

#include "measure/quantiles.h"
#include "support/fixture_shapes.h"

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double by_sorting(double *values, size_t count, double share)
{
    qsort(values, count, sizeof *values, ascending);
    double place = (double)(count - 1) * share;
    size_t below = (size_t)place;
    double part = place - (double)below;
    return part > 0 ? values[below] + part * (values[below + 1] - values[below]) : values[below];
}

static double draw(uint64_t *state, size_t kind)
{
    double unit = fixture_random_unit(state);
    switch (kind) {
    case 0:
        return unit;
    case 1:
        return (double)fixture_random_below(state, 3) - 1;
    case 2:
        return (unit - 0.5) * ldexp(1, (int)fixture_random_below(state, 2000) - 1000);
    case 3:
        return 90 + unit * 0x1p-40; /* the leading bits are all the same */
    default:
        return 0x1p-1074 * (double)fixture_random_below(state, 1000);
    }
}

Test(quantiles, same_as_sorting)
{
    static const double shares[] = {0, 0.05, 0.5, 0.95, 0.99, 1};
    struct arena *scratch = fixture_arena();
    uint64_t state = 3;
    for (size_t round = 0; round < 200; round++) {
        size_t count = 1 + fixture_random_below(&state, round % 10 == 0 ? 5000 : 120);
        double *values = malloc(count * sizeof *values), got[6];
        struct error err;
        cr_assert(values != NULL);
        for (size_t i = 0; i < count; i++)
            values[i] = draw(&state, round % 5);
        cr_assert(quantiles(values, count, shares, 6, got, *scratch, &err));
        for (size_t s = 0; s < 6; s++)
            cr_expect(eq(dbl, got[s], by_sorting(values, count, shares[s])), "round %zu share %g", round,
                      shares[s]);
        free(values);
    }
}

Test(quantiles, ranks_in_any_order)
{
    struct arena *scratch = fixture_arena();
    uint64_t state = 4;
    for (size_t round = 0; round < 200; round++) {
        size_t count = 1 + fixture_random_below(&state, round % 10 == 0 ? 5000 : 120);
        size_t ranks[ORDER_STATISTICS_MAX];
        double *values = malloc(count * sizeof *values), got[ORDER_STATISTICS_MAX];
        struct error err;
        cr_assert(values != NULL);
        for (size_t i = 0; i < count; i++)
            values[i] = draw(&state, round % 5);
        for (size_t i = 0; i < ORDER_STATISTICS_MAX; i++)
            ranks[i] = i % 8 == 7 ? ranks[i - 1] : fixture_random_below(&state, count);
        cr_assert(order_statistics(values, count, ranks, ORDER_STATISTICS_MAX, got, *scratch, &err));
        qsort(values, count, sizeof *values, ascending);
        for (size_t i = 0; i < ORDER_STATISTICS_MAX; i++)
            cr_expect(eq(dbl, got[i], values[ranks[i]]), "round %zu rank %zu", round, ranks[i]);
        free(values);
    }
}

Test(quantiles, few_values)
{
    static const double shares[] = {0.5};
    struct arena *scratch = fixture_arena();
    struct error err;
    double one = -3, got;
    cr_assert(quantiles(&one, 0, shares, 1, &got, *scratch, &err));
    cr_expect(isnan(got));
    cr_assert(quantiles(&one, 1, shares, 1, &got, *scratch, &err));
    cr_expect(eq(dbl, got, -3));
}
