/* test_point_triangle.c
 *   known_*    distances derived on paper, one for each feature
 *   exact_*    against the normal equations solved in quadruple precision, on well-shaped triangles, needles
 * and caps: the error stays within a few last places of the lengths at hand flat_*     repeated corners and
 * collinear corners are segments and points foot_*     the foot lies where its feature says
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>

#include "geom/point_triangle.h"
#include "support/fixture_shapes.h"

static const vec3 A = {0, 0, 0}, B = {4, 0, 0}, C = {0, 3, 0};

Test(point_triangle, known_features_of_a_right_triangle)
{
    const struct {
        const char *name;
        vec3 p;
        double distance_sq;
        vec3 foot;
        enum triangle_feature feature;
    } cases[] = {
        {"above the inside", {1, 1, 2}, 4, {1, 1, 0}, TRIANGLE_INSIDE},
        {"below the inside", {1, 1, -5}, 25, {1, 1, 0}, TRIANGLE_INSIDE},
        {"beside ab", {2, -1, 0}, 1, {2, 0, 0}, TRIANGLE_EDGE_AB},
        {"beside ca", {-2, 1, 0}, 4, {0, 1, 0}, TRIANGLE_EDGE_CA},
        {"beside bc", {2 + 3, 1.5 + 4, 0}, 25, {2, 1.5, 0}, TRIANGLE_EDGE_BC},
        {"beyond a", {-3, -4, 12}, 169, {0, 0, 0}, TRIANGLE_CORNER_A},
        {"beyond b", {7, -4, 0}, 25, {4, 0, 0}, TRIANGLE_CORNER_B},
        {"beyond c", {0, 5, 0}, 4, {0, 3, 0}, TRIANGLE_CORNER_C},
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct triangle_foot foot = triangle_nearest(cases[i].p, A, B, C);
        /* 1e-14: two roundings of numbers up to 169 */
        cr_expect(fabs(foot.distance_sq - cases[i].distance_sq) < 1e-13, "%s", cases[i].name);
        cr_expect(vec3_distance(foot.point, cases[i].foot) < 1e-14, "%s", cases[i].name);
        cr_expect(foot.feature == cases[i].feature, "%s", cases[i].name);
        cr_expect(eq(dbl, triangle_distance_sq(cases[i].p, A, B, C), foot.distance_sq));
    }
}

/* Distance by the plane's normal (a cross product) in quadruple precision: on needles of 1e-15 that loses 15
 * of its 34 figures. */
typedef _Float128 quad;

static quad dot(const quad *a, const quad *b)
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

static quad segment_sq(const quad *from, const quad *along)
{
    quad length = dot(along, along), t = length > 0 ? dot(from, along) / length : 0, rest[3];

    t = t < 0 ? 0 : t > 1 ? 1 : t;
    for (int i = 0; i < 3; i++)
        rest[i] = from[i] - t * along[i];
    return dot(rest, rest);
}

static void cross(const quad *a, const quad *b, quad *out)
{
    for (int i = 0; i < 3; i++)
        out[i] = a[(i + 1) % 3] * b[(i + 2) % 3] - a[(i + 2) % 3] * b[(i + 1) % 3];
}

static void difference(vec3 a, vec3 b, quad *out)
{
    out[0] = (quad)a.x - b.x;
    out[1] = (quad)a.y - b.y;
    out[2] = (quad)a.z - b.z;
}

static double reference_distance(vec3 p, vec3 a, vec3 b, vec3 c)
{
    quad ab[3], ac[3], bc[3], ap[3], bp[3];

    difference(b, a, ab);
    difference(c, a, ac);
    difference(c, b, bc);
    difference(p, a, ap);
    difference(p, b, bp);
    quad best = segment_sq(ap, ab), other = segment_sq(ap, ac), third = segment_sq(bp, bc);
    best = other < best ? other : best;
    best = third < best ? third : best;
    quad normal[3], n_ab[3], n_ac[3];
    cross(ab, ac, normal);
    quad square = dot(normal, normal), height = dot(ap, normal);
    cross(normal, ab, n_ab);
    cross(normal, ac, n_ac);
    if (square > 0) {
        quad u = -dot(ap, n_ac) / square, v = dot(ap, n_ab) / square, plane = height * height / square;
        if (u > 0 && v > 0 && u + v < 1 && plane < best)
            best = plane;
    }
    return (double)sqrtl((long double)best);
}

static double uniform(uint64_t *state)
{
    return 2 * fixture_random_unit(state) - 1;
}

static vec3 random_point(uint64_t *state)
{
    return (vec3){uniform(state), uniform(state), uniform(state)};
}

/* The corners in the order that the header asks for. */
static double distance_longest_first(vec3 p, vec3 a, vec3 b, vec3 c)
{
    const vec3 corner[3] = {a, b, c};
    unsigned turn = triangle_longest_first(a, b, c);

    return sqrt(triangle_distance_sq(p, corner[turn], corner[(turn + 1) % 3], corner[(turn + 2) % 3]));
}

Test(point_triangle, exact_on_random_triangles_needles_and_caps)
{
    const double flatness[] = {1, 1e-3, 1e-6, 1e-9, 1e-12, 1e-15};
    uint64_t state = 7;

    for (size_t k = 0; k < sizeof flatness / sizeof *flatness; k++) {
        double worst = 0;
        for (int i = 0; i < 4000; i++) {
            vec3 a = random_point(&state), b = random_point(&state), off = random_point(&state);
            /* a cap (the third corner over the longest side) or a needle (it stands by an end) */
            double along = i % 2 ? fixture_random_unit(&state) : 0;
            vec3 c = vec3_add(vec3_lerp(a, b, along), vec3_scale(off, flatness[k]));
            /* near the plane too, where a bad foot shows most */
            vec3 p = i % 3 ? random_point(&state)
                           : vec3_add(vec3_lerp(a, vec3_lerp(b, c, 0.5), fixture_random_unit(&state)),
                                      vec3_scale(random_point(&state), flatness[k]));
            double error = fabs(distance_longest_first(p, a, b, c) - reference_distance(p, a, b, c));
            worst = fmax(worst, error);
        }
        /* 2^-45: lengths up to 4 here, and a quarter of what the certified bounds allow for lengths up to 4
         */
        cr_expect(worst <= 0x1p-45, "flatness %g: error %g", flatness[k], worst);
    }
}

Test(point_triangle, flat_triangles_are_segments_and_points)
{
    const vec3 p = {1, 2, 2}, o = {0, 0, 0}, x = {2, 0, 0}, middle = {1, 0, 0};

    cr_expect(eq(dbl, triangle_distance_sq(p, o, o, o), 9));
    cr_expect(eq(dbl, triangle_distance_sq(p, o, x, x), 8));
    cr_expect(eq(dbl, triangle_distance_sq(p, o, o, x), 8));
    cr_expect(eq(dbl, triangle_distance_sq(p, o, x, o), 8));
    cr_expect(eq(dbl, triangle_distance_sq(p, o, x, middle), 8));
    cr_expect(eq(dbl, triangle_area(o, x, middle), 0));
    cr_expect(eq(dbl, triangle_area(o, o, x), 0));
    cr_expect(eq(dbl, triangle_area(A, B, C), 6));
}

Test(point_triangle, foot_is_on_its_feature)
{
    uint64_t state = 11;

    for (int i = 0; i < 5000; i++) {
        vec3 p = random_point(&state), a = random_point(&state), b = random_point(&state),
             c = random_point(&state);
        struct triangle_foot foot = triangle_nearest(p, a, b, c);
        cr_expect(eq(dbl, foot.distance_sq, triangle_distance_sq(p, a, b, c)));
        /* a dozen roundings of lengths up to 4 */
        cr_expect(fabs(vec3_distance(p, foot.point) - sqrt(foot.distance_sq)) < 1e-14);
        double on = foot.feature == TRIANGLE_EDGE_AB   ? reference_distance(foot.point, a, b, b)
                    : foot.feature == TRIANGLE_EDGE_BC ? reference_distance(foot.point, b, c, c)
                    : foot.feature == TRIANGLE_EDGE_CA ? reference_distance(foot.point, c, a, a)
                    : foot.feature == TRIANGLE_INSIDE
                        ? reference_distance(foot.point, a, b, c)
                        : vec3_distance(foot.point, foot.feature == TRIANGLE_CORNER_A   ? a
                                                    : foot.feature == TRIANGLE_CORNER_B ? b
                                                                                        : c);
        cr_expect(on < 1e-12, "feature %d, %g away", (int)foot.feature, on);
    }
}
