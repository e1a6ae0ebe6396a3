/* test_deviation_cover.c
 *   covered_*    sheets over a piece: the bound is the largest height over it
 *   open_*       a hole, two sheets, too low a limit, a flat piece: no bound
 *   random_*     on bumpy sheets, soups and lattices no point of the piece is farther than a bound that is
 * given
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <string.h>

#include "measure/deviation_cover.h"
#include "support/fixture_shapes.h"

#define CELLS 12
#define MIDDLE (CELLS * CELLS + CELLS) /* a triangle at the origin */

struct sheet {
    size_t point_count, triangle_count;
    vec3 points[4 * (CELLS + 1) * (CELLS + 1)];
    uint32_t triangles[8 * CELLS * CELLS][3];
};

static double uniform(uint64_t *state)
{
    return 2 * fixture_random_unit(state) - 1;
}

/* A square of side 1.6 about the origin, at a height that wobbles. */
static void add_sheet(struct sheet *sheet, double height, double wobble, uint64_t *state)
{
    uint32_t first = (uint32_t)sheet->point_count;

    for (int j = 0; j <= CELLS; j++)
        for (int i = 0; i <= CELLS; i++)
            sheet->points[sheet->point_count++] =
                (vec3){1.6 * i / CELLS - 0.8, 1.6 * j / CELLS - 0.8, height + wobble * uniform(state)};
    for (uint32_t j = 0; j < CELLS; j++)
        for (uint32_t i = 0; i < CELLS; i++) {
            uint32_t a = first + j * (CELLS + 1) + i, b = a + 1, c = a + CELLS + 1, d = c + 1;
            const uint32_t two[2][3] = {{a, b, d}, {a, d, c}};
            for (int t = 0; t < 2; t++, sheet->triangle_count++)
                for (int k = 0; k < 3; k++)
                    sheet->triangles[sheet->triangle_count][k] = two[t][k];
        }
}

/* Valid until the next call. */
static struct bvh index_of(struct sheet *sheet)
{
    static struct arena *memory;
    struct bvh bvh;
    struct error err;

    memory = memory ? memory : fixture_arena();
    struct arena keep = *memory, scratch;

    cr_assert(arena_split(&keep, arena_left(&keep) / 2, &scratch)
              && bvh_build(sheet->points, sheet->triangle_count, sheet->triangles, FIXTURE_FRAME, 1, &bvh,
                           &keep, scratch, &err));
    return bvh;
}

static const vec3 piece[3] = {{-0.5, -0.45, 0}, {0.55, -0.4, 0}, {0.05, 0.5, 0}};

static double bound(struct sheet *sheet, const vec3 *corners, double limit)
{
    struct bvh bvh = index_of(sheet);
    size_t work = 0;
    uint32_t face = BVH_NONE;
    double upper = cover_bound(&bvh, corners, limit, &face, &work);

    cr_expect(upper <= limit || upper == INFINITY);
    if (upper < INFINITY)
        cr_expect(lt(sz, face, bvh.triangle_count));
    return upper;
}

Test(deviation_cover, covered_by_one_sheet_at_its_height)
{
    uint64_t state = 1;
    static struct sheet over, under, wavy;

    add_sheet(&over, 0.125, 0, &state);
    add_sheet(&under, -0.25, 0, &state);
    add_sheet(&wavy, 0.125, 0.03125, &state);
    cr_expect(fabs(bound(&over, piece, 0.3) - 0.125) < 1e-11);
    cr_expect(fabs(bound(&under, piece, 0.3) - 0.25) < 1e-11);
    double upper = bound(&wavy, piece, 0.3);
    cr_expect(upper > 0.125 && upper <= 0.125 + 0.03125 + 1e-11, "%g", upper);
}

Test(deviation_cover, covered_by_three_sheets_by_the_highest)
{
    uint64_t state = 1;
    static struct sheet sheet;

    add_sheet(&sheet, 0.1, 0, &state);
    add_sheet(&sheet, -0.05, 0, &state);
    add_sheet(&sheet, 0.2, 0, &state);
    cr_expect(fabs(bound(&sheet, piece, 0.3) - 0.2) < 1e-11);
}

/* The piece's sides run along lines of the sheet, and what lies beyond them turns up steeply. */
Test(deviation_cover, covered_up_to_sharp_edges)
{
    uint64_t state = 1;
    static struct sheet sheet;
    const vec3 half[3] = {{-0.8, -0.8, 0}, {0, -0.8, 0}, {0, 0, 0}};

    add_sheet(&sheet, 0, 0, &state);
    for (size_t v = 0; v < sheet.point_count; v++)
        if (sheet.points[v].x > 1e-9)
            sheet.points[v] = (vec3){-0.01, sheet.points[v].y, sheet.points[v].x};
    cr_expect(bound(&sheet, half, 1e-3) < 1e-10);
}

/* Needles side by side from border to border of a leaning sheet, or a little beyond: no rectangle holds them
 * that the sheet covers. */
Test(deviation_cover, covered_needles_up_to_a_border_that_leans)
{
    uint64_t state = 1;
    static struct sheet sheet;

    add_sheet(&sheet, 0.0625, 0, &state);
    for (size_t v = 0; v < sheet.point_count; v++)
        sheet.points[v].x = 0.5 * sheet.points[v].x + 0.4 * sheet.points[v].y;
    struct bvh bvh = index_of(&sheet);
    for (int beyond = 0; beyond < 2; beyond++) {
        const double end = beyond ? 0.81 : 0.8;
        vec3 p[24];
        for (int k = 0; k < 4; k++) {
            double x = 0.01 * k, next = 0.01 * (k + 1);
            const vec3 two[6] = {{x - 0.4 * end, -end, 0},   {next - 0.4 * end, -end, 0},
                                 {x + 0.4 * end, end, 0},    {next - 0.4 * end, -end, 0},
                                 {next + 0.4 * end, end, 0}, {x + 0.4 * end, end, 0}};
            memcpy(p + 6 * k, two, sizeof two);
        }
        size_t work = 0;
        uint32_t face = BVH_NONE;
        double upper = cover_bound_patch(&bvh, p, 24, (vec3){0, 0, 1}, 0.1, &face, &work);
        if (beyond)
            cr_expect(eq(dbl, upper, INFINITY));
        else
            cr_expect(fabs(upper - 0.0625) < 1e-10, "%g", upper);
    }
}

Test(deviation_cover, open_over_a_hole_and_between_two_sheets)
{
    uint64_t state = 1;
    static struct sheet holed, doubled, torn;

    add_sheet(&holed, 0.1, 0, &state);
    holed.triangles[MIDDLE][1] = holed.triangles[MIDDLE][0];
    cr_expect(eq(dbl, bound(&holed, piece, 0.3), INFINITY));
    add_sheet(&doubled, 0.1, 0, &state);
    add_sheet(&doubled, -0.1, 0, &state);
    cr_expect(eq(dbl, bound(&doubled, piece, 0.3), INFINITY));
    add_sheet(&torn, 0.1, 0, &state); /* one cell's corner is a point of its own */
    torn.points[torn.point_count] = torn.points[torn.triangles[MIDDLE][1]];
    torn.triangles[MIDDLE][1] = (uint32_t)torn.point_count++;
    cr_expect(eq(dbl, bound(&torn, piece, 0.3), INFINITY), "a tear is an open edge");
}

Test(deviation_cover, open_where_the_limit_is_low_or_the_piece_flat)
{
    uint64_t state = 1;
    static struct sheet sheet;
    const vec3 flat[3] = {{-0.5, 0, 0}, {0.5, 0, 0}, {0, 1e-7, 0}},
               none[3] = {{0, 0, 0}, {0, 0, 0}, {0, 0, 0}};

    add_sheet(&sheet, 0.2, 0.02, &state);
    cr_expect(eq(dbl, bound(&sheet, piece, 0.19), INFINITY));
    cr_expect(eq(dbl, bound(&sheet, flat, 0.3), INFINITY));
    cr_expect(eq(dbl, bound(&sheet, none, 0.3), INFINITY));
    cr_expect(eq(dbl, bound(&sheet, piece, 2), INFINITY), "the frame ends at 1");
}

static vec3 random_on(const vec3 *p, uint64_t *state)
{
    double root = sqrt(fixture_random_unit(state)), v = fixture_random_unit(state) * root, u = 1 - root;

    return vec3_add(p[0], vec3_add(vec3_scale(vec3_sub(p[1], p[0]), u), vec3_scale(vec3_sub(p[2], p[0]), v)));
}

Test(deviation_cover, random_pieces_are_no_farther_than_the_bound)
{
    static struct sheet sheet;
    uint64_t state = 7;
    size_t bounded = 0, unbounded = 0;

    for (int round = 0; round < 60; round++) {
        sheet.point_count = sheet.triangle_count = 0;
        for (int k = 0; k <= round % 3; k++)
            add_sheet(&sheet, 0.1 * uniform(&state), 0.08 * fixture_random_unit(&state), &state);
        for (int k = 0; k < round % 5; k++) /* holes, folds and tangles */
            sheet.triangles[fixture_random_below(&state, sheet.triangle_count)][0] =
                (uint32_t)fixture_random_below(&state, sheet.point_count);
        struct bvh bvh = index_of(&sheet);
        for (int i = 0; i < 60; i++) {
            double size = 0.6 * fixture_random_unit(&state), limit = 0.4 * fixture_random_unit(&state);
            vec3 p[3], centre = {0.6 * uniform(&state), 0.6 * uniform(&state), 0.1 * uniform(&state)};
            for (int k = 0; k < 3; k++)
                p[k] = vec3_add(
                    centre,
                    vec3_scale((vec3){uniform(&state), uniform(&state), 0.3 * uniform(&state)}, size));
            size_t work = 0;
            uint32_t face = BVH_NONE;
            double upper = cover_bound(&bvh, p, limit, &face, &work);
            unbounded += upper == INFINITY;
            bounded += upper < INFINITY;
            for (int k = 0; k < 40 && upper < INFINITY; k++) {
                double distance = sqrt(bvh_nearest(&bvh, random_on(p, &state), BVH_NONE, &work).distance_sq);
                cr_assert(distance <= upper + 1e-12, "round %d: %g over %g", round, distance, upper);
            }
        }
    }
    cr_expect(bounded > 200 && unbounded > 200, "%zu bounded, %zu not", bounded, unbounded);
}

/* Everything on few whole numbers: edges over corners and sides of the piece, walls seen edge-on, triangles
 * twice, corners of equal place that are not one vertex. */
Test(deviation_cover, random_lattices_with_walls_and_copies)
{
    static struct sheet sheet;
    uint64_t state = 17;
    size_t bounded = 0;

    for (int round = 0; round < 6000; round++) {
        size_t points = 4 + fixture_random_below(&state, 12),
               triangles = 2 + fixture_random_below(&state, 22);
        double height = round % 2 ? 0.125 : 0.015625;
        sheet.point_count = points;
        sheet.triangle_count = triangles;
        for (size_t v = 0; v < points; v++)
            sheet.points[v] = (vec3){0.25 * (double)fixture_random_below(&state, 3) - 0.25,
                                     0.25 * (double)fixture_random_below(&state, 3) - 0.25,
                                     height * (double)fixture_random_below(&state, 2)};
        for (size_t t = 0; t < triangles; t++)
            for (int k = 0; k < 3; k++)
                sheet.triangles[t][k] =
                    t % 5 == 4 ? sheet.triangles[t - 1][k] : (uint32_t)fixture_random_below(&state, points);
        struct bvh bvh = index_of(&sheet);
        for (int i = 0; i < 12; i++) {
            vec3 p[3];
            for (int k = 0; k < 3; k++)
                p[k] = (vec3){0.125 * (double)fixture_random_below(&state, 5) - 0.25,
                              0.125 * (double)fixture_random_below(&state, 5) - 0.25,
                              i % 3 ? 0 : 0.0625 * (double)fixture_random_below(&state, 3)};
            size_t work = 0;
            uint32_t face = BVH_NONE;
            double upper = cover_bound(&bvh, p, 0.3, &face, &work);
            bounded += upper < INFINITY;
            for (int k = 0; k < 30 && upper < INFINITY; k++) {
                vec3 q = k < 3   ? p[k]
                         : k < 6 ? vec3_lerp(p[k % 3], p[(k + 1) % 3], 0.5)
                                 : random_on(p, &state);
                double distance = sqrt(bvh_nearest(&bvh, q, BVH_NONE, &work).distance_sq);
                cr_assert(distance <= upper + 1e-12, "round %d: %g over %g", round, distance, upper);
            }
        }
    }
    cr_expect(bounded > 1000, "%zu bounded", bounded);
}

/* Four triangles side by side, much longer than wide. */
static void put_needles(vec3 *p, vec3 from, double size, uint64_t *state)
{
    vec3 along = vec3_scale((vec3){uniform(state), uniform(state), 0.05 * uniform(state)}, size),
         beside = vec3_scale((vec3){uniform(state), uniform(state), 0}, 0.02 * size);

    for (int k = 0; k < 4; k++) {
        p[3 * k] = vec3_add(from, vec3_scale(beside, k));
        p[3 * k + 1] = vec3_add(from, vec3_scale(beside, k + 1));
        p[3 * k + 2] = vec3_add(p[3 * k + k % 2], along);
    }
}

/* Four triangles near one plane, bounded together: no point of any of them is farther than the bound. */
Test(deviation_cover, random_patches_are_no_farther_than_the_bound)
{
    static struct sheet sheet;
    uint64_t state = 8;
    size_t bounded = 0, unbounded = 0;

    for (int round = 0; round < 60; round++) {
        sheet.point_count = sheet.triangle_count = 0;
        for (int k = 0; k <= round % 3; k++)
            add_sheet(&sheet, 0.1 * uniform(&state), 0.08 * fixture_random_unit(&state), &state);
        for (int k = 0; k < round % 5; k++)
            sheet.triangles[fixture_random_below(&state, sheet.triangle_count)][0] =
                (uint32_t)fixture_random_below(&state, sheet.point_count);
        struct bvh bvh = index_of(&sheet);
        for (int i = 0; i < 60; i++) {
            double size = 0.4 * fixture_random_unit(&state), limit = 0.5 * fixture_random_unit(&state);
            vec3 p[12], centre = {0.5 * uniform(&state), 0.5 * uniform(&state), 0.1 * uniform(&state)},
                        normal = {0.1 * uniform(&state), 0.1 * uniform(&state), uniform(&state)};
            for (int k = 0; k < 12; k++)
                p[k] = vec3_add(
                    centre,
                    vec3_scale((vec3){uniform(&state), uniform(&state), 0.2 * uniform(&state)}, size));
            if (i % 2)
                put_needles(p, centre, 2 * size, &state);
            size_t work = 0;
            uint32_t face = BVH_NONE;
            double upper = cover_bound_patch(&bvh, p, 12, normal, limit, &face, &work);
            cr_assert(upper <= limit || upper == INFINITY);
            unbounded += upper == INFINITY;
            bounded += upper < INFINITY;
            for (int k = 0; k < 40 && upper < INFINITY; k++) {
                double distance =
                    sqrt(bvh_nearest(&bvh, random_on(p + 3 * (k % 4), &state), BVH_NONE, &work).distance_sq);
                cr_assert(distance <= upper + 1e-12, "round %d: %g over %g", round, distance, upper);
            }
        }
    }
    cr_expect(bounded > 100 && unbounded > 200, "%zu bounded, %zu not", bounded, unbounded);
}
