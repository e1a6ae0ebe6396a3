/* surface_view.c - a depth buffer of finer pixels, averaged; outlines where the depth leaps. */
#include "picture/surface_view.h"

#include "picture/surface.h"
#include "picture/surface_corner.h"

#include <assert.h>
#include <endian.h>
#include <errno.h>
#include <math.h>
#include <string.h>
#include <unistd.h>

#define FINER 2          /* pixels of the depth buffer along one pixel of the picture */
#define LEAP 0.02        /* of the picture's width: a larger step in depth is outlined */
#define OUTLINE 0.35     /* of the light beside it */
#define LIT_LEAST 0.86   /* of a coloured face that light hardly meets */
#define PLAIN_LEAST 0.45 /* of a plain one */
#define INSIDE 0.8       /* of the light that the outside has */

/* --- reading --- */

/* Places in surface.h's table of sections. */
enum { VERTICES, COARSEST, COARSE, TRIANGLES, FACES, SOURCES, SECTIONS = 11 };
enum { FLAG_SIMPLIFIED = 1, FLAG_FACES = 2 };
#define VERTEX_BYTES 8

struct head {
    uint32_t flags, vertex_count, triangle_count;
    double origin[3], step, error;
    uint64_t face_count, sections[SECTIONS];
};

static bool damaged(struct error *err)
{
    return error_set(err, ERROR_STORE,
                     "a stored surface does not hold together; measure the version again to have it anew");
}

static uint32_t u32_at(const unsigned char *bytes)
{
    uint32_t value;
    memcpy(&value, bytes, sizeof value);
    return le32toh(value);
}

static uint64_t u64_at(const unsigned char *bytes)
{
    uint64_t value;
    memcpy(&value, bytes, sizeof value);
    return le64toh(value);
}

static double real_at(const unsigned char *bytes)
{
    uint64_t bits = u64_at(bytes);
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static bool read_all(int fd, void *bytes, size_t count, uint64_t offset, struct error *err)
{
    unsigned char *at = bytes;
    while (count) {
        ssize_t got = pread(fd, at, count, (off_t)offset);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return error_set(err, ERROR_MACHINE, "a stored surface cannot be read: %s", strerror(errno));
        if (got == 0)
            return damaged(err);
        at += got;
        offset += (uint64_t)got;
        count -= (size_t)got;
    }
    return true;
}

/* Whether a section has room for `count` things of `each` bytes, and begins where words may. */
static bool section_holds(const struct head *head, int section, uint64_t count, uint64_t each)
{
    uint64_t begin = head->sections[section], end = head->sections[section + 1];
    return begin % 8 == 0 && end >= begin && (end - begin) / each >= count;
}

static bool head_is_whole(const struct head *head, uint64_t bytes)
{
    for (int i = 0; i + 1 < SECTIONS; i++)
        if (head->sections[i] > head->sections[i + 1])
            return false;
    bool has_faces = head->flags & FLAG_FACES, simplified = head->flags & FLAG_SIMPLIFIED;
    if (head->sections[0] < SURFACE_HEADER_BYTES || head->sections[SECTIONS - 1] > bytes)
        return false;
    for (int i = 0; i < 3; i++)
        if (!isfinite(head->origin[i]))
            return false;
    return isfinite(head->step) && head->step >= 0 && head->error >= 0
           && section_holds(head, VERTICES, head->vertex_count, VERTEX_BYTES)
           && section_holds(head, TRIANGLES, head->triangle_count, 12)
           && (!has_faces
               || section_holds(head, FACES, simplified ? head->vertex_count : head->triangle_count, 4))
           && (has_faces || (!simplified && head->triangle_count <= head->face_count));
}

static bool read_head(int fd, uint64_t bytes, struct head *head, struct error *err)
{
    unsigned char raw[SURFACE_HEADER_BYTES];
    if (bytes < sizeof raw)
        return damaged(err);
    if (!read_all(fd, raw, sizeof raw, 0, err))
        return false;
    if (memcmp(raw, "fettleS3", 8) != 0)
        return damaged(err);
    head->flags = u32_at(raw + 12);
    head->vertex_count = u32_at(raw + 16);
    head->triangle_count = u32_at(raw + 20);
    for (int i = 0; i < 3; i++)
        head->origin[i] = real_at(raw + 40 + 8 * i);
    head->step = real_at(raw + 64);
    head->error = real_at(raw + 80);
    head->face_count = u64_at(raw + 88);
    for (int i = 0; i < SECTIONS; i++)
        head->sections[i] = u64_at(raw + 96 + 8 * i);
    return head_is_whole(head, bytes) || damaged(err);
}

static bool read_words(int fd, uint64_t offset, size_t count, uint32_t below, uint32_t **words,
                       struct arena *keep, struct error *err)
{
    *words = ARENA_NEW(keep, uint32_t, count);
    if (!*words)
        return arena_error(err);
    if (!read_all(fd, *words, 4 * count, offset, err))
        return false;
    for (size_t i = 0; i < count; i++) {
        (*words)[i] = le32toh((*words)[i]);
        if ((*words)[i] >= below)
            return damaged(err);
    }
    return true;
}

static bool read_positions(int fd, const struct head *head, struct stored_surface *surface,
                           struct arena *keep, struct error *err)
{
    const struct corner_grid grid = {{head->origin[0], head->origin[1], head->origin[2]}, head->step};
    unsigned char *raw;
    surface->positions = ARENA_NEW(keep, vec3, head->vertex_count);
    struct arena scratch = *keep;
    raw = arena_alloc(&scratch, head->vertex_count, VERTEX_BYTES, 8);
    if (!surface->positions || !raw)
        return arena_error(err);
    if (!read_all(fd, raw, (size_t)head->vertex_count * VERTEX_BYTES, head->sections[VERTICES], err))
        return false;
    surface->box = aabb_empty();
    for (size_t v = 0; v < head->vertex_count; v++) {
        struct surface_corner corner = {{0}, {0}};
        for (int i = 0; i < 3; i++)
            corner.place[i] = (uint16_t)(raw[VERTEX_BYTES * v + 2 * (size_t)i]
                                         | raw[VERTEX_BYTES * v + 2 * (size_t)i + 1] << 8);
        surface->positions[v] = surface_corner_place(&grid, &corner);
        surface->box = aabb_include(surface->box, surface->positions[v]);
    }
    return true;
}

bool stored_surface_read(int fd, uint64_t bytes, struct stored_surface *surface, struct arena *keep,
                         struct error *err)
{
    struct head head = {0};
    uint32_t *triangles, *faces = NULL;
    if (!read_head(fd, bytes, &head, err))
        return false;
    *surface = (struct stored_surface){.vertex_count = head.vertex_count,
                                       .triangle_count = head.triangle_count,
                                       .face_count = head.face_count,
                                       .is_simplified = head.flags & FLAG_SIMPLIFIED,
                                       .error = head.error};
    uint32_t face_end = head.face_count > UINT32_MAX ? UINT32_MAX : (uint32_t)head.face_count;
    size_t face_words = surface->is_simplified ? head.vertex_count : head.triangle_count;
    if (head.triangle_count == 0)
        return damaged(err);
    if (!read_positions(fd, &head, surface, keep, err)
        || !read_words(fd, head.sections[TRIANGLES], 3 * (size_t)head.triangle_count, head.vertex_count,
                       &triangles, keep, err)
        || ((head.flags & FLAG_FACES)
            && !read_words(fd, head.sections[FACES], face_words, face_end, &faces, keep, err)))
        return false;
    surface->triangles = (const uint32_t(*)[3])triangles;
    surface->faces = faces;
    return true;
}

bool stored_surface_values(const struct stored_surface *surface, const double *face_values, double **values,
                           struct arena *keep, struct error *err)
{
    double *made = ARENA_NEW(keep, double, surface->triangle_count);
    if (!made)
        return arena_error(err);
    for (size_t t = 0; t < surface->triangle_count; t++) {
        const uint32_t *corners = surface->triangles[t];
        if (!surface->is_simplified)
            made[t] = face_values[surface->faces ? surface->faces[t] : t];
        else
            made[t] =
                fmax(face_values[surface->faces[corners[0]]],
                     fmax(face_values[surface->faces[corners[1]]], face_values[surface->faces[corners[2]]]));
    }
    *values = made;
    return true;
}

vec3 stored_surface_outward(const struct stored_surface *surface, vec3 place)
{
    size_t nearest = 0;
    double least = INFINITY;
    vec3 sum = {0, 0, 0};
    for (size_t v = 0; v < surface->vertex_count; v++) {
        vec3 off = vec3_sub(surface->positions[v], place);
        double far = vec3_dot(off, off);
        if (far < least) {
            least = far;
            nearest = v;
        }
    }
    for (size_t t = 0; t < surface->triangle_count; t++) {
        const uint32_t *c = surface->triangles[t];
        if (c[0] != nearest && c[1] != nearest && c[2] != nearest)
            continue;
        vec3 a = surface->positions[c[0]];
        sum = vec3_add(
            sum, vec3_cross(vec3_sub(surface->positions[c[1]], a), vec3_sub(surface->positions[c[2]], a)));
    }
    double length = vec3_length(sum);
    return length > 0 && isfinite(length) ? vec3_scale(sum, 1 / length) : (vec3){0, -1, 0};
}

/* --- looking --- */

struct surface_look surface_look_from(enum surface_side side)
{
    static const struct surface_look looks[SIDE_COUNT] = {
        [SIDE_FRONT] = {.right = {1, 0, 0}, .up = {0, 0, 1}, .towards = {0, -1, 0}, .ahead = INFINITY},
        [SIDE_RIGHT] = {.right = {0, 1, 0}, .up = {0, 0, 1}, .towards = {1, 0, 0}, .ahead = INFINITY},
        [SIDE_BACK] = {.right = {-1, 0, 0}, .up = {0, 0, 1}, .towards = {0, 1, 0}, .ahead = INFINITY},
        [SIDE_LEFT] = {.right = {0, -1, 0}, .up = {0, 0, 1}, .towards = {-1, 0, 0}, .ahead = INFINITY},
        [SIDE_ABOVE] = {.right = {1, 0, 0}, .up = {0, 1, 0}, .towards = {0, 0, 1}, .ahead = INFINITY},
        [SIDE_BELOW] = {.right = {1, 0, 0}, .up = {0, -1, 0}, .towards = {0, 0, -1}, .ahead = INFINITY},
    };
    return looks[side];
}

struct surface_look surface_look_along(vec3 towards)
{
    vec3 upwards = fabs(towards.z) < 0.95 ? (vec3){0, 0, 1} : (vec3){0, 1, 0};
    vec3 right = vec3_cross(upwards, towards);
    struct surface_look look = {
        .right = vec3_scale(right, 1 / vec3_length(right)), .towards = towards, .ahead = INFINITY};
    look.up = vec3_cross(towards, look.right);
    return look;
}

static double extent_along(vec3 axis, aabb box)
{
    vec3 size = vec3_sub(box.max, box.min);
    return fabs(axis.x) * size.x + fabs(axis.y) * size.y + fabs(axis.z) * size.z;
}

void surface_look_extent(const struct surface_look *look, aabb box, double *width, double *height)
{
    *width = extent_along(look->right, box);
    *height = extent_along(look->up, box);
}

/* lapaz of F. Crameri 2018, "Scientific colour maps", doi 10.5281/zenodo.1243862, reversed and cut: its
 * lightness falls from stop to stop, so that it reads in grey too. */
const uint8_t surface_colours[SURFACE_COLOURS][3] = {
    {0xfe, 0xf2, 0xf3}, {0xec, 0xd0, 0xbd}, {0xba, 0xaf, 0x97}, {0x8d, 0xa0, 0x99}, {0x65, 0x91, 0xa2},
    {0x44, 0x7a, 0xa2}, {0x31, 0x5e, 0x99}, {0x27, 0x3f, 0x87}, {0x1f, 0x1f, 0x71}};

uint32_t surface_colour(double share)
{
    double at = (share > 0 ? share < 1 ? share : 1 : 0) * (SURFACE_COLOURS - 1);
    int low = (int)at;
    if (low > SURFACE_COLOURS - 2)
        low = SURFACE_COLOURS - 2;
    uint32_t colour = 0;
    for (int i = 0; i < 3; i++) {
        double a = surface_colours[low][i], b = surface_colours[low + 1][i];
        colour = colour << 8 | (uint32_t)(a + (b - a) * (at - low) + 0.5);
    }
    return colour;
}

/* --- drawing --- */

#define PLATE 0xd9dfddu
#define PLAIN 0xe9e6deu
#define UNKNOWN 0x8a8a8au

struct canvas {
    size_t width, height; /* finer pixels */
    float *depths;
    uint32_t *colours;
    float (*seen)[3]; /* of the vertices: x, y down, depth; finer pixels */
    float ahead;      /* the greatest depth that is drawn */
};

static void see_all(const struct stored_surface *surface, const struct surface_look *look,
                    struct canvas *canvas)
{
    double scale = (double)canvas->width / look->width;
    canvas->ahead = (float)(look->ahead * scale);
    for (size_t v = 0; v < surface->vertex_count; v++) {
        vec3 p = vec3_scale(vec3_sub(surface->positions[v], look->centre), scale);
        canvas->seen[v][0] = (float)(0.5 * (double)canvas->width + vec3_dot(p, look->right));
        canvas->seen[v][1] = (float)(0.5 * (double)canvas->height - vec3_dot(p, look->up));
        canvas->seen[v][2] = (float)vec3_dot(p, look->towards);
    }
}

static uint32_t darken(uint32_t colour, double by)
{
    uint32_t r = (uint32_t)((colour >> 16 & 255) * by), g = (uint32_t)((colour >> 8 & 255) * by),
             b = (uint32_t)((colour & 255) * by);
    return r << 16 | g << 8 | b;
}

/* Light comes over the left shoulder. */
static double light_on(const float a[3], const float b[3], const float c[3], double least)
{
    vec3 ab = {b[0] - a[0], a[1] - b[1], b[2] - a[2]}, ac = {c[0] - a[0], a[1] - c[1], c[2] - a[2]};
    vec3 normal = vec3_cross(ab, ac);
    double length = vec3_length(normal);
    if (!(length > 0))
        return least;
    double side = normal.z > 0 ? 1 : -1;
    double lambert = side * vec3_dot(normal, (vec3){-0.349, 0.548, 0.758}) / length;
    return (least + (1 - least) * (lambert > 0 ? lambert : 0)) * (side > 0 ? 1 : INSIDE);
}

static size_t pixel_from(double at, size_t end)
{
    return !(at > 0) ? 0 : at >= (double)end ? end : (size_t)at;
}

static double least_of(double a, double b, double c)
{
    return a < b ? (a < c ? a : c) : b < c ? b : c;
}

/* The pixels whose middles may lie in a triangle. */
struct pixel_range {
    size_t x_begin, x_end, y_begin, y_end;
};

/* False where there are none: so it is with most triangles of a large surface. */
static bool range_of(const struct canvas *canvas, const float a[3], const float b[3], const float c[3],
                     struct pixel_range *range)
{
    range->x_begin = pixel_from(least_of(a[0], b[0], c[0]) + 0.5, canvas->width);
    range->x_end = pixel_from(0.5 - least_of(-a[0], -b[0], -c[0]), canvas->width);
    range->y_begin = pixel_from(least_of(a[1], b[1], c[1]) + 0.5, canvas->height);
    range->y_end = pixel_from(0.5 - least_of(-a[1], -b[1], -c[1]), canvas->height);
    return range->x_begin < range->x_end && range->y_begin < range->y_end;
}

static void fill(struct canvas *canvas, const struct pixel_range *range, const float a[3], const float b[3],
                 const float c[3], uint32_t colour)
{
    double area =
        ((double)b[0] - a[0]) * ((double)c[1] - a[1]) - ((double)b[1] - a[1]) * ((double)c[0] - a[0]);
    if (!(fabs(area) > 0))
        return;
    double unit = 1 / area;
    for (size_t y = range->y_begin; y < range->y_end; y++)
        for (size_t x = range->x_begin; x < range->x_end; x++) {
            double px = (double)x + 0.5, py = (double)y + 0.5;
            double wa = ((b[0] - px) * (c[1] - py) - (b[1] - py) * (c[0] - px)) * unit;
            double wb = ((c[0] - px) * (a[1] - py) - (c[1] - py) * (a[0] - px)) * unit;
            double wc = 1 - wa - wb;
            if (wa < 0 || wb < 0 || wc < 0)
                continue;
            float depth = (float)(wa * a[2] + wb * b[2] + wc * c[2]);
            size_t pixel = y * canvas->width + x;
            if (depth <= canvas->depths[pixel] || depth > canvas->ahead)
                continue;
            canvas->depths[pixel] = depth;
            canvas->colours[pixel] = colour;
        }
}

static uint32_t colour_of(const double *values, size_t t, double top)
{
    return !values ? PLAIN : isnan(values[t]) ? UNKNOWN : surface_colour(top > 0 ? values[t] / top : 0);
}

static void fill_all(const struct stored_surface *surface, const double *values, double top,
                     struct canvas *canvas)
{
    for (size_t t = 0; t < surface->triangle_count; t++) {
        const uint32_t *c = surface->triangles[t];
        const float *p = canvas->seen[c[0]], *q = canvas->seen[c[1]], *r = canvas->seen[c[2]];
        struct pixel_range range;
        if (range_of(canvas, p, q, r, &range))
            fill(canvas, &range, p, q, r,
                 darken(colour_of(values, t, top), light_on(p, q, r, values ? LIT_LEAST : PLAIN_LEAST)));
    }
}

/* Whether the surface ends or leaps away from the eye beside a pixel. */
static bool is_outline(const struct canvas *canvas, size_t x, size_t y)
{
    const size_t w = canvas->width, pixel = y * w + x;
    const float here = canvas->depths[pixel], leap = (float)(LEAP * (double)w);
    return (x > 0 && here - canvas->depths[pixel - 1] > leap)
           || (x + 1 < w && here - canvas->depths[pixel + 1] > leap)
           || (y > 0 && here - canvas->depths[pixel - w] > leap)
           || (y + 1 < canvas->height && here - canvas->depths[pixel + w] > leap);
}

static uint32_t colour_at(const struct canvas *canvas, size_t x, size_t y)
{
    size_t pixel = y * canvas->width + x;
    if (canvas->depths[pixel] == -INFINITY)
        return PLATE;
    return is_outline(canvas, x, y) ? darken(canvas->colours[pixel], OUTLINE) : canvas->colours[pixel];
}

static void average(const struct canvas *canvas, double unit, size_t width, size_t height, uint32_t *pixels,
                    float *depths)
{
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            uint32_t sum[3] = {0, 0, 0};
            float nearest = -INFINITY;
            for (size_t i = 0; i < FINER * FINER; i++) {
                size_t fx = FINER * x + i % FINER, fy = FINER * y + i / FINER;
                uint32_t colour = colour_at(canvas, fx, fy);
                float depth = canvas->depths[fy * canvas->width + fx];
                sum[0] += colour >> 16 & 255;
                sum[1] += colour >> 8 & 255;
                sum[2] += colour & 255;
                nearest = depth > nearest ? depth : nearest;
            }
            uint32_t pixel = 255;
            for (int i = 0; i < 3; i++)
                pixel = pixel << 8 | (sum[i] + FINER * FINER / 2) / (FINER * FINER);
            pixels[y * width + x] = pixel;
            if (depths)
                depths[y * width + x] = (float)(nearest * unit);
        }
}

bool surface_draw(const struct stored_surface *surface, const struct surface_look *look, const double *values,
                  double top, size_t width, size_t height, uint32_t *pixels, float *depths,
                  struct arena scratch, struct error *err)
{
    struct canvas canvas = {.width = FINER * width, .height = FINER * height};
    size_t count = canvas.width * canvas.height;
    assert(look->width > 0);
    canvas.depths = ARENA_NEW(&scratch, float, count);
    canvas.colours = ARENA_NEW(&scratch, uint32_t, count);
    canvas.seen = arena_alloc(&scratch, surface->vertex_count, sizeof *canvas.seen, _Alignof(float));
    if (!canvas.depths || !canvas.colours || !canvas.seen)
        return arena_error(err);
    for (size_t i = 0; i < count; i++)
        canvas.depths[i] = -INFINITY;
    see_all(surface, look, &canvas);
    fill_all(surface, values, top, &canvas);
    average(&canvas, look->width / (double)canvas.width, width, height, pixels, depths);
    return true;
}
