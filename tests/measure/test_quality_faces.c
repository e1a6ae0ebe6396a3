/* test_quality_faces.c - single faces whose metrics are known on paper.
 *   quad_*        the unit values of the Verdict manual, rectangles, rhombus, trapezoid, warped, concave,
 * crossed triangle_*    equilateral, right isosceles, 3-4-5 acceptable_*  the manual's acceptable ranges hold
 * what they should: the square is inside, a bad face outside unchanged_*   scale, rotation, listing and huge
 * or tiny coordinates change nothing but the area summary_*     statistics over faces: undefined apart,
 * histogram, worst face
 *
 * Unit values and ranges: C. J. Stimpson et al., The Verdict Library Reference Manual, Sandia National
 * Laboratories, 2007, chapters "Triangular" and "Quadrilateral Quality Metrics"; values that the library's
 * code gives where it departs from the manual (warpage: 1 is planar). The other numbers follow from the
 * formulas by hand. */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>

#include "measure/quality_quad.h"
#include "measure/quality_triangle.h"
#include "support/fixture_measured.h"

#define ANY INFINITY                   /* not compared */
#define NONE NAN                       /* not defined */
static const double tolerance = 1e-14; /* a few roundings of numbers near 1; angles are near 100 */

struct quad_case {
    const char *name;
    vec3 corners[4];
    double want[QUAD_METRIC_COUNT]; /* in the order of enum quad_metric */
};

static const struct quad_case quad_cases[] = {
    {"unit square", {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}}, {1, 1, 1, 0, 0, 1, 1, 1, 1, 0, 90, 90, 1}},
    {"rectangle 1 x 2",
     {{0, 0, 0}, {2, 0, 0}, {2, 1, 0}, {0, 1, 0}},
     {2, 1.5, 1.25, 0, 0, 1, 0.63245553203367587, 1, 0.8, 0, 90, 90, 2}},
    {"rectangle 1 x 4",
     {{0, 0, 0}, {4, 0, 0}, {4, 1, 0}, {0, 1, 0}},
     {4, 2.5, 2.125, 0, 0, 1, 0.34299717028501764, 1, 0.47058823529411764, 0, 90, 90, 4}},
    {"rhombus of 60 degrees",
     {{0, 0, 0}, {1, 0, 0}, {1.5, 0.86602540378443865, 0}, {0.5, 0.86602540378443865, 0}},
     {1, 1.1547005383792515, 1.1547005383792515, 0.5, 0, 1, 0.81649658092772603, 0.86602540378443865,
      0.86602540378443865, 1.0 / 3, 60, 120, 0.86602540378443865}},
    {"trapezoid",
     {{0, 0, 0}, {2, 0, 0}, {1.5, 1, 0}, {0.5, 1, 0}},
     {2, 1.7453559924999299, 1.3125, 0, 0.5, 1, ANY, 0.89442719099991588, 0.76190476190476186, ANY,
      63.434948822922010, 116.56505117707799, 1.5}},
    {"square with a corner lifted by its side",
     {{0, 0, 0}, {1, 0, 0}, {1, 1, 1}, {0, 1, 0}},
     {ANY, 1.3938468501173518, ANY, 0.2, 0.44721359549995794, 0.125, 0.81649658092772603, 0.81649658092772603,
      0.81649658092772603, ANY, 60, 90, 1.2247448713915890}},
    {"square with a corner lifted by half its side",
     {{0, 0, 0}, {1, 0, 0}, {1, 1, 0.5}, {0, 1, 0}},
     {ANY, ANY, ANY, 0.058823529411764705, 0.24253562503633297, 0.512, ANY, 0.94280904158206336, ANY, ANY,
      ANY, ANY, 1.0606601717798212}},
    {"saddle",
     {{0, 0, 0.25}, {1, 0, -0.25}, {1, 1, 0.25}, {0, 1, -0.25}},
     {1, 1.25, ANY, 0, 0.5, 1.0 / 27, 1.1180339887498949, 0.8, ANY, ANY, 78.463040967184519,
      78.463040967184519, 1}},
    {"dart",
     {{0, 0, 0}, {2, 1, 0}, {0, 2, 0}, {0.5, 1, 0}},
     {ANY, ANY, ANY, ANY, ANY, -1, ANY, -0.8, 0, ANY, 36.869897645844020, 233.13010235415598, 1.5}},
    {"bow-tie",
     {{0, 0, 0}, {1, 1, 0}, {1, 0, 0}, {0, 1, 0}},
     {1.4142135623730951, NONE, ANY, NONE, NONE, -1, ANY, 0, 0, ANY, ANY, ANY, 0}},
    {"square with two corners at one place",
     {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {1, 1, 0}},
     {NONE, ANY, NONE, ANY, ANY, NONE, 0, NONE, 0, NONE, NONE, NONE, 0.5}},
};

static void expect_metric(const char *face, const char *metric, double got, double want, double allowed)
{
    if (isinf(want))
        return;
    if (isnan(want))
        cr_expect(isnan(got), "%s: %s is %.17g, not undefined", face, metric, got);
    else
        cr_expect(fabs(got - want) <= allowed * fmax(1, fabs(want)), "%s: %s is %.17g, not %.17g", face,
                  metric, got, want);
}

Test(quality_faces, quad_metrics_of_known_faces)
{
    for (size_t i = 0; i < sizeof quad_cases / sizeof *quad_cases; i++) {
        double got[QUAD_METRIC_COUNT];
        bool concave = quad_quality(quad_cases[i].corners, 1, got);
        for (size_t m = 0; m < QUAD_METRIC_COUNT; m++)
            expect_metric(quad_cases[i].name, quad_metrics[m].name, got[m], quad_cases[i].want[m], tolerance);
        cr_expect(eq(int, concave, strcmp(quad_cases[i].name, "dart") == 0), "%s", quad_cases[i].name);
    }
}

struct triangle_case {
    const char *name;
    vec3 corners[3];
    double want[TRIANGLE_METRIC_COUNT];
};

static const struct triangle_case triangle_cases[] = {
    {"equilateral",
     {{0, 0, 0}, {2, 0, 0}, {1, 1.7320508075688772, 0}},
     {1, 1, 1, 1, 1, 0, 60, 60, 1.7320508075688772}},
    {"right isosceles",
     {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}},
     {1.4142135623730951, 1.3938468501173518, 1.1547005383792515, 0.81649658092772603, 0.86602540378443865,
      0.25, 45, 90, 0.5}},
    {"3-4-5",
     {{0, 0, 0}, {4, 0, 0}, {0, 3, 0}},
     {5.0 / 3, 1.4433756729740645, 1.2028130608117204, 0.69282032302755092, ANY, ANY, 36.869897645844020, 90,
      6}},
    {"three points on a line", {{0, 0, 0}, {1, 0, 0}, {2, 0, 0}}, {2, NONE, NONE, 0, 0, 1, 0, 180, 0}},
};

Test(quality_faces, triangle_metrics_of_known_faces)
{
    for (size_t i = 0; i < sizeof triangle_cases / sizeof *triangle_cases; i++) {
        double got[TRIANGLE_METRIC_COUNT];
        triangle_quality(triangle_cases[i].corners, 1, got);
        for (size_t m = 0; m < TRIANGLE_METRIC_COUNT; m++)
            expect_metric(triangle_cases[i].name, triangle_metrics[m].name, got[m], triangle_cases[i].want[m],
                          tolerance);
    }
}

/* The manual's acceptable ranges (angles: 45..90 and 90..135). A square lies in all; a face is named that
 * lies outside, so that a metric that always gave its best value would fail. */
Test(quality_faces, acceptable_ranges_of_the_manual)
{
    static const struct {
        enum quad_metric metric;
        double low, high;
        vec3 bad[4];
    } ranges[] = {
        {QUAD_EDGE_RATIO, 1, 1.3, {{0, 0, 0}, {2, 0, 0}, {2, 1, 0}, {0, 1, 0}}},
        {QUAD_ASPECT_RATIO, 1, 1.3, {{0, 0, 0}, {2, 0, 0}, {2, 1, 0}, {0, 1, 0}}},
        {QUAD_MAX_ASPECT_FROBENIUS, 1, 1.3, {{0, 0, 0}, {3, 0, 0}, {3, 1, 0}, {0, 1, 0}}},
        {QUAD_SKEW, 0, 0.5, {{0, 0, 0}, {1, 0, 0}, {2, 1, 0}, {1, 1, 0}}},
        {QUAD_TAPER, 0, 0.7, {{0, 0, 0}, {8, 0, 0}, {5, 1, 0}, {4, 1, 0}}},
        {QUAD_WARPAGE, 0.3, 1, {{0, 0, 0}, {1, 0, 0}, {1, 1, 1}, {0, 1, 0}}},
        {QUAD_STRETCH, 0.25, 1, {{0, 0, 0}, {8, 0, 0}, {8, 1, 0}, {0, 1, 0}}},
        {QUAD_SCALED_JACOBIAN, 0.3, 1, {{0, 0, 0}, {2, 1, 0}, {0, 2, 0}, {0.5, 1, 0}}},
        {QUAD_SHAPE, 0.3, 1, {{0, 0, 0}, {8, 0, 0}, {8, 1, 0}, {0, 1, 0}}},
        {QUAD_MIN_ANGLE, 45, 90, {{0, 0, 0}, {1, 0, 0}, {3, 1, 0}, {2, 1, 0}}},
        {QUAD_MAX_ANGLE, 90, 135, {{0, 0, 0}, {1, 0, 0}, {3, 1, 0}, {2, 1, 0}}},
    };
    const vec3 square[4] = {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}};
    double good[QUAD_METRIC_COUNT], bad[QUAD_METRIC_COUNT];
    quad_quality(square, 1, good);
    for (size_t i = 0; i < sizeof ranges / sizeof *ranges; i++) {
        double value = good[ranges[i].metric];
        cr_expect(value >= ranges[i].low && value <= ranges[i].high, "%s",
                  quad_metrics[ranges[i].metric].name);
        quad_quality(ranges[i].bad, 1, bad);
        value = bad[ranges[i].metric];
        cr_expect(value < ranges[i].low || value > ranges[i].high, "%s", quad_metrics[ranges[i].metric].name);
    }
}

static vec3 random_point(uint64_t *state)
{
    double x = fixture_random_unit(state), y = fixture_random_unit(state), z = fixture_random_unit(state);
    return (vec3){2 * x - 1, 2 * y - 1, 2 * z - 1};
}

static void expect_same(const double *got, const double *want, const struct quality_metric *metrics,
                        size_t count, double allowed, const char *how)
{
    for (size_t m = 0; m < count; m++)
        if (strcmp(metrics[m].name, "area") != 0)
            expect_metric(how, metrics[m].name, got[m], isnan(want[m]) ? NONE : want[m], allowed);
}

static vec3 turned(vec3 p)
{
    /* a rotation matrix of whole numbers over 7: columns (2,3,6), (6,2,-3), (-3,6,-2) */
    return (vec3){(2 * p.x + 6 * p.y - 3 * p.z) / 7, (3 * p.x + 2 * p.y + 6 * p.z) / 7,
                  (6 * p.x - 3 * p.y - 2 * p.z) / 7};
}

/* Random faces are far from degenerate (areas above 1/100), so that a formula's roundings grow a hundredfold
 * at most. */
Test(quality_faces, unchanged_by_scale_rotation_and_listing)
{
    static const double scales[] = {1e-9, 1e9, 1e-150, 1e150, 1e-200, 1e200, 1e-300, 1e300};
    uint64_t state = 5;
    for (size_t round = 0; round < 500; round++) {
        vec3 quad[4], other[4];
        double want[QUAD_METRIC_COUNT], got[QUAD_METRIC_COUNT];
        for (size_t k = 0; k < 4; k++)
            quad[k] = random_point(&state);
        quad_quality(quad, 1, want);
        if (want[QUAD_AREA] < 0.1 || fabs(want[QUAD_SCALED_JACOBIAN]) < 1e-3)
            continue;
        for (size_t s = 0; s < sizeof scales / sizeof *scales; s++) {
            for (size_t k = 0; k < 4; k++)
                other[k] = vec3_scale(quad[k], scales[s]);
            quad_quality(other, 1, got);
            expect_same(got, want, quad_metrics, QUAD_METRIC_COUNT, 1e-11, "scaled");
        }
        for (size_t k = 0; k < 4; k++)
            other[k] = quad[(k + 1 + round % 3) % 4];
        quad_quality(other, 1, got);
        expect_same(got, want, quad_metrics, QUAD_METRIC_COUNT, 1e-11, "listed from another corner");
        for (size_t k = 0; k < 4; k++)
            other[k] = quad[3 - k];
        quad_quality(other, 1, got);
        expect_same(got, want, quad_metrics, QUAD_METRIC_COUNT, 1e-11, "reversed");
        for (size_t k = 0; k < 4; k++)
            other[k] = turned(quad[k]);
        quad_quality(other, 1, got);
        expect_same(got, want, quad_metrics, QUAD_METRIC_COUNT, 1e-11, "rotated");
    }
}

Test(quality_faces, unchanged_triangles_by_scale_rotation_and_listing)
{
    static const double scales[] = {1e-9, 1e9, 1e-150, 1e150, 1e-200, 1e200, 1e-300, 1e300};
    uint64_t state = 6;
    for (size_t round = 0; round < 500; round++) {
        vec3 triangle[3], other[3];
        double want[TRIANGLE_METRIC_COUNT], got[TRIANGLE_METRIC_COUNT];
        for (size_t k = 0; k < 3; k++)
            triangle[k] = random_point(&state);
        triangle_quality(triangle, 1, want);
        if (want[TRIANGLE_AREA] < 0.05)
            continue;
        for (size_t s = 0; s < sizeof scales / sizeof *scales; s++) {
            for (size_t k = 0; k < 3; k++)
                other[k] = vec3_scale(triangle[k], scales[s]);
            triangle_quality(other, 1, got);
            expect_same(got, want, triangle_metrics, TRIANGLE_METRIC_COUNT, 1e-11, "scaled");
        }
        for (size_t k = 0; k < 3; k++)
            other[k] = turned(triangle[2 - k]);
        triangle_quality(other, 1, got);
        expect_same(got, want, triangle_metrics, TRIANGLE_METRIC_COUNT, 1e-11, "reversed and rotated");
    }
}

Test(quality_faces, unchanged_subnormal_square_is_still_a_square)
{
    const double side = 0x1p-1070; /* 16 times the smallest subnormal */
    const vec3 square[4] = {{0, 0, 0}, {side, 0, 0}, {side, side, 0}, {0, side, 0}};
    double got[QUAD_METRIC_COUNT];
    quad_quality(square, 1, got);
    expect_same(got, quad_cases[0].want, quad_metrics, QUAD_METRIC_COUNT, tolerance, "subnormal square");
    cr_expect(eq(dbl, got[QUAD_AREA], 0), "its area is below the smallest double");
}

Test(quality_faces, summary_counts_undefined_and_degenerate_apart)
{
    const vec3 positions[] = {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}, {3, 0, 0}, {3, 1, 0}, {5, 5, 5}};
    const struct measured *m = fixture_measured(fixture_listed(fixture_arena(), positions, 7,
                                                               (uint32_t[]){4,
                                                                            0,
                                                                            2,
                                                                            1,
                                                                            3,
                                                                            /* bow-tie */ 4,
                                                                            1,
                                                                            4,
                                                                            5,
                                                                            2,
                                                                            /* 2 x 1 */ 4,
                                                                            0,
                                                                            1,
                                                                            2,
                                                                            3,
                                                                            4,
                                                                            0,
                                                                            1,
                                                                            1,
                                                                            3,
                                                                            /* repeats */ 4,
                                                                            4,
                                                                            5,
                                                                            2,
                                                                            1,
                                                                            3,
                                                                            0,
                                                                            1,
                                                                            2,
                                                                            0}));
    const struct metric_report *aspect = &m->report.quality.quad[QUAD_ASPECT_RATIO];
    cr_expect(eq(str, (char *)aspect->name, "aspect_ratio"));
    cr_expect(eq(sz, aspect->count, 3));
    cr_expect(eq(sz, aspect->undefined, 1));
    cr_expect(eq(sz, aspect->degenerate, 1));
    cr_expect(eq(dbl, aspect->min, 1));
    cr_expect(eq(dbl, aspect->max, 1.5));
    cr_expect(epsilon_eq(dbl, aspect->mean, 4.0 / 3, 1e-15));
    cr_expect(eq(dbl, aspect->median, 1.5));
    cr_expect(epsilon_eq(dbl, aspect->p05, 1.05, 1e-15), "linear between order statistics");
    cr_expect(eq(i64, aspect->worst_face, 1), "the lower of two equals");
    cr_expect(eq(sz, aspect->histogram_counts[0], 1));
    cr_expect(eq(sz, m->report.quality.triangle[TRIANGLE_AREA].count, 1));
    cr_expect(eq(sz, m->report.quality.quad[QUAD_WARPAGE].count, 4), "the bow-tie has a warpage");
    cr_expect(eq(i64, m->report.quality.quad[QUAD_WARPAGE].worst_face, 0));
    cr_expect(eq(i64, m->report.quality.quad[QUAD_AREA].worst_face, 0));
}

Test(quality_faces, summary_of_no_quads_is_undefined)
{
    const struct measured *m = fixture_measured(fixture_platonic(fixture_arena(), 4));
    const struct metric_report *aspect = &m->report.quality.quad[QUAD_ASPECT_RATIO];
    cr_expect(eq(sz, aspect->count, 0));
    cr_expect(isnan(aspect->min) && isnan(aspect->mean) && isnan(aspect->median) && isnan(aspect->p99));
    cr_expect(eq(i64, aspect->worst_face, MEASURE_UNDEFINED));
}

Test(quality_faces, summary_histogram_edges_are_the_promised_ones)
{
    const struct measured *m = fixture_measured(fixture_grid(fixture_arena(), 2, 2));
    const struct quality_report *q = &m->report.quality;
    const struct metric_report *aspect = &q->quad[QUAD_ASPECT_RATIO], *skew = &q->quad[QUAD_SKEW];
    const struct metric_report *jacobian = &q->quad[QUAD_SCALED_JACOBIAN], *angle = &q->quad[QUAD_MIN_ANGLE];
    cr_assert(eq(sz, aspect->bin_count, 60));
    for (int i = 0; i <= 60; i++)
        cr_expect(epsilon_eq(dbl, aspect->histogram_edges[i], pow(10, i / 60.0), 1e-14));
    cr_assert(eq(sz, skew->bin_count, 50));
    cr_expect(eq(dbl, skew->histogram_edges[1], 0.02));
    cr_expect(eq(dbl, skew->histogram_edges[50], 1));
    cr_assert(eq(sz, jacobian->bin_count, 50));
    cr_expect(eq(dbl, jacobian->histogram_edges[0], -1));
    cr_expect(eq(dbl, jacobian->histogram_edges[25], 0));
    cr_expect(eq(dbl, jacobian->histogram_edges[50], 1));
    cr_assert(eq(sz, angle->bin_count, 72));
    cr_expect(eq(dbl, angle->histogram_edges[72], 360));
    cr_expect(eq(sz, q->quad[QUAD_AREA].bin_count, 0));
    cr_expect(eq(sz, angle->histogram_counts[18], 4), "90 degrees lies in 90..95");
    cr_expect(eq(sz, jacobian->histogram_counts[49], 4), "the last bin is closed");
    cr_expect(eq(sz, aspect->histogram_counts[0], 4));
    for (size_t i = 0; i < QUAD_METRIC_COUNT; i++)
        cr_expect(eq(sz, q->quad[i].above + q->quad[i].below, 0), "%s", q->quad[i].name);
}
