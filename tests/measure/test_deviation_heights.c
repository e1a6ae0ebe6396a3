/* test_deviation_heights.c
 *   plane_*     over a plane both bounds are its heights; upwards is as the corners run
 *   random_*    pieces over wavy sheets, with scraps beside and behind them, over several sheets, needles:
 *               every distance is within the bounds
 *   refused_*   what does not cover the piece, or is too high over it
 *   collected_* every triangle that comes near is listed
 * Distances are those of soup_pair.h, in long double to every triangle in turn.
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <string.h>

#include "measure/deviation_heights.h"
#include "measure/soup_pair.h"
#include "support/fixture_shapes.h"
#include "support/fixture_share.h"

#define EXACT 1e-11 /* sides are moved inwards by some 1e-13, heights of slopes above 1 by a little more */
#define STEPS 8     /* points along a side of a piece */

static double uniform(uint64_t *state)
{
    return 2 * fixture_random_unit(state) - 1;
}

static void add_triangle(struct soup *soup, uint32_t a, uint32_t b, uint32_t c)
{
    cr_assert(soup->triangle_count < SOUP_TRIANGLES_MAX);
    memcpy(soup->triangles[soup->triangle_count++], (const uint32_t[]){a, b, c}, 3 * sizeof a);
}

struct wave {
    double height, slope_x, slope_y, wobble;
};

/* A square of side 1.6 about the origin, of `cells` x `cells` pairs of triangles. */
static void add_sheet(struct soup *soup, uint32_t cells, struct wave wave, uint64_t *state)
{
    uint32_t first = (uint32_t)soup->point_count;

    cr_assert(first + (cells + 1) * (cells + 1) <= SOUP_POINTS_MAX);
    for (uint32_t j = 0; j <= cells; j++)
        for (uint32_t i = 0; i <= cells; i++) {
            double x = 1.6 * i / cells - 0.8, y = 1.6 * j / cells - 0.8;
            soup->points[soup->point_count++] = (vec3){
                x, y, wave.height + wave.slope_x * x + wave.slope_y * y + wave.wobble * uniform(state)};
        }
    for (uint32_t j = 0; j < cells; j++)
        for (uint32_t i = 0; i < cells; i++) {
            uint32_t a = first + j * (cells + 1) + i, c = a + cells + 1;
            add_triangle(soup, a, a + 1, c + 1);
            add_triangle(soup, a, c + 1, c);
        }
}

/* Small triangles anywhere: beside the piece, behind it, over it. */
static void add_scraps(struct soup *soup, size_t count, uint64_t *state)
{
    for (size_t i = 0; i < count; i++) {
        uint32_t first = (uint32_t)soup->point_count;
        vec3 centre = {0.7 * uniform(state), 0.7 * uniform(state), 0.2 * uniform(state)};
        for (int k = 0; k < 3; k++)
            soup->points[soup->point_count++] =
                vec3_add(centre, (vec3){0.1 * uniform(state), 0.1 * uniform(state), 0.1 * uniform(state)});
        add_triangle(soup, first, first + 1, first + 2);
    }
}

/* Valid until the next call, and as long as the soup. */
static struct bvh index_of(struct soup *soup)
{
    static struct arena *memory;
    struct bvh bvh;
    struct error err;

    memory = memory ? memory : fixture_arena();
    struct arena keep = *memory, scratch;
    cr_assert(arena_split(&keep, arena_left(&keep) / 2, &scratch)
              && bvh_build(soup->points, soup->triangle_count, soup->triangles, FIXTURE_FRAME, 1, &bvh, &keep,
                           scratch, &err));
    return bvh;
}

static bool fit(struct soup *soup, const vec3 *piece, double limit, double rim, struct heights *heights)
{
    struct bvh bvh = index_of(soup);
    uint32_t slots[HEIGHTS_FACES_MAX];
    size_t work = 0, count = heights_collect(&bvh, piece, limit, slots, HEIGHTS_FACES_MAX, &work);

    return count <= HEIGHTS_FACES_MAX && heights_fit(&bvh, piece, limit, rim, slots, count, heights, &work);
}

static double weighted(const double *values, const double *weights)
{
    return values[0] * weights[0] + values[1] * weights[1] + values[2] * weights[2];
}

/* At the corners, along the sides and inside. */
static void expect_bounds(const struct soup *soup, const vec3 *p, const struct heights *heights, int round)
{
    for (int i = 0; i < STEPS; i++)
        for (int j = 0; i + j < STEPS; j++) {
            double u = (double)i / (STEPS - 1), v = (double)j / (STEPS - 1), weights[3] = {1 - u - v, u, v};
            vec3 x = vec3_add(vec3_scale(p[0], weights[0]),
                              vec3_add(vec3_scale(p[1], weights[1]), vec3_scale(p[2], weights[2])));
            double low = weighted(heights->low, weights), high = weighted(heights->high, weights);
            long double distance = soup_distance(x, soup);
            cr_assert(distance <= (long double)fmax(high, -low) + 1e-12L, "round %d: %Lg is over %g and %g",
                      round, distance, high, -low);
            cr_assert(distance >= (long double)heights->scale * (long double)fmax(low, -high) - 1e-12L,
                      "round %d: %Lg is under %g x %g or %g", round, distance, heights->scale, low, -high);
        }
}

static const vec3 piece[3] = {{-0.5, -0.45, 0}, {0.55, -0.4, 0}, {0.05, 0.5, 0}};

Test(deviation_heights, plane_of_any_slope_is_bounded_by_its_heights)
{
    static const struct wave waves[] = {
        {0.125, 0, 0, 0}, {-0.25, 0, 0, 0}, {0.3, 0.25, 0.1, 0}, {0, 0.5, -0.75, 0}};
    uint64_t state = 1;

    for (size_t i = 0; i < sizeof waves / sizeof *waves; i++) {
        const struct wave *w = &waves[i];
        struct soup soup = {0};
        struct heights heights;
        add_sheet(&soup, 6, *w, &state);
        cr_assert(fit(&soup, piece, 0.8, 0, &heights), "%zu", i);
        for (int k = 0; k < 3; k++) {
            double height = w->height + w->slope_x * piece[k].x + w->slope_y * piece[k].y;
            cr_expect(fabs(heights.low[k] - height) < EXACT && fabs(heights.high[k] - height) < EXACT,
                      "%zu: %.15g to %.15g instead of %.15g", i, heights.low[k], heights.high[k], height);
        }
        double slope_sq = w->slope_x * w->slope_x + w->slope_y * w->slope_y;
        cr_expect(fabs(heights.scale - 1 / sqrt(1 + slope_sq)) < EXACT, "%zu: %.15g", i, heights.scale);
        expect_bounds(&soup, piece, &heights, (int)i);
    }
}

Test(deviation_heights, plane_is_seen_from_the_side_that_the_corners_tell)
{
    static const int orders[6][3] = {{0, 1, 2}, {1, 2, 0}, {2, 0, 1}, {0, 2, 1}, {2, 1, 0}, {1, 0, 2}};
    uint64_t state = 1;
    struct soup soup = {0};

    add_sheet(&soup, 6, (struct wave){0.3, 0.25, 0.1, 0}, &state);
    for (int i = 0; i < 6; i++) {
        const vec3 turned[3] = {piece[orders[i][0]], piece[orders[i][1]], piece[orders[i][2]]};
        struct heights heights;
        cr_assert(fit(&soup, turned, 0.8, 0, &heights));
        for (int k = 0; k < 3; k++) {
            double height = (i < 3 ? 1 : -1) * (0.3 + 0.25 * turned[k].x + 0.1 * turned[k].y);
            cr_expect(fabs(heights.low[k] - height) < EXACT && fabs(heights.high[k] - height) < EXACT,
                      "order %d, corner %d: %g to %g instead of %g", i, k, heights.low[k], heights.high[k],
                      height);
        }
    }
}

/* A triangle about a random centre, tilted by up to `tilt` of its size and as thin as `thin` says. */
static void random_piece(vec3 *p, double size, double tilt, double thin, uint64_t *state)
{
    double turn = M_PI * uniform(state);
    vec3 along = {cos(turn), sin(turn), tilt * uniform(state)},
         across = {-sin(turn), cos(turn), tilt * uniform(state)},
         centre = {0.3 * uniform(state), 0.3 * uniform(state), 0.05 * uniform(state)};

    for (int k = 0; k < 3; k++)
        p[k] = vec3_add(centre, vec3_add(vec3_scale(along, size * uniform(state)),
                                         vec3_scale(across, thin * size * uniform(state))));
}

Test(deviation_heights, random_pieces_over_wavy_sheets)
{
    const int count = (int)fixture_share(600);
    uint64_t state = 7;
    size_t fitted = 0;

    for (int round = 0; round < count; round++) {
        struct soup soup = {0};
        struct heights heights;
        vec3 p[3];
        struct wave wave = {0.2 * uniform(&state), uniform(&state), uniform(&state),
                            round % 4 * 0.05 * fixture_random_unit(&state)};
        add_sheet(&soup, 3 + (uint32_t)round % 4, wave, &state);
        random_piece(p, 0.4 * fixture_random_unit(&state), 0.3, 1, &state);
        if (!fit(&soup, p, 0.9 * fixture_random_unit(&state), 0, &heights))
            continue;
        fitted++;
        expect_bounds(&soup, p, &heights, round);
    }
    cr_expect(fitted > fixture_share(200), "%zu", fitted);
}

/* Where a scrap is nearer than the sheet, what the sheet says of the distance from below is not enough. */
Test(deviation_heights, random_scraps_beside_and_behind_the_piece)
{
    const int count = (int)fixture_share(1500);
    uint64_t state = 8;
    size_t fitted = 0, nearer = 0;

    for (int round = 0; round < count; round++) {
        struct soup soup = {0};
        struct heights heights;
        vec3 p[3];
        struct wave wave = {0.15 + 0.1 * uniform(&state), 0.3 * uniform(&state), 0.3 * uniform(&state),
                            0.02 * fixture_random_unit(&state)};
        add_sheet(&soup, 4, wave, &state);
        struct soup sheet = soup;
        add_scraps(&soup, 1 + (size_t)round % 8, &state);
        random_piece(p, 0.4 * fixture_random_unit(&state), 0.2, 1, &state);
        if (!fit(&soup, p, 0.5 * fixture_random_unit(&state), 0, &heights))
            continue;
        fitted++;
        for (int k = 0; k < 3; k++)
            nearer += soup_distance(p[k], &soup) < soup_distance(p[k], &sheet) - 0.01L;
        expect_bounds(&soup, p, &heights, round);
    }
    cr_expect(fitted > fixture_share(150) && nearer > fixture_share(30),
              "%zu fitted, %zu corners nearer to a scrap", fitted, nearer);
}

/* Three sheets cover as one does; the one behind the piece may be the nearest. */
Test(deviation_heights, random_pieces_between_three_sheets)
{
    const int count = (int)fixture_share(600);
    uint64_t state = 9;
    size_t fitted = 0, between = 0;

    for (int round = 0; round < count; round++) {
        struct soup soup = {0};
        struct heights heights;
        vec3 p[3];
        int above = 0;
        for (int i = 0; i < 3; i++) {
            struct wave wave = {0.2 * uniform(&state), 0.2 * uniform(&state), 0.2 * uniform(&state),
                                0.05 * fixture_random_unit(&state)};
            above += wave.height > 0;
            add_sheet(&soup, 3, wave, &state);
        }
        random_piece(p, 0.3 * fixture_random_unit(&state), 0.2, 1, &state);
        if (!fit(&soup, p, 0.8 * fixture_random_unit(&state), 0, &heights))
            continue;
        fitted++;
        between += above > 0 && above < 3;
        expect_bounds(&soup, p, &heights, round);
    }
    cr_expect(fitted > fixture_share(100) && between > fixture_share(50), "%zu fitted, %zu between sheets",
              fitted, between);
}

/* Down to the thinnest that is taken; sheets are cut into needles too. */
Test(deviation_heights, random_needles_on_either_side)
{
    const int count = (int)fixture_share(800);
    uint64_t state = 10;
    size_t fitted = 0, thin = 0;

    for (int round = 0; round < count; round++) {
        struct soup soup = {0};
        struct heights heights;
        vec3 p[3];
        double thinness = pow(10, -5 * fixture_random_unit(&state));
        struct wave wave = {0.2 * uniform(&state), 0.5 * uniform(&state), 0.5 * uniform(&state),
                            0.02 * fixture_random_unit(&state)};
        add_sheet(&soup, 5, wave, &state);
        for (size_t v = 0; v < soup.point_count && round % 2; v++)
            if (v / 6 % 2 == 1) /* every second row of points moves close to the next */
                soup.points[v].y += 0.32 * (1 - pow(10, -6 * fixture_random_unit(&state)));
        random_piece(p, 0.4, 0.2, thinness, &state);
        if (!fit(&soup, p, 0.9 * fixture_random_unit(&state), 0, &heights))
            continue;
        fitted++;
        thin += thinness < 1e-3;
        expect_bounds(&soup, p, &heights, round);
    }
    cr_expect(fitted > fixture_share(200) && thin > fixture_share(60), "%zu fitted, %zu of them thin", fitted,
              thin);
}

/* The sheet ends a little inside the piece's longest side. */
Test(deviation_heights, random_rims_may_be_left_out_where_that_is_said)
{
    const int count = (int)fixture_share(200);
    uint64_t state = 11;
    size_t fitted = 0;

    for (int round = 0; round < count; round++) {
        double missing = 1e-3 * fixture_random_unit(&state);
        struct soup soup = {0};
        struct heights heights;
        struct wave wave = {0.2 * uniform(&state), 0.3 * uniform(&state), 0.3 * uniform(&state), 0.01};
        const vec3 p[3] = {{-0.5, -0.8 - missing, 0}, {0.5, -0.8 - missing, 0}, {0.2, -0.1, 0}};
        add_sheet(&soup, 5, wave, &state);
        cr_assert(not(fit(&soup, p, 0.7, 0, &heights)), "round %d: not covered", round);
        if (!fit(&soup, p, 0.7, 0.01, &heights))
            continue;
        fitted++;
        expect_bounds(&soup, p, &heights, round);
    }
    cr_expect(fitted > fixture_share(150), "%zu", fitted);
}

Test(deviation_heights, refused_over_holes_tears_and_between_two_sheets)
{
    const struct wave level = {0.1, 0, 0, 0};
    uint64_t state = 1;
    struct soup whole = {0};
    struct heights heights;

    add_sheet(&whole, 6, level, &state);
    cr_assert(fit(&whole, piece, 0.3, 0, &heights));
    struct soup holed = whole, torn = whole, doubled = {0};
    const size_t middle = 2 * (3 * 6 + 3); /* a triangle at the origin */
    holed.triangles[middle][1] = holed.triangles[middle][0];
    cr_expect(not(fit(&holed, piece, 0.3, 0, &heights)));
    torn.points[torn.point_count] = torn.points[torn.triangles[middle][1]];
    torn.triangles[middle][1] = (uint32_t)torn.point_count++;
    cr_expect(not(fit(&torn, piece, 0.3, 0, &heights)), "a tear is an open edge");
    add_sheet(&doubled, 4, level, &state);
    add_sheet(&doubled, 4, (struct wave){-0.1, 0, 0, 0}, &state);
    cr_expect(not(fit(&doubled, piece, 0.3, 0, &heights)));
}

Test(deviation_heights, refused_where_the_piece_juts_out)
{
    const vec3 jutting[3] = {{-0.5, -0.45, 0}, {0.85, -0.4, 0}, {0.05, 0.5, 0}};
    uint64_t state = 1;
    struct soup soup = {0};
    struct heights heights;

    add_sheet(&soup, 6, (struct wave){0.1, 0, 0, 0}, &state);
    cr_expect(not(fit(&soup, jutting, 0.3, 0, &heights)));
    cr_expect(not(fit(&soup, jutting, 0.3, 0.01, &heights)), "more is left out than a rim of 0.01");
}

Test(deviation_heights, refused_where_the_limit_is_low_or_beyond_the_frame_or_the_piece_flat)
{
    const vec3 flat[3] = {{-0.5, 0, 0}, {0.5, 0, 0}, {0, 1e-7, 0}},
               none[3] = {{0, 0, 0}, {0, 0, 0}, {0, 0, 0}};
    uint64_t state = 1;
    struct soup soup = {0};
    struct heights heights;

    add_sheet(&soup, 6, (struct wave){0.2, 0, 0, 0.02}, &state);
    cr_expect(fit(&soup, piece, 0.3, 0, &heights));
    cr_expect(not(fit(&soup, piece, 0.19, 0, &heights)));
    cr_expect(not(fit(&soup, piece, 1, 0, &heights)));
    cr_expect(not(fit(&soup, piece, NAN, 0, &heights)));
    cr_expect(not(fit(&soup, flat, 0.3, 0, &heights)));
    cr_expect(not(fit(&soup, none, 0.3, 0, &heights)));
}

Test(deviation_heights, refused_without_faces_or_with_too_many)
{
    static uint32_t slots[HEIGHTS_FACES_MAX + 1];
    uint64_t state = 1;
    struct soup soup = {0};
    struct heights heights;
    size_t work = 0;

    add_sheet(&soup, 6, (struct wave){0.2, 0, 0, 0}, &state);
    struct bvh bvh = index_of(&soup);
    cr_expect(not(heights_fit(&bvh, piece, 0.3, 0, slots, 0, &heights, &work)));
    cr_expect(not(heights_fit(&bvh, piece, 0.3, 0, slots, HEIGHTS_FACES_MAX + 1, &heights, &work)));
    size_t all = heights_collect(&bvh, piece, 0.3, slots, HEIGHTS_FACES_MAX, &work);
    cr_expect(all > 10 && all <= 72);
    cr_expect(eq(sz, heights_collect(&bvh, piece, 0.3, slots, all - 1, &work), all));
}

static bool comes_near(const struct bvh *bvh, uint32_t slot, const struct soup *alone, double limit)
{
    const uint32_t *corner = bvh->corners[slot];

    for (int i = 0; i < STEPS; i++)
        for (int j = 0; i + j < STEPS; j++) {
            double u = (double)i / (STEPS - 1), v = (double)j / (STEPS - 1);
            vec3 x = vec3_add(
                vec3_scale(bvh->points[corner[0]], 1 - u - v),
                vec3_add(vec3_scale(bvh->points[corner[1]], u), vec3_scale(bvh->points[corner[2]], v)));
            if (soup_distance(x, alone) <= (long double)limit)
                return true;
        }
    return false;
}

Test(deviation_heights, collected_are_all_triangles_that_come_within_the_limit)
{
    uint64_t state = 12;
    size_t near_ones = 0, left_out = 0;

    for (int round = 0; round < 300; round++) {
        struct soup soup = {0}, alone = {.point_count = 3, .triangle_count = 1, .triangles = {{0, 1, 2}}};
        double limit = 0.4 * fixture_random_unit(&state);
        uint32_t slots[HEIGHTS_FACES_MAX];
        size_t work = 0;
        add_sheet(&soup, 4, (struct wave){0.2 * uniform(&state), uniform(&state), uniform(&state), 0.1},
                  &state);
        add_scraps(&soup, 10, &state);
        random_piece(alone.points, 0.4 * fixture_random_unit(&state), 0.5, 1, &state);
        struct bvh bvh = index_of(&soup);
        size_t count = heights_collect(&bvh, alone.points, limit, slots, HEIGHTS_FACES_MAX, &work);
        if (count > HEIGHTS_FACES_MAX) /* the piece is too flat */
            continue;
        left_out += soup.triangle_count - count;
        for (uint32_t slot = 0; slot < bvh.triangle_count; slot++) {
            bool listed = false;
            for (size_t i = 0; i < count; i++)
                listed |= slots[i] == slot;
            bool near = comes_near(&bvh, slot, &alone, limit);
            near_ones += near;
            cr_assert(listed || !near, "round %d: slot %u is near, but not listed", round, slot);
        }
    }
    cr_expect(near_ones > 1000 && left_out > 1000, "%zu near, %zu left out", near_ones, left_out);
}
