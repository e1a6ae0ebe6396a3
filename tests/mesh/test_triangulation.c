/* test_triangulation.c
 *   quad_*      shorter diagonal, tie, concave, degenerate
 *   listing_*   the cut is the same whichever corner is listed first
 *   polygon_*   areas add up and no triangle is turned over; convex, concave, comb, spiral, star, any plane
 *   fan_*       outlines that cross themselves are counted
 *   limit_*     too many corners, too little memory
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <string.h>

#include "geom/point_triangle.h"
#include "mesh/triangulation.h"
#include "support/fixture_shapes.h"

/* One large arena a purpose, used again by every call: what the call before made is gone. */
static struct arena again(size_t purpose)
{
    static struct arena *arenas[3];

    if (!arenas[purpose])
        arenas[purpose] = fixture_arena_of((size_t)640 << 20);
    return *arenas[purpose];
}

static struct triangulation triangulate(const struct mesh *mesh)
{
    struct triangulation triangulation;
    struct error err;
    struct arena keep = again(0);

    cr_assert(triangulation_build(mesh, &triangulation, &keep, again(1), &err), "%s", err.text);
    cr_assert(triangulation_is_valid(&triangulation, mesh));
    return triangulation;
}

/* Replaces the mesh that the call before made. */
static struct mesh one_face(const vec3 *positions, size_t count)
{
    struct arena arena = again(2);
    struct mesh mesh = fixture_room(&arena, count, 1, count);

    memcpy(mesh.positions, positions, count * sizeof *positions);
    for (size_t i = 0; i < count; i++)
        mesh.face_vertices[i] = (uint32_t)i;
    mesh.face_offsets[0] = 0;
    mesh.face_offsets[1] = (uint32_t)count;
    mesh.face_count = 1;
    return mesh;
}

/* True when some triangle has both vertices, which are opposite corners of a quad. */
static bool has_diagonal(const struct triangulation *triangulation, uint32_t a, uint32_t b)
{
    int with_both = 0;

    for (size_t t = 0; t < triangulation->triangle_count; t++) {
        bool has_a = false, has_b = false;
        for (int i = 0; i < 3; i++) {
            has_a = has_a || triangulation->corners[t][i] == a;
            has_b = has_b || triangulation->corners[t][i] == b;
        }
        with_both += has_a && has_b;
    }
    return with_both == 2;
}

Test(triangulation, quad_is_cut_along_the_diagonal_that_the_rule_names)
{
    const struct {
        const char *name;
        vec3 p[4];
        bool from_second;
    } cases[] = {
        {"square: a tie", {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}}, false},
        {"rhombus, second diagonal shorter", {{-2, 0, 0}, {0, -1, 0}, {2, 0, 0}, {0, 1, 0}}, true},
        {"rhombus, first diagonal shorter", {{0, -1, 0}, {2, 0, 0}, {0, 1, 0}, {-2, 0, 0}}, false},
        {"dart of the definitions, reflex at 3: inside is 1-3",
         {{0, 0, 0}, {2, 1, 0}, {0, 2, 0}, {0.5, 1, 0}},
         true},
        /* the outer diagonal 0-2 has length 2, the inner 1-3 length 9.5 */
        {"long dart, the outer diagonal is shorter", {{0, 0, 0}, {10, 1, 0}, {0, 2, 0}, {0.5, 1, 0}}, true},
        {"dart, reflex at 0", {{0.5, 1, 0}, {0, 0, 0}, {10, 1, 0}, {0, 2, 0}}, false},
        {"warped square, one corner up: that diagonal is longer",
         {{0, 0, 1}, {1, 0, 0}, {1, 1, 0}, {0, 1, 0}},
         true},
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        for (int scaled = 0; scaled < 3; scaled++) {
            vec3 p[4];
            double scale = scaled == 0 ? 1 : scaled == 1 ? 1e-200 : 1e200;
            for (int k = 0; k < 4; k++)
                p[k] = vec3_scale(cases[i].p[k], scale);
            struct mesh mesh = one_face(p, 4);
            struct triangulation cut = triangulate(&mesh);
            cr_expect(eq(sz, cut.triangle_count, 2));
            cr_expect(has_diagonal(&cut, 1, 3) == cases[i].from_second, "%s at scale %g", cases[i].name,
                      scale);
            cr_expect(has_diagonal(&cut, 0, 2) != cases[i].from_second, "%s at scale %g", cases[i].name,
                      scale);
        }
}

Test(triangulation, quad_with_a_repeated_corner_keeps_its_surface)
{
    const vec3 p[4] = {{0, 0, 0}, {2, 0, 0}, {2, 0, 0}, {0, 2, 0}};
    struct mesh mesh = one_face(p, 4);
    struct triangulation cut = triangulate(&mesh);
    double area = 0;

    for (size_t t = 0; t < 2; t++)
        area += triangle_area(p[cut.corners[t][0]], p[cut.corners[t][1]], p[cut.corners[t][2]]);
    cr_expect(eq(dbl, area, 2));
}

/* A random quad or polygon, warped or flat, in any plane. */
static void random_outline(uint64_t *state, vec3 *p, size_t count, double warp)
{
    const double pi = 3.14159265358979323846;
    double tilt = 6 * fixture_random_unit(state), roll = 6 * fixture_random_unit(state);

    for (size_t i = 0; i < count; i++) {
        /* star-shaped about the origin: simple */
        double angle = 2 * pi * ((double)i + 0.8 * fixture_random_unit(state)) / (double)count;
        double radius = 0.2 + fixture_random_unit(state);
        double x = radius * cos(angle), y = radius * sin(angle), z = warp * fixture_random_unit(state);
        double y2 = y * cos(tilt) - z * sin(tilt), z2 = y * sin(tilt) + z * cos(tilt);
        p[i] = (vec3){x * cos(roll) - y2 * sin(roll), x * sin(roll) + y2 * cos(roll), z2};
    }
}

static int compare_triangles(const void *a, const void *b)
{
    return memcmp(a, b, sizeof(uint32_t[3]));
}

/* Triangles as sorted lists of sorted vertices. */
static void canonical(const struct triangulation *cut, size_t rotated, size_t count, uint32_t (*out)[3])
{
    for (size_t t = 0; t < cut->triangle_count; t++) {
        uint32_t v[3];
        for (int i = 0; i < 3; i++)
            v[i] = (uint32_t)((cut->corners[t][i] + rotated) % count);
        for (int i = 0; i < 3; i++) {
            int low = v[i] <= v[(i + 1) % 3] && v[i] <= v[(i + 2) % 3];
            if (low)
                for (int k = 0; k < 3; k++)
                    out[t][k] = v[(i + k) % 3];
        }
    }
    qsort(out, cut->triangle_count, sizeof *out, compare_triangles);
}

Test(triangulation, listing_another_corner_first_changes_nothing)
{
    uint64_t state = 3;

    for (int i = 0; i < 400; i++) {
        size_t count = 4 + (size_t)i % 9;
        vec3 p[12], turned[12];
        uint32_t first[10][3], other[10][3];
        random_outline(&state, p, count, i % 2 ? 0.3 : 0);
        struct mesh mesh = one_face(p, count);
        struct triangulation cut = triangulate(&mesh);
        canonical(&cut, 0, count, first);
        for (size_t rotated = 1; rotated < count; rotated++) {
            for (size_t k = 0; k < count; k++)
                turned[k] = p[(k + rotated) % count];
            mesh = one_face(turned, count);
            cut = triangulate(&mesh);
            canonical(&cut, rotated, count, other);
            cr_expect(memcmp(first, other, (count - 2) * sizeof *first) == 0, "outline %d turned by %zu", i,
                      rotated);
        }
    }
}

static vec3 newell(const vec3 *p, size_t count)
{
    vec3 sum = {0, 0, 0};

    for (size_t i = 0; i < count; i++)
        sum = vec3_add(sum, vec3_cross(p[i], p[(i + 1) % count]));
    return sum;
}

/* Every triangle faces along the outline's normal and the areas add up. */
static void expect_cut(const vec3 *p, size_t count, const char *name)
{
    struct mesh mesh = one_face(p, count);
    struct triangulation cut = triangulate(&mesh);
    vec3 normal = newell(p, count);
    double length = vec3_length(normal), sum = 0;
    cr_expect(cut.triangle_count == count - 2, "%s", name);
    cr_expect(eq(sz, cut.fan_count, 0), "%s of %zu corners", name, count);
    for (size_t t = 0; t < cut.triangle_count; t++) {
        const uint32_t *c = cut.corners[t];
        double part = vec3_dot(triangle_normal(p[c[0]], p[c[1]], p[c[2]]), normal) / length;
        cr_expect(part > -1e-9 * length, "%s: triangle %zu is turned over", name, t);
        sum += part;
    }
    /* 1e-9: rounding of up to a million areas */
    cr_expect(fabs(sum - length) <= 1e-9 * length, "%s: areas differ by %g", name, sum / length - 1);
}

Test(triangulation, polygon_star_shaped_outlines)
{
    uint64_t state = 5;
    vec3 p[200];

    for (int i = 0; i < 600; i++) {
        size_t count = 5 + (size_t)i % 190;
        random_outline(&state, p, count, 0);
        expect_cut(p, count, "star-shaped");
    }
}

/* teeth of a comb along x, each with its top cut at another height */
static size_t comb(vec3 *p, size_t teeth)
{
    size_t n = 0;

    p[n++] = (vec3){0, 0, 0};
    p[n++] = (vec3){2.0 * (double)teeth, 0, 0};
    for (size_t i = teeth; i-- > 0;) {
        double x = 2.0 * (double)i;
        p[n++] = (vec3){x + 2, 3 + 0.01 * (double)(i % 7), 0};
        p[n++] = (vec3){x + 1, 3, 0};
        p[n++] = (vec3){x + 1, 1, 0};
        p[n++] = (vec3){x, 1 + 0.001 * (double)(i % 5), 0};
    }
    return n;
}

static size_t spiral(vec3 *p, size_t half, double turns)
{
    for (size_t i = 0; i < half; i++) {
        double angle = turns * 6.283185307179586 * (double)i / (double)(half - 1), radius = 1 + angle;
        p[i] = (vec3){radius * cos(angle), radius * sin(angle), 0};
        p[2 * half - 1 - i] = (vec3){(radius + 2) * cos(angle), (radius + 2) * sin(angle), 0};
    }
    /* the outer arm is walked outwards, the inner one back: turn it counter-clockwise */
    for (size_t i = 0; i < half; i++) {
        vec3 swap = p[i];
        p[i] = p[2 * half - 1 - i];
        p[2 * half - 1 - i] = swap;
    }
    return 2 * half;
}

Test(triangulation, polygon_comb_and_spiral_on_their_sides_too)
{
    static vec3 p[400000], turned[400000];
    const size_t sizes[] = {2, 3, 10, 1000, 9000};

    for (size_t k = 0; k < sizeof sizes / sizeof *sizes; k++) {
        size_t count = comb(p, sizes[k]);
        expect_cut(p, count, "comb");
        for (size_t i = 0; i < count; i++)
            turned[i] = (vec3){-p[i].y, p[i].x, 0};
        expect_cut(turned, count, "comb upwards");
        for (size_t i = 0; i < count; i++)
            turned[i] = (vec3){p[i].x * 0.6 - p[i].y * 0.8, 7, p[i].x * 0.8 + p[i].y * 0.6};
        expect_cut(turned, count, "comb in another plane");
        count = spiral(p, 20 * sizes[k], 2.75);
        expect_cut(p, count, "spiral");
    }
}

Test(triangulation, polygon_of_a_million_corners_is_cut_in_time, .timeout = 120)
{
    size_t count = MESH_MAX_FACE_CORNERS;
    struct arena *arena = fixture_arena();
    vec3 *p = ARENA_NEW(arena, vec3, count);

    for (size_t i = 0; i < count; i++) { /* a gear: half of the corners are reflex */
        double angle = 6.283185307179586 * (double)i / (double)count, radius = i % 2 ? 1 : 1.01;
        p[i] = (vec3){radius * cos(angle), radius * sin(angle), 0};
    }
    expect_cut(p, count, "gear");
}

Test(triangulation, polygon_with_collinear_corners)
{
    const vec3 p[] = {{0, 0, 0}, {1, 0, 0}, {2, 0, 0}, {3, 0, 0}, {3, 1, 0},
                      {3, 2, 0}, {2, 2, 0}, {0, 2, 0}, {0, 1, 0}};

    expect_cut(p, 9, "rectangle with corners along its sides");
}

Test(triangulation, fan_for_outlines_that_cross_or_have_no_area)
{
    /* a pentagram's outline and a pentagon drawn out to a line */
    vec3 star[5], line[5];

    for (int i = 0; i < 5; i++) {
        double angle = 4 * 3.14159265358979323846 * i / 5;
        star[i] = (vec3){cos(angle), sin(angle), 0};
        line[i] = (vec3){i, 2 * i, 3 * i};
    }
    struct mesh mesh = one_face(star, 5);
    struct triangulation cut = triangulate(&mesh);
    cr_expect(eq(sz, cut.fan_count, 1));
    cr_expect(eq(sz, cut.triangle_count, 3));
    mesh = one_face(line, 5);
    cut = triangulate(&mesh);
    cr_expect(eq(sz, cut.fan_count, 1));
    cr_expect(eq(sz, cut.first_fan, 0));
}

Test(triangulation, limit_of_corners_is_refused)
{
    size_t count = MESH_MAX_FACE_CORNERS + 1;
    struct arena *arena = fixture_arena();
    vec3 *p = ARENA_ZERO(arena, vec3, count);
    struct mesh mesh = one_face(p, count);
    struct triangulation cut;
    struct error err;

    cr_expect(not(triangulation_build(&mesh, &cut, arena, again(1), &err)));
    cr_expect(err.code == ERROR_LIMIT);
    cr_expect(strstr(err.text, "face 0 has 1000001 corners") != NULL, "%s", err.text);
}

Test(triangulation, limit_of_memory_is_refused_at_every_size)
{
    vec3 p[40];
    uint64_t state = 9;
    struct error err;
    bool done = false;

    random_outline(&state, p, 40, 0);
    struct mesh mesh = one_face(p, 40);
    for (size_t bytes = 64; !done; bytes += 512) {
        struct arena arena = again(0), keep, scratch;
        struct triangulation cut;
        cr_assert(arena_split(&arena, bytes, &keep) && arena_split(&arena, bytes, &scratch));
        done = triangulation_build(&mesh, &cut, &keep, scratch, &err);
        cr_assert(done || err.code == ERROR_LIMIT);
    }
}
