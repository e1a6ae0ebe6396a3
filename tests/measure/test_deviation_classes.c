/* test_deviation_classes.c
 *   limits_*    the ladder of preferred numbers: what it holds, where it begins and ends
 *   shares_*    from the shares within limits, on paper
 *   analytic_*  plates, squares and spheres whose distances are known
 *   brute_*     rough pairs, against points that are looked at one by one */
#include "measure/deviation_classes.h"

#include "deviation_pair.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

Test(deviation_classes, limits_are_the_decimals_of_the_series_R5)
{
    static const double wanted[] = {1e-5,   1.6e-5, 2.5e-5, 4e-5,   6.3e-5, 1e-4,   1.6e-4, 2.5e-4, 4e-4,
                                    6.3e-4, 1e-3,   1.6e-3, 2.5e-3, 4e-3,   6.3e-3, 0.01,   0.016,  0.025,
                                    0.04,   0.063,  0.1,    0.16,   0.25,   0.4,    0.63,   1};
    struct distance_classes classes = deviation_classes_make(1, 0);

    cr_assert_eq(classes.limit_count, sizeof wanted / sizeof *wanted);
    for (size_t c = 0; c < classes.limit_count; c++)
        cr_expect_eq(classes.limits[c], wanted[c], "%.17g", classes.limits[c]);
}

Test(deviation_classes, limits_begin_and_end_about_the_diagonal_at_any_scale)
{
    for (double diagonal = 1.07e-200; diagonal < 1e200; diagonal *= 1.37e3) {
        struct distance_classes classes = deviation_classes_make(diagonal, 0);
        size_t last = classes.limit_count - 1;
        cr_assert(classes.limit_count >= 26 && classes.limit_count <= DEVIATION_CLASS_LIMITS, "%g", diagonal);
        cr_expect(classes.limits[0] <= 1e-5 * diagonal && classes.limits[1] > 1e-5 * diagonal, "%g",
                  diagonal);
        cr_expect(classes.limits[last] >= diagonal && classes.limits[last - 1] < diagonal, "%g", diagonal);
        for (size_t c = 1; c <= last; c++)
            cr_expect(classes.limits[c] / classes.limits[c - 1] > 1.55
                          && classes.limits[c] / classes.limits[c - 1] < 1.61,
                      "%g", diagonal);
    }
}

Test(deviation_classes, limits_of_two_references_are_of_one_ladder)
{
    struct distance_classes one = deviation_classes_make(43.6, 0), other = deviation_classes_make(130, 0);
    size_t at = 0;

    while (at < one.limit_count && one.limits[at] < other.limits[0])
        at++;
    for (size_t c = 0; at + c < one.limit_count; c++)
        cr_expect_eq(one.limits[at + c], other.limits[c]);
}

Test(deviation_classes, limits_are_none_without_a_size)
{
    const double sizes[] = {0, INFINITY, NAN, 1e-300, 1e300};
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++)
        cr_expect_eq(deviation_classes_make(sizes[i], 0).limit_count, 0u, "%g", sizes[i]);
}

Test(deviation_classes, shares_add_up_what_is_open_at_both_ends)
{
    const struct interval within[] = {{0.25, 0.5}, {0.75, 0.75}, {1, 1}};
    const struct interval wanted[] = {{0.25, 0.5}, {0.25, 0.5}, {0.25, 0.25}, {0, 0}};
    struct interval shares[4];

    deviation_classes_shares(within, 3, shares);

    for (size_t c = 0; c < 4; c++)
        cr_expect(shares[c].lower == wanted[c].lower && shares[c].upper == wanted[c].upper, "%zu", c);
}

/* The class that holds the distance. */
static size_t class_of(const struct distance_classes *classes, double distance)
{
    size_t c = 0;
    while (c < classes->limit_count && classes->limits[c] < distance)
        c++;
    return c;
}

static void expect_share(const struct deviation *got, const struct one_sided_deviation *side, double distance,
                         double share, double width)
{
    size_t c = class_of(&got->classes, distance);
    struct interval found = side->class_shares[c];

    cr_expect(found.lower <= share + 1e-9 && share - 1e-9 <= found.upper
                  && found.upper - found.lower <= width,
              "at %g: %g, not %g to %g", distance, share, found.lower, found.upper);
}

/* One plate of area 1 at 0.3, another of area 3 at 0.05. */
static struct deviation plates(struct deviation_settings settings)
{
    struct arena arena = pair_arena(4);
    struct mesh one = fixture_grid(&arena, 1, 1), three = fixture_grid(&arena, 3, 1),
                away = fixture_moved(&arena, &three, 1, (vec3){10, 0, 0}),
                reference = fixture_joined(&arena, &one, &away),
                lifted = fixture_moved(&arena, &one, 1, (vec3){0, 0, 0.3}),
                near = fixture_moved(&arena, &away, 1, (vec3){0, 0, 0.05}),
                subject = fixture_joined(&arena, &lifted, &near);

    return pair_measure(&subject, &reference, &settings);
}

Test(deviation_classes, analytic_plates_at_two_distances_are_certified)
{
    struct deviation got = plates(pair_settings());
    const struct one_sided_deviation *sides[] = {&got.reference_to_subject, &got.subject_to_reference};

    for (int way = 0; way < 2; way++) {
        double upper = 0;
        expect_share(&got, sides[way], 0.3, 0.25, 1e-9);
        expect_share(&got, sides[way], 0.05, 0.75, 1e-9);
        for (size_t c = 0; c <= got.classes.limit_count; c++) {
            upper += sides[way]->class_shares[c].upper;
            cr_expect_not(sides[way]->class_is_sampled[c]);
        }
        cr_expect(fabs(upper - 1) < 1e-9, "nothing in any other class: %.17g", upper);
        cr_expect_eq(sides[way]->class_sample_count, 0u);
    }
}

Test(deviation_classes, analytic_margin_leaves_open_what_lies_so_near_a_limit)
{
    struct deviation_settings settings = pair_settings();

    settings.class_margin = 0.02; /* 0.3 is 0.05 from the nearest limit, 0.05 is 0.01 from it */
    struct deviation got = plates(settings);

    expect_share(&got, &got.subject_to_reference, 0.3, 0.25, 1e-9);
    expect_share(&got, &got.subject_to_reference, 0.05, 0.75, 1);
    cr_expect(got.subject_to_reference.class_shares[class_of(&got.classes, 0.05)].lower == 0);
    cr_expect(got.subject_to_reference.class_shares[class_of(&got.classes, 0.039)].upper >= 0.75);
}

/* On half of the square the distance is 0, on the other it runs evenly up to 0.5. */
Test(deviation_classes, analytic_square_over_its_half_is_even)
{
    struct arena arena = pair_arena(4);
    struct mesh square = fixture_grid(&arena, 1, 1),
                half = fixture_moved(&arena, &square, 1, (vec3){0, 0, 0});
    struct deviation_settings settings = pair_settings();

    for (size_t v = 0; v < 4; v++)
        half.positions[v].x *= 0.5;
    struct deviation got = pair_measure(&square, &half, &settings);
    const struct distance_classes *classes = &got.classes;

    expect_share(&got, &got.reference_to_subject, 0, 1, 1e-9);
    expect_share(&got, &got.subject_to_reference, 0, 0.5 + classes->limits[0], 0.01);
    for (size_t c = 1; c < classes->limit_count && classes->limits[c] <= 0.4; c++)
        expect_share(&got, &got.subject_to_reference, classes->limits[c],
                     classes->limits[c] - classes->limits[c - 1], 0.01);
    expect_share(&got, &got.subject_to_reference, 0.5, 0.1, 0.01);
}

/* A sphere of 24 x 24 x 6 faces is nowhere more than 0.01 inside of the round one: 0.49 to 0.51 lies in one
 * class. */
Test(deviation_classes, analytic_concentric_spheres_fill_one_class)
{
    struct arena arena = pair_arena(4);
    struct mesh inner = fixture_cubed_sphere(&arena, 24),
                outer = fixture_moved(&arena, &inner, 1.5, (vec3){0, 0, 0});
    struct deviation_settings settings = pair_settings();

    struct deviation got = pair_measure(&inner, &outer, &settings);

    expect_share(&got, &got.reference_to_subject, 0.5, 1, 1e-9);
    expect_share(&got, &got.subject_to_reference, 0.5, 1, 1e-9);
}

/* Two tessellations of one sphere. A binomial count of n points is within four standard errors of its mean
 * but once in 16,000; a class is told within four of its own. */
Test(deviation_classes, brute_force_agrees_on_a_rough_pair)
{
    enum { POINTS = 3000 };
    struct arena arena = pair_arena(4);
    struct mesh quads = fixture_cubed_sphere(&arena, 6), round = fixture_fanned(&arena, &quads),
                globe = fixture_uv_sphere(&arena, 24, 12), other = fixture_fanned(&arena, &globe);
    struct deviation_settings settings = pair_settings();
    struct deviation got = pair_measure(&round, &other, &settings);
    struct mesh soup = fixture_soup(&arena, &other);
    double *until = calloc(round.face_count + 1, sizeof *until), counts[DEVIATION_CLASS_LIMITS + 1] = {0};
    uint64_t seed = 11;

    for (size_t f = 0; f < round.face_count; f++) {
        const uint32_t *v = mesh_face(&round, f);
        vec3 a = round.positions[v[0]], u = vec3_sub(round.positions[v[1]], a),
             w = vec3_sub(round.positions[v[2]], a);
        until[f + 1] = until[f] + vec3_length(vec3_cross(u, w));
    }
    for (size_t i = 0; i < POINTS; i++) {
        double at = until[round.face_count] * ((double)i + fixture_random_unit(&seed)) / POINTS;
        size_t f = 0;
        while (f + 1 < round.face_count && until[f + 1] <= at)
            f++;
        const uint32_t *v = mesh_face(&round, f);
        double root = sqrt(fixture_random_unit(&seed)), y = fixture_random_unit(&seed) * root;
        vec3 a = round.positions[v[0]], u = vec3_sub(round.positions[v[1]], a),
             w = vec3_sub(round.positions[v[2]], a);
        vec3 p = vec3_add(a, vec3_add(vec3_scale(u, 1 - root), vec3_scale(w, y)));
        counts[class_of(&got.classes, pair_distance(&soup, p))]++;
    }
    free(until);
    for (size_t c = 0; c <= got.classes.limit_count; c++) {
        double share = counts[c] / POINTS, error = 4 * sqrt(share * (1 - share) / POINTS) + 16.0 / POINTS;
        struct interval told = got.subject_to_reference.class_shares[c];
        cr_expect(told.lower - error <= share && share <= told.upper + error, "class %zu: %g, not %g to %g",
                  c, share, told.lower, told.upper);
        cr_expect(told.upper - told.lower < 0.05, "class %zu: %g wide", c, told.upper - told.lower);
    }
}
