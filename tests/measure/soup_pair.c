/* soup_pair.c - random pairs by kind, the engine's answer, and whether it is true. */
#include "measure/soup_pair.h"

#include "base/mix64.h"
#include "measure/deviation_maximum.h"

#include <float.h>
#include <math.h>
#include <string.h>

#define TRUTH_WIDTH 1e-4 /* of the width wanted of the engine */
#define TRUTH_PARTS 250

const char *const SOUP_KIND_NAMES[SOUP_KINDS] = {
    "general",         "nearly coplanar", "parts that coincide", "shared vertices", "slivers",
    "degenerate",      "any scale",       "far origin",          "on a lattice",    "closed and dented",
    "sheets over one", "other cells",     "two kinds",           "far apart",       "corners moved"};

struct dice {
    uint64_t state;
};

static uint64_t roll(struct dice *dice)
{
    return mix64(dice->state++);
}

static size_t below(struct dice *dice, size_t limit)
{
    return (size_t)(roll(dice) % limit);
}

/* In [-1, 1). */
static double even(struct dice *dice)
{
    return (double)(roll(dice) >> 11) * 0x1p-52 - 1;
}

static vec3 any_point(struct dice *dice)
{
    double x = even(dice), y = even(dice), z = even(dice);

    return (vec3){x, y, z};
}

/* 10 to a random power. */
static double tiny(struct dice *dice, int from, int to)
{
    return pow(10, -(double)from - (double)below(dice, (size_t)(to - from + 1)));
}

static uint32_t add_point(struct soup *soup, vec3 p)
{
    soup->points[soup->point_count] = p;
    return (uint32_t)soup->point_count++;
}

static void add_triangle(struct soup *soup, uint32_t a, uint32_t b, uint32_t c)
{
    uint32_t *corner = soup->triangles[soup->triangle_count++];

    corner[0] = a;
    corner[1] = b;
    corner[2] = c;
}

static void add_apart(struct soup *soup, vec3 a, vec3 b, vec3 c)
{
    uint32_t first = add_point(soup, a);

    add_point(soup, b);
    add_point(soup, c);
    add_triangle(soup, first, first + 1, first + 2);
}

static void add_general(struct soup *soup, struct dice *dice, size_t count)
{
    double size = below(dice, 2) ? 1 : 0.3;

    for (size_t t = 0; t < count; t++) {
        vec3 a = any_point(dice), b = any_point(dice), c = any_point(dice);
        add_apart(soup, a, vec3_lerp(a, b, size), vec3_lerp(a, c, size));
    }
}

static void add_flat(struct soup *soup, struct dice *dice, size_t count)
{
    double noise = below(dice, 3) ? tiny(dice, 2, 14) : 0;

    for (size_t t = 0; t < count; t++) {
        vec3 p[3];
        for (int i = 0; i < 3; i++) {
            p[i] = any_point(dice);
            p[i].z = 0.25 * (double)below(dice, 2) + noise * p[i].z;
        }
        add_apart(soup, p[0], p[1], p[2]);
    }
}

static void add_shared(struct soup *soup, struct dice *dice, size_t count)
{
    size_t points = 3 + below(dice, 6);

    for (size_t v = 0; v < points; v++)
        add_point(soup, any_point(dice));
    for (size_t t = 0; t < count; t++) {
        size_t a = below(dice, points), b = below(dice, points), c = below(dice, points);
        add_triangle(soup, (uint32_t)a, (uint32_t)b, (uint32_t)c);
    }
}

/* Needles (two corners near each other) and caps (one near the side across). */
static void add_slivers(struct soup *soup, struct dice *dice, size_t count)
{
    for (size_t t = 0; t < count; t++) {
        vec3 a = any_point(dice), b = any_point(dice), near = any_point(dice);
        vec3 c = vec3_lerp(a, b, below(dice, 2) ? 0 : 0.5 + 0.5 * even(dice));
        add_apart(soup, a, b, vec3_add(c, vec3_scale(near, tiny(dice, 3, 17))));
    }
}

static void add_degenerate(struct soup *soup, struct dice *dice, size_t count)
{
    for (size_t t = 0; t < count; t++) {
        vec3 a = any_point(dice), b = any_point(dice);
        uint32_t first = (uint32_t)soup->point_count;
        switch (below(dice, 5)) {
        case 0: /* a repeated index */
            add_point(soup, a);
            add_point(soup, b);
            add_triangle(soup, first, first + 1, first + (uint32_t)below(dice, 2));
            break;
        case 1: /* a point */
            add_apart(soup, a, a, a);
            break;
        case 2: /* a segment, its middle listed */
            add_apart(soup, a, b, vec3_lerp(a, b, 0.5));
            break;
        case 3: /* one triangle twice, turned over */
            add_apart(soup, a, b, any_point(dice));
            if (t + 1 < count) {
                t++;
                add_triangle(soup, first + 1, first, first + 2);
            }
            break;
        default:
            add_apart(soup, a, b, any_point(dice));
        }
    }
}

static void add_lattice(struct soup *soup, struct dice *dice, size_t count)
{
    for (size_t t = 0; t < count; t++) {
        vec3 p[3];
        for (int i = 0; i < 3; i++) {
            double x = (double)below(dice, 4), y = (double)below(dice, 4), z = (double)below(dice, 3);
            p[i] = (vec3){x, y, z};
        }
        add_apart(soup, p[0], p[1], p[2]);
    }
}

static void move_all(struct soup *soup, double scale, vec3 shift)
{
    for (size_t v = 0; v < soup->point_count; v++)
        soup->points[v] = vec3_add(vec3_scale(soup->points[v], scale), shift);
}

static void add_octahedron(struct soup *soup)
{
    uint32_t first = (uint32_t)soup->point_count;

    for (int axis = 0; axis < 3; axis++)
        for (int sign = -1; sign <= 1; sign += 2) {
            double at[3] = {0, 0, 0};
            at[axis] = sign;
            add_point(soup, (vec3){at[0], at[1], at[2]});
        }
    for (uint32_t i = 0; i < 8; i++)
        add_triangle(soup, first + (i & 1), first + 2 + (i >> 1 & 1), first + 4 + (i >> 2 & 1));
}

static void add_cube(struct soup *soup)
{
    static const uint32_t quads[6][4] = {{0, 1, 3, 2}, {4, 5, 7, 6}, {0, 1, 5, 4},
                                         {2, 3, 7, 6}, {0, 2, 6, 4}, {1, 3, 7, 5}};
    uint32_t first = (uint32_t)soup->point_count;

    for (uint32_t i = 0; i < 8; i++)
        add_point(soup, (vec3){2.0 * (i & 1) - 1, 2.0 * (i >> 1 & 1) - 1, 2.0 * (i >> 2) - 1});
    for (int q = 0; q < 6; q++) {
        const uint32_t *c = quads[q];
        add_triangle(soup, first + c[0], first + c[1], first + c[2]);
        add_triangle(soup, first + c[0], first + c[2], first + c[3]);
    }
}

static void dent(struct soup *soup, struct dice *dice)
{
    double depth = tiny(dice, 0, 10);

    for (size_t v = 0; v < soup->point_count; v++)
        if (below(dice, 2))
            soup->points[v] = vec3_add(soup->points[v], vec3_scale(any_point(dice), depth));
}

/* cells x cells squares of side 2 / cells about the origin in z = 0. */
static void add_sheet(struct soup *soup, uint32_t cells)
{
    uint32_t first = (uint32_t)soup->point_count;

    for (uint32_t j = 0; j <= cells; j++)
        for (uint32_t i = 0; i <= cells; i++)
            add_point(soup, (vec3){2.0 * i / cells - 1, 2.0 * j / cells - 1, 0});
    for (uint32_t j = 0; j < cells; j++)
        for (uint32_t i = 0; i < cells; i++) {
            uint32_t a = first + j * (cells + 1) + i;
            add_triangle(soup, a, a + 1, a + cells + 2);
            add_triangle(soup, a, a + cells + 2, a + cells + 1);
        }
}

/* Small triangles over large ones, whose sides often run along lines of the sheet; folds, walls, holes. */
static void make_sheets(struct soup_pair *pair, struct dice *dice)
{
    uint32_t cells = 4 + (uint32_t)below(dice, 3);
    double wobble = below(dice, 2) ? tiny(dice, 1, 12) : 0;

    add_sheet(&pair->to, cells);
    for (size_t v = 0; v < pair->to.point_count; v++)
        pair->to.points[v].z += wobble * even(dice);
    for (size_t damage = below(dice, 4); damage > 0; damage--) {
        size_t t = below(dice, pair->to.triangle_count), v = below(dice, pair->to.point_count);
        switch (below(dice, 4)) {
        case 0:
            pair->to.triangles[t][below(dice, 3)] = (uint32_t)v;
            break;
        case 1: /* a wall: the point goes over its neighbour */
            pair->to.points[v] = pair->to.points[below(dice, pair->to.point_count)];
            pair->to.points[v].z += 0.3 * even(dice);
            break;
        case 2: /* a tear */
            pair->to.triangles[t][0] = add_point(&pair->to, pair->to.points[pair->to.triangles[t][0]]);
            break;
        default: /* a hole */
            pair->to.triangles[t][1] = pair->to.triangles[t][0];
        }
    }
    for (size_t t = 1 + below(dice, 3); t > 0; t--) {
        vec3 p[3];
        bool on_lines = below(dice, 2), level = below(dice, 2);
        double height = below(dice, 2) ? tiny(dice, 1, 8) : 0;
        for (int i = 0; i < 3; i++) {
            double x = even(dice), y = even(dice);
            p[i] = (vec3){x, y, level ? height : height * even(dice)};
            if (on_lines) {
                p[i].x = 2.0 * (double)below(dice, cells + 1) / cells - 1;
                p[i].y = 2.0 * (double)below(dice, cells + 1) / cells - 1;
            }
        }
        add_apart(&pair->from, p[0], p[1], p[2]);
    }
}

/* One square in two ways of cutting it, moved and turned a little, or not at all. */
static void make_other_cells(struct soup_pair *pair, struct dice *dice)
{
    uint32_t cells = 1 + (uint32_t)below(dice, 4), other = 1 + (uint32_t)below(dice, 4);
    double lift = below(dice, 2) ? tiny(dice, 1, 12) : 0, turn = below(dice, 2) ? tiny(dice, 1, 9) : 0;

    add_sheet(&pair->from, cells);
    add_sheet(&pair->to, other);
    move_all(&pair->from, below(dice, 2) ? 1 : 0.75, (vec3){0, 0, lift});
    for (size_t v = 0; v < pair->from.point_count; v++)
        pair->from.points[v].z += turn * pair->from.points[v].x;
}

static void make_coinciding(struct soup_pair *pair, struct dice *dice, size_t a, size_t b)
{
    add_general(&pair->from, dice, a);
    pair->to = pair->from;
    while (pair->to.triangle_count > 1 && below(dice, 2))
        pair->to.triangle_count--;
    if (below(dice, 2)) { /* one of them in four */
        const uint32_t *c = pair->to.triangles[--pair->to.triangle_count];
        uint32_t corner[3] = {c[0], c[1], c[2]}, middle[3];
        for (int i = 0; i < 3; i++)
            middle[i] = add_point(
                &pair->to, vec3_lerp(pair->to.points[corner[i]], pair->to.points[corner[(i + 1) % 3]], 0.5));
        for (int i = 0; i < 3; i++)
            add_triangle(&pair->to, corner[i], middle[i], middle[(i + 2) % 3]);
        add_triangle(&pair->to, middle[0], middle[1], middle[2]);
    }
    if (below(dice, 2))
        add_general(&pair->from, dice, b);
    if (below(dice, 2))
        add_general(&pair->to, dice, b);
}

static void make_closed(struct soup_pair *pair, struct dice *dice)
{
    void (*const solid)(struct soup *) = below(dice, 2) ? add_octahedron : add_cube;

    solid(&pair->from);
    pair->to = pair->from;
    dent(&pair->to, dice);
    if (below(dice, 3) == 0)
        move_all(&pair->from, 0.5 + 0.25 * (double)below(dice, 5),
                 (vec3){0.1 * (double)below(dice, 3), 0, 0});
}

/* The same list of triangles over points moved by little, or by little here and by more there; some of the
 * list may be another. */
static void make_moved(struct soup_pair *pair, struct dice *dice)
{
    const double most = tiny(dice, 0, 6), least = most * tiny(dice, 0, 3);

    if (below(dice, 3))
        add_sheet(&pair->from, 1 + (uint32_t)below(dice, 6));
    else
        add_general(&pair->from, dice, 1 + below(dice, 12));
    pair->to = pair->from;
    for (size_t v = 0; v < pair->to.point_count; v++)
        pair->to.points[v] =
            vec3_add(pair->to.points[v], vec3_scale(any_point(dice), below(dice, 4) ? least : most));
    for (size_t other = below(dice, 4); other > 0; other--) {
        uint32_t *corner = pair->to.triangles[below(dice, pair->to.triangle_count)];
        corner[below(dice, 3)] = (uint32_t)below(dice, pair->to.point_count);
    }
    pair->to.triangle_count -= below(dice, 2) ? below(dice, pair->to.triangle_count) / 4 : 0;
}

static void add_kind(struct soup *soup, struct dice *dice, size_t kind)
{
    static void (*const adders[])(struct soup *, struct dice *, size_t) = {
        add_general, add_flat, add_shared, add_slivers, add_degenerate, add_lattice};

    adders[kind](soup, dice, 1 + below(dice, 12));
}

struct soup_pair soup_pair_random(uint64_t seed, uint64_t number)
{
    struct soup_pair pair = {0};
    struct dice dice = {mix64(seed) + (number << 16)};
    static const size_t plain[SOUP_KINDS] = {[1] = 1, [3] = 2, [4] = 3, [5] = 4, [8] = 5};
    double scale;
    vec3 shift = {0, 0, 0};

    switch (number % SOUP_KINDS) {
    case 2:
        make_coinciding(&pair, &dice, 1 + below(&dice, 6), 1 + below(&dice, 3));
        break;
    case 9:
        make_closed(&pair, &dice);
        break;
    case 10:
        make_sheets(&pair, &dice);
        break;
    case 11:
        make_other_cells(&pair, &dice);
        break;
    case 14:
        make_moved(&pair, &dice);
        break;
    default:
        add_kind(&pair.from, &dice, plain[number % SOUP_KINDS]);
        add_kind(&pair.to, &dice, number % SOUP_KINDS == 12 ? below(&dice, 6) : plain[number % SOUP_KINDS]);
    }
    switch (number % SOUP_KINDS) {
    case 6:
        scale = ldexp(1 + 0.5 * even(&dice), (int)below(&dice, 2080) - 1065);
        move_all(&pair.from, scale, shift);
        move_all(&pair.to, scale, shift);
        break;
    case 7:
        shift = vec3_scale(any_point(&dice), 1 / tiny(&dice, 1, 9));
        move_all(&pair.from, 1, shift);
        move_all(&pair.to, 1, shift);
        break;
    case 13:
        move_all(&pair.from, 1, vec3_scale(any_point(&dice), 1 / tiny(&dice, 0, 3)));
        break;
    default:
        break;
    }
    return pair;
}

static struct mesh mesh_of(const struct soup *soup, struct arena *arena)
{
    struct mesh mesh = {.vertex_count = soup->point_count,
                        .face_count = soup->triangle_count,
                        .positions = ARENA_NEW(arena, vec3, soup->point_count),
                        .face_offsets = ARENA_NEW(arena, uint32_t, soup->triangle_count + 1),
                        .face_vertices = ARENA_NEW(arena, uint32_t, 3 * soup->triangle_count)};

    if (arena->failed)
        return mesh;
    memcpy(mesh.positions, soup->points, soup->point_count * sizeof *soup->points);
    memcpy(mesh.face_vertices, soup->triangles, soup->triangle_count * sizeof *soup->triangles);
    for (size_t t = 0; t <= soup->triangle_count; t++)
        mesh.face_offsets[t] = (uint32_t)(3 * t);
    return mesh;
}

static struct measure_input input_of(const struct mesh *mesh)
{
    struct measure_input input = {.mesh = mesh, .bounds = aabb_empty()};

    for (size_t c = 0; c < mesh_corner_count(mesh); c++)
        input.bounds = aabb_include(input.bounds, mesh->positions[mesh->face_vertices[c]]);
    input.centre = aabb_centre(input.bounds);
    input.diagonal = aabb_diagonal(input.bounds);
    return input;
}

bool soup_measure(const struct soup *from, const struct soup *to, const struct soup *reference,
                  double certify, struct arena arena, struct soup_answer *answer, struct error *err)
{
    struct arena scratch;
    struct mesh meshes[2];
    struct measure_input inputs[2];
    struct deviation_surface surfaces[2];
    struct maximum maximum;
    int reference_at = reference == to;

    meshes[0] = mesh_of(from, &arena);
    meshes[1] = mesh_of(to, &arena);
    if (arena.failed || !arena_split(&arena, arena_left(&arena) / 2, &scratch))
        return arena_error(err);
    for (int i = 0; i < 2; i++)
        inputs[i] = input_of(&meshes[i]);
    struct deviation_frame frame = deviation_frame_of(&inputs[1 - reference_at], &inputs[reference_at]);
    const aabb bounds = inputs[reference_at].bounds,
               box = {deviation_frame_enter(&frame, bounds.min), deviation_frame_enter(&frame, bounds.max)};
    struct maximum_settings settings = {.width = certify * aabb_diagonal(box), .threads = 1};
    const struct measure_input *const of[2] = {&inputs[0], &inputs[1]};
    struct deviation_surface *const made[2] = {&surfaces[0], &surfaces[1]};
    if (!deviation_surface_build_pair(of, &frame, 1, made, &arena, scratch, err)
        || !maximum_find(&surfaces[0], &surfaces[1], &settings, &maximum, scratch, err))
        return false;
    *answer = (struct soup_answer){deviation_frame_lower(&frame, maximum.lower),
                                   deviation_frame_upper(&frame, maximum.upper),
                                   deviation_frame_length(&frame, fmax(settings.width, 4 * DEVIATION_SLACK)),
                                   deviation_frame_leave(&frame, maximum.at), maximum.exhausted};
    return true;
}

static double largest_coordinate(const struct soup *soup)
{
    double largest = 0;

    for (size_t v = 0; v < soup->point_count; v++)
        largest = fmax(largest,
                       fmax(fabs(soup->points[v].x), fmax(fabs(soup->points[v].y), fabs(soup->points[v].z))));
    return largest;
}

const char *soup_check(const struct soup_pair *pair, const struct soup_check *check)
{
    struct soup_answer answer;
    struct error err;

    if (!soup_measure(&pair->from, &pair->to, check->is_back ? &pair->from : &pair->to, check->certify,
                      check->arena, &answer, &err))
        return "refused";
    double width = answer.upper - answer.lower;
    /* climbing to a place cuts pieces many times over; half of what DEVIATION_SLACK allows for */
    long double rounding =
        0x1p-44L * fmax(largest_coordinate(&pair->from), largest_coordinate(&pair->to)) + 4 * DBL_TRUE_MIN;
    struct soup_truth truth =
        soup_truth(&pair->from, &pair->to, TRUTH_WIDTH * (long double)answer.width_wanted, TRUTH_PARTS);
    answer.lower += check->narrowed * width;
    answer.upper -= check->narrowed * width;
    if (!(answer.lower <= truth.upper))
        return "the lower end is too high";
    if (!(answer.upper >= truth.lower))
        return "the upper end is too low";
    if (answer.exhausted || !(width <= answer.width_wanted * (1 + 1e-12) + 2 * DBL_TRUE_MIN))
        return "the interval is too wide";
    if (!(soup_distance(answer.at, &pair->to) >= (long double)answer.lower - rounding))
        return "the place is too near";
    if (!(soup_distance(answer.at, &pair->from) <= rounding))
        return "the place is not on the surface";
    return NULL;
}
