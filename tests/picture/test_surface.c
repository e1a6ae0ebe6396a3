/* test_surface.c
 *   corner_*   quantised places and octahedral normals, by their definitions
 *   whole_*    what the page gets of a small mesh is the mesh
 *   coarse_*   fewer triangles over the same vertices
 *   form_*     aspect ratios, shells and edges of meshes known on paper
 *   simple_*   more than the limit: simplified, with an error that holds, and every triangle in a cluster
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "geom/point_triangle.h"
#include "picture/surface.h"
#include "picture/surface_clusters.h"
#include "picture/surface_corner.h"
#include "picture/surface_form.h"
#include "support/fixture_shapes.h"

/* The bytes that surface_write makes, in memory. */
struct bytes {
    unsigned char *at;
    size_t count;
};

static struct surface_request request_of(size_t whole_max, size_t simplified, size_t coarse)
{
    struct surface_request request = surface_request_default();

    request.whole_max = whole_max;
    request.simplified = simplified;
    request.coarse = coarse;
    return request;
}

static struct bytes surface_of(const struct mesh *mesh, const struct surface_request *request)
{
    struct arena scratch;
    struct error err = {0};
    int fd = memfd_create("surface", 0);
    struct bytes bytes;

    cr_assert(arena_open(&scratch, (size_t)1 << 30, &err));
    cr_assert(surface_write(mesh, request, fd, scratch, &err), "%s", err.text);
    bytes.count = (size_t)lseek(fd, 0, SEEK_END);
    bytes.at = malloc(bytes.count);
    cr_assert(eq(sz, (size_t)pread(fd, bytes.at, bytes.count, 0), bytes.count));
    close(fd);
    arena_close(&scratch);
    return bytes;
}

static uint32_t u32(struct bytes bytes, size_t at)
{
    uint32_t value;

    cr_assert(at + sizeof value <= bytes.count);
    memcpy(&value, bytes.at + at, sizeof value);
    return value;
}

static uint64_t u64(struct bytes bytes, size_t at)
{
    uint64_t value;

    cr_assert(at + sizeof value <= bytes.count);
    memcpy(&value, bytes.at + at, sizeof value);
    return value;
}

static double f64(struct bytes bytes, size_t at)
{
    double value;

    cr_assert(at + sizeof value <= bytes.count);
    memcpy(&value, bytes.at + at, sizeof value);
    return value;
}

enum {
    VERTEX_COUNT = 16,
    TRIANGLE_COUNT = 20,
    COARSE_COUNT = 24,
    COARSEST_COUNT = 28,
    CLUSTER_COUNT = 32,
    ORIGIN = 40,
    STEP = 64
};
enum { QUANTISATION_ERROR = 72, SIMPLIFICATION_ERROR = 80, FACE_COUNT = 88, SECTIONS = 96 };
enum { VERTICES, COARSEST, COARSE, TRIANGLES, FACES, SOURCES, ASPECTS, SHELLS, EDGES, CLUSTERS, END };

static size_t section(struct bytes bytes, int which)
{
    return u64(bytes, SECTIONS + 8 * (size_t)which);
}

static vec3 place(struct bytes bytes, size_t v)
{
    uint16_t q[3];

    memcpy(q, bytes.at + section(bytes, VERTICES) + 8 * v, sizeof q);
    double step = f64(bytes, STEP);
    return (vec3){f64(bytes, ORIGIN) + step * q[0], f64(bytes, ORIGIN + 8) + step * q[1],
                  f64(bytes, ORIGIN + 16) + step * q[2]};
}

Test(surface, corner_place_is_within_half_a_step)
{
    struct corner_grid grid = corner_grid_about((aabb){{-1, 2, 3}, {9, 4, 8}});

    cr_expect(fabs(grid.step - 10.0 / 65535) < 1e-15);
    for (int i = 0; i <= 100; i++) {
        vec3 p = {-1 + 0.1 * i, 2 + 0.02 * i, 3 + 0.05 * i};
        struct surface_corner corner = surface_corner_of(&grid, p, (vec3){0, 0, 1});
        vec3 off = vec3_sub(surface_corner_place(&grid, &corner), p);
        cr_expect(fmax(fabs(off.x), fmax(fabs(off.y), fabs(off.z))) <= grid.step / 2 * (1 + 1e-9));
    }
}

/* 127 steps a half of the octahedron: two degrees at most. */
Test(surface, corner_normal_comes_back_within_two_degrees)
{
    struct corner_grid grid = corner_grid_about((aabb){{0, 0, 0}, {1, 1, 1}});

    for (int i = 0; i < 2000; i++) {
        double z = 1 - 2 * (i + 0.5) / 2000, turn = 2.399963229728653 * i, r = sqrt(1 - z * z);
        vec3 normal = {r * cos(turn), r * sin(turn), z};
        struct surface_corner corner = surface_corner_of(&grid, (vec3){0, 0, 0}, vec3_scale(normal, 3));
        cr_expect(vec3_dot(surface_corner_normal(&corner), normal) > cos(2 * M_PI / 180), "normal %d", i);
    }
}

Test(surface, corner_of_no_extent_and_no_normal)
{
    struct corner_grid grid = corner_grid_about((aabb){{5, 6, 7}, {5, 6, 7}});
    struct surface_corner corner = surface_corner_of(&grid, (vec3){5, 6, 7}, (vec3){0, 0, 0});

    cr_expect(eq(dbl, grid.step, 0));
    cr_expect(eq(dbl, vec3_distance(surface_corner_place(&grid, &corner), (vec3){5, 6, 7}), 0));
    cr_expect(eq(dbl, surface_corner_normal(&corner).z, 1));
}

Test(surface, whole_cube_of_quads_has_two_triangles_a_face)
{
    struct arena *arena = fixture_arena();
    struct mesh cube = fixture_cube(arena, 2);
    struct surface_request request = surface_request_default();
    struct bytes bytes = surface_of(&cube, &request);

    cr_expect(memcmp(bytes.at, "fettleS3", 8) == 0);
    cr_expect(eq(u32, u32(bytes, 8), SURFACE_HEADER_BYTES));
    cr_expect(eq(u32, u32(bytes, VERTEX_COUNT), 8));
    cr_expect(eq(u32, u32(bytes, TRIANGLE_COUNT), 12));
    cr_expect(eq(u32, u32(bytes, COARSE_COUNT), 0));
    cr_expect(eq(u32, u32(bytes, COARSEST_COUNT), 0));
    cr_expect(eq(u32, u32(bytes, CLUSTER_COUNT), 0));
    cr_expect(eq(dbl, f64(bytes, SIMPLIFICATION_ERROR), 0));
    cr_expect(eq(sz, u64(bytes, FACE_COUNT), 6));
    cr_expect(eq(sz, section(bytes, END), bytes.count));
    for (size_t t = 0; t < 12; t++)
        cr_expect(eq(u32, u32(bytes, section(bytes, FACES) + 4 * t), (uint32_t)(t / 2)));
    for (size_t v = 0; v < 8; v++)
        cr_expect(vec3_distance(place(bytes, v), cube.positions[v]) <= f64(bytes, QUANTISATION_ERROR));
    free(bytes.at);
}

Test(surface, whole_mesh_of_triangles_keeps_their_order)
{
    struct arena *arena = fixture_arena();
    struct mesh quads = fixture_uv_sphere(arena, 24, 12), sphere = fixture_fanned(arena, &quads);
    struct surface_request request = request_of(1000000, 1000, 1000000);
    struct bytes bytes = surface_of(&sphere, &request);

    cr_expect(eq(u32, u32(bytes, TRIANGLE_COUNT), (uint32_t)sphere.face_count));
    cr_expect(eq(sz, section(bytes, FACES), section(bytes, SOURCES)), "triangle t is face t: left out");
    for (size_t k = 0; k < 3 * sphere.face_count; k++)
        cr_expect(eq(u32, u32(bytes, section(bytes, TRIANGLES) + 4 * k), sphere.face_vertices[k]));
    cr_expect(eq(u32, u32(bytes, VERTEX_COUNT), (uint32_t)sphere.vertex_count));
    cr_expect(f64(bytes, QUANTISATION_ERROR) <= f64(bytes, STEP));
    cr_expect(f64(bytes, QUANTISATION_ERROR) > 0);
    free(bytes.at);
}

Test(surface, coarse_levels_lie_over_the_same_vertices_before_the_triangles)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_uv_sphere(arena, 120, 60);
    struct surface_request request = request_of(1000000, 1000, 800);
    request.coarsest = 200;
    struct bytes bytes = surface_of(&sphere, &request);
    uint32_t coarse = u32(bytes, COARSE_COUNT), coarsest = u32(bytes, COARSEST_COUNT);

    cr_expect(coarse > 400 && coarse <= 832, "%u", coarse);
    cr_expect(coarsest > 100 && coarsest <= 208, "%u", coarsest);
    cr_expect(section(bytes, COARSEST) < section(bytes, COARSE)
              && section(bytes, COARSE) < section(bytes, TRIANGLES));
    for (size_t k = 0; k < 3 * coarse; k++)
        cr_expect(lt(u32, u32(bytes, section(bytes, COARSE) + 4 * k), u32(bytes, VERTEX_COUNT)));
    for (size_t k = 0; k < 3 * coarsest; k++)
        cr_expect(lt(u32, u32(bytes, section(bytes, COARSEST) + 4 * k), u32(bytes, VERTEX_COUNT)));
    free(bytes.at);
}

Test(surface, coarse_level_alone_is_left_out_of_a_mesh_between_the_two)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_uv_sphere(arena, 60, 30);
    struct surface_request request = request_of(1000000, 1000, 1000000);
    request.coarsest = 400;
    struct bytes bytes = surface_of(&sphere, &request);

    cr_expect(eq(u32, u32(bytes, COARSE_COUNT), 0));
    cr_expect(u32(bytes, COARSEST_COUNT) > 200 && u32(bytes, COARSEST_COUNT) <= 416);
    free(bytes.at);
}

static uint16_t u16(struct bytes bytes, size_t at)
{
    uint16_t value;

    cr_assert(at + sizeof value <= bytes.count);
    memcpy(&value, bytes.at + at, sizeof value);
    return value;
}

/* The inverse of form_aspect_code, as surface_form.h tells it. */
static double ratio_of(uint16_t code)
{
    uint32_t bits = 0x3f800000u + ((uint32_t)code << 11);
    float value;

    memcpy(&value, &bits, sizeof value);
    return (double)value;
}

Test(surface, form_aspect_code_is_within_an_eight_thousandth)
{
    uint64_t state = 5;

    cr_expect(eq(u16, form_aspect_code(1), 0));
    cr_expect(eq(u16, form_aspect_code(NAN), FORM_ASPECT_NONE));
    cr_expect(eq(u16, form_aspect_code(1e30), FORM_ASPECT_MAX));
    cr_expect(eq(u16, form_aspect_code((double)INFINITY), FORM_ASPECT_MAX));
    for (int i = 0; i < 10000; i++) {
        double ratio = exp2(15.9 * fixture_random_unit(&state)), back = ratio_of(form_aspect_code(ratio));
        cr_expect(fabs(back / ratio - 1) <= 1.0 / 8192, "%.17g comes back as %.17g", ratio, back);
    }
}

/* Verdict: longest side times perimeter over four times the area, 1 x 2: 2 * 6 / 8 = 1.5. The second shell
 * is smaller; the third face of five corners has no aspect ratio. */
Test(surface, form_of_rectangle_and_pentagon_in_two_shells)
{
    static const vec3 positions[] = {{0, 0, 0}, {2, 0, 0},  {2, 1, 0},  {0, 1, 0},   {4, 0, 0}, {4, 1, 0},
                                     {9, 0, 0}, {10, 0, 0}, {10, 1, 0}, {9.5, 2, 0}, {9, 1, 0}};
    static const uint32_t faces[] = {5, 6, 7, 8, 9, 10, 4, 0, 1, 2, 3, 4, 1, 4, 5, 2, 0};
    struct arena *arena = fixture_arena();
    struct mesh mesh = fixture_listed(arena, positions, 11, faces);
    struct surface_request request = surface_request_default();
    struct bytes bytes = surface_of(&mesh, &request);
    size_t aspects = section(bytes, ASPECTS), shells = section(bytes, SHELLS), edges = section(bytes, EDGES);

    cr_expect(eq(u16, u16(bytes, aspects), FORM_ASPECT_NONE));
    cr_expect(eq(dbl, ratio_of(u16(bytes, aspects + 2)), 1.5));
    cr_expect(eq(u16, u16(bytes, shells), 1), "one face");
    cr_expect(eq(u16, u16(bytes, shells + 2), 0), "two faces");
    cr_expect(eq(u16, u16(bytes, shells + 4), 0));
    cr_expect(eq(u8, bytes.at[edges], 2 | FORM_ON_RIM | FORM_CORNER));
    cr_expect(eq(u8, bytes.at[edges + 1], 3 | FORM_ON_RIM));
    free(bytes.at);
}

Test(surface, form_of_one_shell_leaves_shells_out)
{
    struct arena *arena = fixture_arena();
    struct mesh cube = fixture_cube(arena, 2);
    struct surface_request request = surface_request_default();
    struct bytes bytes = surface_of(&cube, &request);

    cr_expect(eq(sz, section(bytes, SHELLS), section(bytes, EDGES)));
    for (size_t v = 0; v < 8; v++)
        cr_expect(eq(u8, bytes.at[section(bytes, EDGES) + v], 3));
    for (size_t f = 0; f < 6; f++)
        cr_expect(eq(u16, u16(bytes, section(bytes, ASPECTS) + 2 * f), 0));
    free(bytes.at);
}

/* A vertex of the simplified surface has the form of the vertex of the mesh that it is. */
Test(surface, form_of_simplified_sphere_is_that_of_its_sources)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_uv_sphere(arena, 200, 100);
    struct surface_request request = request_of(2000, 1000, 300);
    struct bytes bytes = surface_of(&sphere, &request);
    struct arena scratch;
    struct error err = {0};
    struct surface_form form;

    cr_assert(arena_open(&scratch, (size_t)1 << 28, &err));
    cr_assert(surface_form_build(&sphere, 1, &form, arena, scratch, &err), "%s", err.text);
    for (size_t v = 0; v < u32(bytes, VERTEX_COUNT); v++) {
        uint32_t source = u32(bytes, section(bytes, SOURCES) + 4 * v);
        uint32_t face = u32(bytes, section(bytes, FACES) + 4 * v);
        bool is_corner = false;
        for (size_t c = 0; c < mesh_face_size(&sphere, face); c++)
            is_corner = is_corner || mesh_face(&sphere, face)[c] == source;
        cr_assert(is_corner, "face %u of vertex %u", face, source);
        cr_assert(ge(u16, u16(bytes, section(bytes, ASPECTS) + 2 * v), form.face_aspect[face]));
        cr_assert(eq(u8, bytes.at[section(bytes, EDGES) + v], form.vertex_edges[source]));
    }
    arena_close(&scratch);
    free(bytes.at);
}

/* Of a sphere: a triangle with its corners on it is off by the sagitta of its circumcircle, so the error is
 * more than that of the largest and, by the certificate, at least what is found at its middle. */
Test(surface, simple_sphere_says_how_far_it_is_off)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_uv_sphere(arena, 200, 100);
    struct surface_request request = request_of(2000, 1000, 300);
    struct bytes bytes = surface_of(&sphere, &request);
    double error = f64(bytes, SIMPLIFICATION_ERROR), worst = 0;
    size_t triangles = section(bytes, TRIANGLES);

    cr_expect(u32(bytes, TRIANGLE_COUNT) <= 1500 && u32(bytes, TRIANGLE_COUNT) >= 500);
    for (size_t t = 0; t < u32(bytes, TRIANGLE_COUNT); t++) {
        vec3 middle = {0, 0, 0};
        for (size_t i = 0; i < 3; i++)
            middle = vec3_add(middle, place(bytes, u32(bytes, triangles + 4 * (3 * t + i))));
        worst = fmax(worst, 1 - vec3_length(vec3_scale(middle, 1.0 / 3)));
    }
    /* the mesh itself is off the sphere by 0.0005 */
    cr_expect(error >= worst - 0.001, "%g, at the middle of a triangle %g", error, worst);
    cr_expect(error < 0.2, "%g", error);
    free(bytes.at);
}

static size_t aligned(size_t at)
{
    return (at + 7) / 8 * 8;
}

Test(surface, simple_clusters_hold_every_triangle_once)
{
    struct arena *arena = fixture_arena();
    struct mesh sphere = fixture_uv_sphere(arena, 200, 100);
    struct surface_request request = request_of(2000, 1000, 300);
    struct bytes bytes = surface_of(&sphere, &request);
    size_t count = u32(bytes, CLUSTER_COUNT), faces = 0;
    unsigned char *met = calloc(sphere.face_count, 1);
    struct arena scratch;
    struct error err = {0};
    struct surface_form form;

    cr_assert(arena_open(&scratch, (size_t)1 << 28, &err));
    cr_assert(surface_form_build(&sphere, 1, &form, arena, scratch, &err), "%s", err.text);

    cr_expect(eq(sz, count, (200 * 99 * 2 + CLUSTER_TRIANGLES - 1) / CLUSTER_TRIANGLES));
    for (size_t k = 0; k < count; k++) {
        struct surface_cluster cluster;
        memcpy(&cluster, bytes.at + section(bytes, CLUSTERS) + k * sizeof cluster, sizeof cluster);
        size_t triangles = cluster.offset + 8 * (size_t)cluster.vertex_count,
               owners = aligned(triangles + 6 * (size_t)cluster.triangle_count),
               sources = aligned(owners + 4 * (size_t)cluster.triangle_count),
               aspects = aligned(sources + 4 * (size_t)cluster.vertex_count),
               shells = aligned(aspects + 2 * (size_t)cluster.triangle_count),
               edges = aligned(shells + 2 * (size_t)cluster.triangle_count);
        for (size_t v = 0; v < cluster.vertex_count; v++)
            cr_assert(eq(u8, bytes.at[edges + v], form.vertex_edges[u32(bytes, sources + 4 * v)]));
        for (size_t t = 0; t < cluster.triangle_count; t++) {
            uint32_t face = u32(bytes, owners + 4 * t);
            cr_assert(lt(sz, face, sphere.face_count));
            faces += met[face] == 0;
            met[face]++;
            cr_assert(eq(u16, u16(bytes, aspects + 2 * t), form.face_aspect[face]));
            cr_assert(eq(u16, u16(bytes, shells + 2 * t), 0));
            for (size_t i = 0; i < 3; i++) {
                uint16_t local, q[3];
                memcpy(&local, bytes.at + triangles + 6 * t + 2 * i, sizeof local);
                cr_assert(lt(u32, local, cluster.vertex_count));
                memcpy(q, bytes.at + cluster.offset + 8 * (size_t)local, sizeof q);
                vec3 p = {cluster.origin[0] + cluster.step * q[0], cluster.origin[1] + cluster.step * q[1],
                          cluster.origin[2] + cluster.step * q[2]};
                bool is_corner = false;
                for (size_t c = 0; c < mesh_face_size(&sphere, face); c++)
                    is_corner =
                        is_corner
                        || vec3_distance(p, sphere.positions[mesh_face(&sphere, face)[c]]) <= cluster.step;
                cr_assert(is_corner, "triangle %zu of cluster %zu", t, k);
            }
        }
    }
    cr_expect(eq(sz, faces, sphere.face_count));
    for (size_t f = 0; f < sphere.face_count; f++)
        cr_assert(met[f] == mesh_face_size(&sphere, f) - 2, "face %zu", f);
    arena_close(&scratch);
    free(met);
    free(bytes.at);
}
