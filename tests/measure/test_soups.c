/* test_soups.c
 *   soups_*    a thousand random pairs of every kind against the truth in long double (tests/oracle has 10^5)
 *   truth_*    the truth itself on cases known on paper
 *   shrunk_*   deliberately wrong answers are found, and shrunk to the least pair that shows them
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "measure/soup_pair.h"

#include "support/fixture_shapes.h"
#include "support/fixture_share.h"

static bool check_fails(const struct soup_pair *pair, void *context)
{
    return soup_check(pair, context) != NULL;
}

/* Shrinks a failing pair and prints it as source. */
static void show(struct soup_pair pair, struct soup_check *check, unsigned number, const char *what)
{
    static char text[1 << 15];

    soup_pair_shrink(&pair, check_fails, check);
    soup_pair_print(&pair, text, sizeof text);
    cr_expect(false, "pair %u (%s), certify %g, %s: %s\n%s", number, SOUP_KIND_NAMES[number % SOUP_KINDS],
              check->certify, check->is_back ? "back" : "there", what, text);
}

Test(soups, soups_of_every_kind_are_inside_their_intervals, .timeout = 300)
{
    struct soup_check check = {.arena = *fixture_arena_of((size_t)256 << 20)};
    const size_t count = fixture_share(1000);

    for (unsigned number = 0; number < count; number++) {
        const struct soup_pair there = soup_pair_random(2, number), back = {there.to, there.from};
        check.certify = number / SOUP_KINDS % 2 ? 1e-6 : 1e-4;
        for (int way = 0; way < 2; way++) {
            check.is_back = way;
            const char *what = soup_check(way ? &back : &there, &check);
            if (what)
                show(way ? back : there, &check, number, what);
        }
    }
}

/* A segment between two points, 1 from either at most; a cube of side 2 from one of side 1: sqrt(3) / 2. */
Test(soups, truth_of_cases_known_on_paper)
{
    const struct soup_pair between = {
        .from = {3, 1, {{-1, 0, 0}, {1, 0, 0}, {0, 0, 0}}, {{0, 1, 2}}},
        .to = {2, 2, {{-1, 0, 0}, {1, 0, 0}}, {{0, 0, 0}, {1, 1, 1}}},
    };
    struct soup_truth truth = soup_truth(&between.from, &between.to, 1e-15L, SOUP_PARTS_MAX);
    cr_expect(truth.lower <= 1 && 1 <= truth.upper && truth.upper - truth.lower <= 1e-15L);

    /* circumradius of a triangle with sides 5, 5, 6 between its corners: 150 / 48 */
    const struct soup_pair corners = {
        .from = {3, 1, {{-3, 0, 1}, {3, 0, 1}, {0, 4, 1}}, {{0, 1, 2}}},
        .to = {3, 3, {{-3, 0, 1}, {3, 0, 1}, {0, 4, 1}}, {{0, 0, 0}, {1, 1, 1}, {2, 2, 2}}},
    };
    truth = soup_truth(&corners.from, &corners.to, 1e-12L, SOUP_PARTS_MAX);
    cr_expect(truth.lower <= 3.125L && 3.125L <= truth.upper && truth.upper - truth.lower <= 1e-12L);

    /* two parallel triangles at height 3/4, and a needle that ends 1/2 beyond a corner */
    const struct soup_pair level = {
        .from = {3, 1, {{0, 0, 0.75}, {1, 0, 0.75}, {0, 1, 0.75}}, {{0, 1, 2}}},
        .to = {3, 1, {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}, {{0, 1, 2}}},
    };
    truth = soup_truth(&level.from, &level.to, 0, SOUP_PARTS_MAX);
    cr_expect(truth.lower == 0.75L && truth.upper == 0.75L);
    const struct soup_pair needle = {
        .from = {3, 1, {{0.25, 0, 0}, {1.5, 0, 0}, {1.5, 1e-14, 0}}, {{0, 1, 2}}},
        .to = level.to,
    };
    truth = soup_truth(&needle.from, &needle.to, 0, SOUP_PARTS_MAX);
    cr_expect(fabsl(truth.lower - 0.5L) <= 1e-18L);
}

static size_t figures_in(const struct soup *soup)
{
    size_t count = 0;

    for (size_t v = 0; v < soup->point_count; v++) {
        const double at[3] = {soup->points[v].x, soup->points[v].y, soup->points[v].z};
        for (int axis = 0; axis < 3; axis++)
            for (int figures = 0; figures < 18; figures++) {
                char text[40];
                snprintf(text, sizeof text, "%.*g", figures > 0 ? figures - 1 : 0, at[axis]);
                if (at[axis] == 0 || strtod(text, NULL) == at[axis]) {
                    count += at[axis] == 0 ? 0 : (size_t)figures;
                    break;
                }
            }
    }
    return count;
}

/* Says the largest distance is at a corner: false, but true to one convex face. So the least pair that shows
 * it has one triangle on the one side and two on the other. */
static bool corners_are_not_farthest(const struct soup_pair *pair, void *context)
{
    long double corners = 0, *margin = context;

    for (size_t t = 0; t < pair->from.triangle_count; t++)
        for (int i = 0; i < 3; i++)
            corners = fmaxl(corners, soup_distance(pair->from.points[pair->from.triangles[t][i]], &pair->to));
    return soup_truth(&pair->from, &pair->to, 1e-3L, 200).lower > corners + *margin;
}

Test(soups, shrunk_to_one_triangle_over_two_where_corners_are_taken_for_all)
{
    long double margin = 0.01L;
    const size_t count = fixture_size(200, 25);
    size_t found = 0;

    for (unsigned number = 0; number < count; number++) {
        struct soup_pair pair = soup_pair_random(4, number);
        if (number % SOUP_KINDS == 6 || !corners_are_not_farthest(&pair, &margin))
            continue;
        soup_pair_shrink(&pair, corners_are_not_farthest, &margin);
        cr_assert(corners_are_not_farthest(&pair, &margin));
        cr_expect(pair.from.triangle_count == 1 && pair.to.triangle_count == 2, "pair %u: %zu over %zu",
                  number, pair.from.triangle_count, pair.to.triangle_count);
        cr_expect(pair.from.point_count <= 3 && pair.to.point_count <= 4, "pair %u: %zu and %zu points",
                  number, pair.from.point_count, pair.to.point_count);
        cr_expect(figures_in(&pair.from) + figures_in(&pair.to) <= 16, "pair %u: %zu figures", number,
                  figures_in(&pair.from) + figures_in(&pair.to));
        found++;
    }
    cr_expect(found > count / 10, "%zu pairs", found);
}

/* The engine's interval made so narrow that its ends cross holds nothing: whatever has a width shows it. */
Test(soups, shrunk_to_one_triangle_a_side_where_the_interval_is_narrowed)
{
    struct soup_check check = {
        .certify = 1e-4, .narrowed = 0.75, .arena = *fixture_arena_of((size_t)256 << 20)};
    static char text[1 << 14];

    for (unsigned number = 0; number < 2 * SOUP_KINDS; number++) {
        struct soup_pair pair = soup_pair_random(5, number);
        cr_assert(check_fails(&pair, &check), "pair %u", number);
        soup_pair_shrink(&pair, check_fails, &check);
        cr_expect(pair.from.triangle_count == 1 && pair.to.triangle_count == 1, "pair %u", number);
        cr_expect(pair.from.point_count == 1 && pair.to.point_count == 1, "pair %u", number);
        cr_expect(eq(sz, figures_in(&pair.from) + figures_in(&pair.to), 0), "pair %u", number);
    }
    struct soup_pair pair = soup_pair_random(5, 0);
    soup_pair_shrink(&pair, check_fails, &check);
    soup_pair_print(&pair, text, sizeof text);
    cr_expect(eq(str, text,
                 "struct soup_pair pair = {\n"
                 "    .from = {1, 1, {{0, 0, 0}},\n        {{0, 0, 0}}},\n"
                 "    .to = {1, 1, {{0, 0, 0}},\n        {{0, 0, 0}}},\n};\n"));
}
