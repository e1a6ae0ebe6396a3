/* test_thumbnail.c
 *   drawn_*   pixels that are known on paper: where something is, and how light
 *   same_*    the same mesh gives the same bytes
 */
#include <cairo/cairo.h>
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "picture/thumbnail.h"
#include "support/fixture_shapes.h"

#define WIDTH 120
#define HEIGHT 90

static int thumbnail_of(const struct mesh *mesh)
{
    struct arena scratch;
    struct error err = {0};
    int fd = memfd_create("thumbnail", 0);

    cr_assert(arena_open(&scratch, (size_t)1 << 28, &err));
    cr_assert(thumbnail_write(mesh, WIDTH, HEIGHT, fd, scratch, &err), "%s", err.text);
    arena_close(&scratch);
    return fd;
}

struct reading {
    int fd;
    off_t at;
};

static cairo_status_t give(void *closure, unsigned char *bytes, unsigned count)
{
    struct reading *reading = closure;
    ssize_t got = pread(reading->fd, bytes, count, reading->at);

    reading->at += got > 0 ? got : 0;
    return got == (ssize_t)count ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_READ_ERROR;
}

/* Alpha in the upper byte, grey times alpha in the lowest. */
static uint32_t pixel(int fd, int x, int y)
{
    struct reading reading = {fd, 0};
    cairo_surface_t *image = cairo_image_surface_create_from_png_stream(give, &reading);
    uint32_t value;

    cr_assert(cairo_surface_status(image) == CAIRO_STATUS_SUCCESS);
    cr_assert(cairo_image_surface_get_width(image) == WIDTH);
    memcpy(&value, cairo_image_surface_get_data(image) + y * cairo_image_surface_get_stride(image) + 4 * x,
           4);
    cairo_surface_destroy(image);
    return value;
}

static unsigned alpha(uint32_t value)
{
    return value >> 24;
}

static unsigned grey(uint32_t value)
{
    return value & 255;
}

Test(thumbnail, drawn_cube_fills_the_middle_and_leaves_the_corners)
{
    struct mesh cube = fixture_cube(fixture_arena(), 2);
    int fd = thumbnail_of(&cube);

    cr_expect(eq(uint, alpha(pixel(fd, WIDTH / 2, HEIGHT / 2)), 255));
    cr_expect(eq(uint, alpha(pixel(fd, 0, 0)), 0));
    cr_expect(eq(uint, alpha(pixel(fd, WIDTH - 1, HEIGHT - 1)), 0));
    close(fd);
}

/* Light comes from above on the left: of the three sides of a cube that are seen the top is the lightest, the
 * right one the darkest. */
Test(thumbnail, drawn_cube_is_lightest_on_top)
{
    struct mesh cube = fixture_cube(fixture_arena(), 2);
    int fd = thumbnail_of(&cube);
    unsigned top = grey(pixel(fd, WIDTH / 2, HEIGHT / 4)),
             left = grey(pixel(fd, WIDTH / 2 - 20, HEIGHT * 5 / 8)),
             right = grey(pixel(fd, WIDTH / 2 + 12, HEIGHT * 5 / 8));

    cr_expect(top > left && left > right, "top %u, left %u, right %u", top, left, right);
    close(fd);
}

Test(thumbnail, same_bytes_each_time)
{
    struct mesh sphere = fixture_uv_sphere(fixture_arena(), 40, 20);
    int one = thumbnail_of(&sphere), two = thumbnail_of(&sphere);
    off_t count = lseek(one, 0, SEEK_END);
    unsigned char a, b;

    cr_expect(eq(sz, (size_t)count, (size_t)lseek(two, 0, SEEK_END)));
    for (off_t i = 0; i < count; i++)
        cr_assert(pread(one, &a, 1, i) == 1 && pread(two, &b, 1, i) == 1 && a == b, "byte %lld",
                  (long long)i);
    close(one);
    close(two);
}
