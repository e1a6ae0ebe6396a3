/* test_surface_view.c
 *   reading_*  a stored surface comes back as it was written; what does not hold together is refused
 *   view_*     what is drawn where, how near, in which colour, of shapes whose outlines are known on paper
 *   map_*      the colours */
#include "picture/surface_view.h"

#include "picture/surface.h"
#include "support/fixture_shapes.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

static struct arena arena;
static struct error err;

static void begin(void)
{
    cr_assert(arena_open(&arena, (size_t)1 << 30, &err));
}
static void end(void)
{
    arena_close(&arena);
}
TestSuite(reading, .init = begin, .fini = end);
TestSuite(view, .init = begin, .fini = end);

static int surface_fd(const struct mesh *mesh, size_t whole_max, uint64_t *bytes)
{
    struct surface_request request = surface_request_default();
    int fd = memfd_create("surface", 0);
    request.whole_max = whole_max;
    request.simplified = whole_max / 2 + 1;
    cr_assert(surface_write(mesh, &request, fd, arena, &err), "%s", err.text);
    *bytes = (uint64_t)lseek(fd, 0, SEEK_END);
    return fd;
}

static struct stored_surface read_back(const struct mesh *mesh, size_t whole_max)
{
    struct stored_surface surface;
    uint64_t bytes;
    int fd = surface_fd(mesh, whole_max, &bytes);
    cr_assert(stored_surface_read(fd, bytes, &surface, &arena, &err), "%s", err.text);
    close(fd);
    return surface;
}

Test(reading, reading_gives_the_triangles_and_places_of_the_mesh)
{
    struct mesh cube = fixture_cube(&arena, 2);
    struct stored_surface surface = read_back(&cube, 1000);
    cr_expect_eq(surface.triangle_count, 12);
    cr_expect_eq(surface.face_count, 6);
    cr_expect_not(surface.is_simplified);
    cr_expect_float_eq(surface.box.min.x, -1, 1e-4);
    cr_expect_float_eq(surface.box.max.z, 1, 1e-4);
}

Test(reading, reading_gives_triangles_the_values_of_their_faces)
{
    const double of_faces[] = {0, 1, 2, 3, 4, 5};
    struct mesh cube = fixture_cube(&arena, 2);
    struct stored_surface surface = read_back(&cube, 1000);
    double *values, sum = 0;
    cr_assert(stored_surface_values(&surface, of_faces, &values, &arena, &err), "%s", err.text);
    for (size_t t = 0; t < 12; t++)
        sum += values[t];
    cr_expect_float_eq(sum, 30, 1e-12);
}

Test(reading, reading_gives_simplified_triangles_the_largest_value_at_their_corners)
{
    struct mesh sphere = fixture_cubed_sphere(&arena, 24);
    struct stored_surface surface = read_back(&sphere, 2000);
    double *values, *of_faces = ARENA_ZERO(&arena, double, sphere.face_count);
    cr_assert(surface.is_simplified);
    for (size_t f = 0; f < sphere.face_count; f++)
        of_faces[f] = 7;
    cr_assert(stored_surface_values(&surface, of_faces, &values, &arena, &err), "%s", err.text);
    for (size_t t = 0; t < surface.triangle_count; t++)
        cr_assert_float_eq(values[t], 7, 1e-12);
    cr_expect_gt(surface.error, 0);
}

static bool reads(const unsigned char *bytes, size_t count)
{
    struct arena room = arena;
    struct stored_surface surface;
    struct error none = {0};
    int fd = memfd_create("copy", 0);
    cr_assert_eq(write(fd, bytes, count), (ssize_t)count);
    bool ok = stored_surface_read(fd, count, &surface, &room, &none);
    cr_expect(ok || none.code == ERROR_STORE || none.code == ERROR_LIMIT, "%s", none.text);
    close(fd);
    return ok;
}

Test(reading, reading_refuses_what_is_cut_off)
{
    struct mesh cube = fixture_cube(&arena, 2);
    uint64_t bytes;
    int fd = surface_fd(&cube, 1000, &bytes);
    unsigned char *copy = arena_alloc(&arena, bytes, 1, 8);
    cr_assert_eq(pread(fd, copy, bytes, 0), (ssize_t)bytes);
    close(fd);
    cr_expect(reads(copy, bytes));
    for (size_t count = 0; count < bytes; count++)
        cr_expect_not(reads(copy, count), "%zu bytes of %zu", count, (size_t)bytes);
}

/* Whatever single byte is another one: read, or refused, and never beyond the file (the sanitizers look). */
Test(reading, reading_survives_every_byte_turned)
{
    struct mesh cube = fixture_cube(&arena, 2);
    uint64_t bytes;
    int fd = surface_fd(&cube, 1000, &bytes);
    unsigned char *copy = arena_alloc(&arena, bytes, 1, 8);
    cr_assert_eq(pread(fd, copy, bytes, 0), (ssize_t)bytes);
    close(fd);
    for (size_t i = 0; i < bytes; i++) {
        copy[i] ^= 0xff;
        reads(copy, bytes);
        copy[i] ^= 0xff;
    }
    copy[0] ^= 1;
    cr_expect_not(reads(copy, bytes), "another form of file");
}

enum { SIDE = 40 };
struct picture {
    uint32_t pixels[SIDE * SIDE];
    float depths[SIDE * SIDE];
};

static void draw(const struct stored_surface *surface, struct surface_look look, const double *values,
                 struct picture *picture)
{
    look.width = 4;
    cr_assert(
        surface_draw(surface, &look, values, 1, SIDE, SIDE, picture->pixels, picture->depths, arena, &err),
        "%s", err.text);
}

static size_t covered(const struct picture *picture)
{
    size_t count = 0;
    for (size_t i = 0; i < SIDE * SIDE; i++)
        count += picture->depths[i] > -INFINITY;
    return count;
}

Test(view, view_of_a_cube_covers_a_quarter_of_twice_its_side_from_every_side)
{
    struct mesh cube = fixture_cube(&arena, 2);
    struct stored_surface surface = read_back(&cube, 1000);
    struct picture picture;
    for (int side = 0; side < SIDE_COUNT; side++) {
        draw(&surface, surface_look_from((enum surface_side)side), NULL, &picture);
        cr_expect_eq(covered(&picture), SIDE * SIDE / 4, "side %d: %zu", side, covered(&picture));
        cr_expect_float_eq(picture.depths[SIDE * SIDE / 2 + SIDE / 2], 1, 1e-3);
    }
}

Test(view, view_shows_each_side_the_face_that_is_turned_to_it)
{
    struct mesh cube = fixture_cube(&arena, 2);
    struct stored_surface surface = read_back(&cube, 1000);
    struct picture picture;
    for (int side = 0; side < SIDE_COUNT; side++) {
        struct surface_look look = surface_look_from((enum surface_side)side);
        double values[12];
        for (size_t t = 0; t < 12; t++) { /* 1 where all corners are on that side */
            values[t] = 1;
            for (int i = 0; i < 3; i++)
                if (vec3_dot(surface.positions[surface.triangles[t][i]], look.towards) < 0.9)
                    values[t] = 0;
        }
        draw(&surface, look, values, &picture);
        uint32_t middle = picture.pixels[SIDE * SIDE / 2 + SIDE / 2];
        cr_expect_leq(middle & 255, 0x71, "side %d: %06x", side, middle & 0xffffff);
        cr_expect_leq(middle >> 16 & 255, 0x1f);
    }
}

Test(view, view_leaves_away_what_stands_too_far_before_the_centre)
{
    struct mesh cube = fixture_cube(&arena, 2);
    struct stored_surface surface = read_back(&cube, 1000);
    struct surface_look look = surface_look_from(SIDE_FRONT);
    struct picture picture;
    look.ahead = 0.5;
    draw(&surface, look, NULL, &picture);
    cr_expect_float_eq(picture.depths[SIDE * SIDE / 2 + SIDE / 2], -1, 1e-3);
}

Test(view, view_along_any_direction_is_orthonormal_and_right_handed)
{
    static const vec3 directions[] = {{0, -1, 0}, {0, 0, 1}, {0, 0, -1}, {0.6, 0, 0.8}, {0, 0.28, -0.96}};
    for (size_t i = 0; i < sizeof directions / sizeof directions[0]; i++) {
        struct surface_look look = surface_look_along(directions[i]);
        vec3 third = vec3_cross(look.right, look.up);
        cr_expect_float_eq(vec3_length(look.right), 1, 1e-12);
        cr_expect_float_eq(vec3_length(look.up), 1, 1e-12);
        cr_expect_lt(vec3_distance(third, directions[i]), 1e-12);
    }
}

Test(view, view_outward_at_a_corner_of_a_cube_is_its_diagonal)
{
    struct mesh cube = fixture_cube(&arena, 2);
    struct mesh fanned = cube;
    struct stored_surface surface = read_back(&fanned, 1000);
    vec3 out = stored_surface_outward(&surface, (vec3){1.2, 1.2, 1.2});
    cr_expect(out.x > 0.2 && out.y > 0.2 && out.z > 0.2, "%g %g %g", out.x, out.y, out.z);
}

/* Rec. ITU-R BT.601 luma, which grey printing goes by. */
static double luma(uint32_t colour)
{
    return 0.299 * (colour >> 16 & 255) + 0.587 * (colour >> 8 & 255) + 0.114 * (colour & 255);
}

Test(map, map_grows_darker_all_the_way)
{
    for (int i = 0; i < 100; i++)
        cr_expect_lt(luma(surface_colour((i + 1) / 100.0)), luma(surface_colour(i / 100.0)), "at %d %%", i);
    cr_expect_eq(surface_colour(0), 0xfef2f3);
    cr_expect_eq(surface_colour(2), 0x1f1f71, "what lies beyond has the last colour");
    cr_expect_eq(surface_colour(-1), 0xfef2f3);
}
