/* thumbnail.c - a depth buffer of finer pixels, averaged; cairo makes a PNG of it. */
#include "picture/thumbnail.h"

#include "picture/picture_file.h"

#include <cairo/cairo.h>
#include <string.h>

#define FINER 3             /* pixels of the depth buffer along one pixel of the picture */
#define MARGIN 0.04         /* of the picture, on each side */
#define EDGE_PIXELS_MIN 4.0 /* of the picture: where the median side is shorter, no sides are drawn */
#define EDGE_HALF 0.7       /* of the width of a line, in finer pixels */
#define AMBIENT 0.42
#define INSIDE 0.45 /* of the light that the outside has */
#define LINE 0.35   /* of the light beside it */

/* Right, up and towards the eye; orthonormal: from (-0.5, -0.7, 0.5), up is z. */
static const vec3 right = {0.8137334712067349, -0.5812381937190965, 0};
static const vec3 up = {0.2920831821803257, 0.4089164550524559, 0.8645662192537639};
static const vec3 towards = {-0.502518907629606, -0.7035264706814484, 0.502518907629606};
static const vec3 light = {-0.35, 0.55, 0.76}; /* as the picture lies: right, up, towards the eye */

struct seen {
    double x, y, depth; /* finer pixels, down; larger depths are nearer */
};

struct drawing {
    const struct mesh *mesh;
    struct triangulation triangulation;
    size_t width, height; /* of the depth buffer */
    vec3 centre;
    double scale;                  /* finer pixels a unit */
    bool sides;                    /* are drawn */
    float *depths;                 /* [height][width] */
    unsigned char *greys, *covers; /* light, and whether anything is there */
};

static struct seen see(const struct drawing *drawing, uint32_t v)
{
    vec3 p = vec3_scale(vec3_sub(drawing->mesh->positions[v], drawing->centre), drawing->scale);

    return (struct seen){0.5 * (double)drawing->width + vec3_dot(p, right),
                         0.5 * (double)drawing->height - vec3_dot(p, up), vec3_dot(p, towards)};
}

/* Twice the signed area of the triangle a, b, p: positive where p is to the left, seen with y down to the
 * right. */
static double cross(struct seen a, struct seen b, double x, double y)
{
    return (b.x - a.x) * (y - a.y) - (b.y - a.y) * (x - a.x);
}

/* Whether corners i and i + 1 of triangle t are ends of a side of its face, not of a cut through it. */
static bool is_side(const struct drawing *drawing, size_t t, int i)
{
    const uint32_t *corners = drawing->triangulation.corners[t];
    uint32_t from = corners[i], to = corners[(i + 1) % 3], f = triangulation_face(&drawing->triangulation, t);
    const uint32_t *face = mesh_face(drawing->mesh, f);
    size_t size = mesh_face_size(drawing->mesh, f);

    for (size_t c = 0; c < size; c++)
        if (face[c] == from && face[(c + 1) % size] == to)
            return true;
    return false;
}

static double clamp(double value, double low, double high)
{
    return value < low ? low : value > high ? high : value;
}

/* How light a face is: by its normal as the picture lies, of the side that is seen. */
static double light_of(const struct seen *p, bool *outside)
{
    vec3 ab = {p[1].x - p[0].x, p[0].y - p[1].y, p[1].depth - p[0].depth},
         ac = {p[2].x - p[0].x, p[0].y - p[2].y, p[2].depth - p[0].depth}, normal = vec3_cross(ab, ac);
    double length = vec3_length(normal);

    if (!(length > 0))
        return AMBIENT;
    *outside = normal.z > 0;
    normal = vec3_scale(normal, (*outside ? 1 : -1) / length);
    double lambert = clamp(vec3_dot(normal, light) / vec3_length(light), 0, 1);
    return (AMBIENT + (1 - AMBIENT) * lambert) * (*outside ? 1 : INSIDE);
}

static void draw_triangle(struct drawing *drawing, size_t t)
{
    struct seen p[3];
    bool side[3], outside = true;
    double length[3];

    for (int i = 0; i < 3; i++)
        p[i] = see(drawing, drawing->triangulation.corners[t][i]);
    double lightness = light_of(p, &outside), area = cross(p[0], p[1], p[2].x, p[2].y);
    if (!(fabs(area) > 0))
        return;
    for (int i = 0; i < 3; i++) {
        const struct seen *q = &p[(i + 1) % 3];
        side[i] = drawing->sides && is_side(drawing, t, i);
        length[i] = sqrt((q->x - p[i].x) * (q->x - p[i].x) + (q->y - p[i].y) * (q->y - p[i].y));
    }
    double left = fmin(p[0].x, fmin(p[1].x, p[2].x)), last = fmax(p[0].x, fmax(p[1].x, p[2].x)),
           top = fmin(p[0].y, fmin(p[1].y, p[2].y)), bottom = fmax(p[0].y, fmax(p[1].y, p[2].y));
    size_t x_begin = (size_t)clamp(floor(left), 0, (double)drawing->width),
           x_end = (size_t)clamp(ceil(last), 0, (double)drawing->width),
           y_begin = (size_t)clamp(floor(top), 0, (double)drawing->height),
           y_end = (size_t)clamp(ceil(bottom), 0, (double)drawing->height);
    for (size_t y = y_begin; y < y_end; y++)
        for (size_t x = x_begin; x < x_end; x++) {
            double at_x = (double)x + 0.5, at_y = (double)y + 0.5, weight[3], shade = lightness;
            for (int i = 0; i < 3; i++)
                weight[(i + 2) % 3] = cross(p[i], p[(i + 1) % 3], at_x, at_y) / area;
            if (weight[0] < 0 || weight[1] < 0 || weight[2] < 0)
                continue;
            float depth = (float)(weight[0] * p[0].depth + weight[1] * p[1].depth + weight[2] * p[2].depth);
            size_t pixel = y * drawing->width + x;
            if (drawing->covers[pixel] && depth <= drawing->depths[pixel])
                continue;
            for (int i = 0; i < 3; i++)
                if (side[i] && weight[(i + 2) % 3] * fabs(area) < EDGE_HALF * length[i])
                    shade = lightness * LINE;
            drawing->depths[pixel] = depth;
            drawing->covers[pixel] = 1;
            drawing->greys[pixel] = (unsigned char)(255 * clamp(shade, 0, 1) + 0.5);
        }
}

/* Centre and scale, so that the mesh fills the picture. */
static void fit(struct drawing *drawing)
{
    const struct triangulation *triangulation = &drawing->triangulation;
    aabb box = aabb_empty(), view = aabb_empty();

    for (size_t t = 0; t < triangulation->triangle_count; t++)
        for (int i = 0; i < 3; i++)
            box = aabb_include(box, drawing->mesh->positions[triangulation->corners[t][i]]);
    vec3 middle = aabb_centre(box);
    for (size_t t = 0; t < triangulation->triangle_count; t++)
        for (int i = 0; i < 3; i++) {
            vec3 p = vec3_sub(drawing->mesh->positions[triangulation->corners[t][i]], middle);
            view = aabb_include(view, (vec3){vec3_dot(p, right), vec3_dot(p, up), vec3_dot(p, towards)});
        }
    vec3 extent = vec3_sub(view.max, view.min), shift = aabb_centre(view);
    double across = extent.x / ((1 - 2 * MARGIN) * (double)drawing->width),
           along = extent.y / ((1 - 2 * MARGIN) * (double)drawing->height), unit = fmax(across, along);
    drawing->centre = vec3_add(middle, vec3_add(vec3_scale(right, shift.x), vec3_scale(up, shift.y)));
    drawing->scale = unit > 0 ? 1 / unit : 1;
}

/* Sides are drawn where the mean one is long enough to be told from the next. */
static bool sides_are_long(const struct drawing *drawing)
{
    const struct mesh *mesh = drawing->mesh;
    double sum = 0;

    for (size_t f = 0; f < mesh->face_count; f++) {
        struct seen a = see(drawing, mesh_face(mesh, f)[0]), b = see(drawing, mesh_face(mesh, f)[1]);
        sum += sqrt((b.x - a.x) * (b.x - a.x) + (b.y - a.y) * (b.y - a.y));
    }
    return sum > EDGE_PIXELS_MIN * FINER * (double)mesh->face_count;
}

/* Averages FINER x FINER pixels into one of cairo's: alpha, then grey times alpha. */
static void average(const struct drawing *drawing, unsigned char *bytes, size_t stride)
{
    const unsigned all = FINER * FINER;

    for (size_t y = 0; y < drawing->height / FINER; y++)
        for (size_t x = 0; x < drawing->width / FINER; x++) {
            unsigned grey = 0, cover = 0;
            for (size_t j = 0; j < FINER; j++)
                for (size_t i = 0; i < FINER; i++) {
                    size_t pixel = (FINER * y + j) * drawing->width + FINER * x + i;
                    cover += drawing->covers[pixel];
                    grey += drawing->covers[pixel] ? drawing->greys[pixel] : 0;
                }
            uint32_t alpha = (255 * cover + all / 2) / all, value = (grey + all / 2) / all;
            uint32_t argb = alpha << 24 | value << 16 | value << 8 | value;
            memcpy(bytes + y * stride + 4 * x, &argb, sizeof argb);
        }
}

struct stream {
    int fd;
    uint64_t offset;
    struct error *err;
};

static cairo_status_t take_bytes(void *closure, const unsigned char *bytes, unsigned count)
{
    struct stream *stream = closure;

    if (!picture_write_at(stream->fd, bytes, count, stream->offset, stream->err))
        return CAIRO_STATUS_WRITE_ERROR;
    stream->offset += count;
    return CAIRO_STATUS_SUCCESS;
}

static bool write_png(const struct drawing *drawing, int fd, struct error *err)
{
    struct stream stream = {fd, 0, err};
    cairo_surface_t *image = cairo_image_surface_create(CAIRO_FORMAT_ARGB32, (int)(drawing->width / FINER),
                                                        (int)(drawing->height / FINER));
    cairo_status_t status = cairo_surface_status(image);

    error_set(err, ERROR_MACHINE, "the picture cannot be made: %s", cairo_status_to_string(status));
    if (status == CAIRO_STATUS_SUCCESS) {
        cairo_surface_flush(image);
        average(drawing, cairo_image_surface_get_data(image), (size_t)cairo_image_surface_get_stride(image));
        cairo_surface_mark_dirty(image);
        status = cairo_surface_write_to_png_stream(image, take_bytes, &stream);
    }
    cairo_surface_destroy(image);
    return status == CAIRO_STATUS_SUCCESS;
}

bool thumbnail_write(const struct mesh *mesh, size_t width, size_t height, int fd, struct arena scratch,
                     struct error *err)
{
    struct drawing drawing = {.mesh = mesh, .width = FINER * width, .height = FINER * height};
    size_t pixels = drawing.width * drawing.height;
    struct arena keep;

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &keep))
        return arena_error(err);
    if (!triangulation_build(mesh, &drawing.triangulation, &keep, scratch, err))
        return false;
    drawing.depths = ARENA_NEW(&keep, float, pixels);
    drawing.greys = ARENA_NEW(&keep, unsigned char, pixels);
    drawing.covers = ARENA_ZERO(&keep, unsigned char, pixels);
    if (!drawing.depths || !drawing.greys || !drawing.covers)
        return arena_error(err);
    fit(&drawing);
    drawing.sides = sides_are_long(&drawing);
    for (size_t t = 0; t < drawing.triangulation.triangle_count; t++)
        draw_triangle(&drawing, t);
    return write_png(&drawing, fd, err);
}
