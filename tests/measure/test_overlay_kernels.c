/* test_overlay_kernels.c
 *   take_* triangles as they are
 *   cut_*  a triangle cut by faces over it: the same on every path, and all of it where they cover it
 *   sum_*  pieces summed up: the same on every path, and as cells of equal area tell
 *   bins_* where each begins
 */
#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "measure/overlay_kernels.h"
#include "support/fixture_shapes.h"

#define SIDE 6 /* of a sheet over the triangle, in squares of two faces */

static double random_within(double low, double high, uint64_t *state)
{
    return low + (high - low) * fixture_random_unit(state);
}

/* Looked at along the third axis, or a little off it, from somewhere. */
static struct overlay_view random_view(uint64_t *state)
{
    vec3 up = {random_within(-0.2, 0.2, state), random_within(-0.2, 0.2, state), 1},
         side = vec3_cross((vec3){0, 1, 0}, up);

    up = vec3_scale(up, 1 / vec3_length(up));
    side = vec3_scale(side, 1 / vec3_length(side));
    return (struct overlay_view){{random_within(-0.1, 0.1, state), 0.1, 0.2},
                                 {side, vec3_cross(up, side), up}};
}

/* One triangle over the plane of the first two axes, `high` at most, as lane 0. */
static void put_base(double size, double high, uint64_t *state, struct overlay_bases *bases)
{
    double length = size * random_within(0.2, 1, state), x = size * random_within(-0.2, 1, state),
           y = size * random_within(0.2, 1, state);
    const double corners[3][3] = {{0, 0, random_within(0, high, state)},
                                  {length, 0, random_within(0, high, state)},
                                  {x, y, random_within(0, high, state)}};

    for (int k = 0; k < 3; k++)
        for (int axis = 0; axis < 3; axis++)
            bases->corners[k][axis][0] = corners[k][axis];
    bases->farthest[0] = 0.4;
}

static double area_of(const struct overlay_bases *bases)
{
    vec3 p[3];

    for (int k = 0; k < 3; k++)
        p[k] = (vec3){bases->corners[k][0][0], bases->corners[k][1][0], bases->corners[k][2][0]};
    return vec3_length(vec3_cross(vec3_sub(p[1], p[0]), vec3_sub(p[2], p[0]))) / 2;
}

static void put_corner(struct overlay_faces *faces, size_t face, int k, vec3 p)
{
    struct overlay_block *block = &faces->blocks[face / OVERLAY_LANES];
    size_t lane = face % OVERLAY_LANES;

    block->x[k][lane] = p.x;
    block->y[k][lane] = p.y;
    block->z[k][lane] = p.z;
}

/* A surface of the faces in the blocks, each by corners of its own. */
struct laid {
    vec3 points[3 * OVERLAY_FACES_MAX];
    uint32_t corners[OVERLAY_FACES_MAX][3];
    unsigned char plain[OVERLAY_FACES_MAX];
};

static void lay(struct overlay_faces *faces, unsigned char plain, struct laid *laid)
{
    for (uint32_t f = 0; f < faces->count; f++) {
        const struct overlay_block *block = &faces->blocks[f / OVERLAY_LANES];
        for (uint32_t k = 0, lane = f % OVERLAY_LANES; k < 3; k++) {
            laid->points[3 * f + k] = (vec3){block->x[k][lane], block->y[k][lane], block->z[k][lane]};
            laid->corners[f][k] = 3 * f + k;
        }
        laid->plain[f] = plain;
        faces->slots[f] = f;
    }
}

static struct overlay_surface surface_of(const struct laid *laid)
{
    return (struct overlay_surface){laid->points, laid->corners, laid->plain};
}

/* Looks at the faces in the blocks. */
static void view_laid(const struct overlay_kernels *kernels, unsigned char plain, struct overlay_faces *faces)
{
    struct laid *laid = malloc(sizeof *laid);

    lay(faces, plain, laid);
    const struct overlay_surface surface = surface_of(laid);
    kernels->view(&surface, faces);
    free(laid);
}

#define ALL_PLAIN (OVERLAY_PLAIN | OVERLAY_ALIKE)

/* From -0.5 to 1 each way, rough. */
static void make_sheet(double rough, uint64_t *state, struct overlay_faces *faces)
{
    static const int corners[2][3][2] = {{{0, 0}, {1, 0}, {1, 1}}, {{0, 0}, {1, 1}, {0, 1}}};
    vec3 points[SIDE + 1][SIDE + 1];

    for (int i = 0; i <= SIDE; i++)
        for (int j = 0; j <= SIDE; j++)
            points[i][j] = (vec3){-0.5 + 1.5 * (i + random_within(-0.2, 0.2, state)) / SIDE,
                                  -0.5 + 1.5 * (j + random_within(-0.2, 0.2, state)) / SIDE,
                                  random_within(-rough, rough, state)};
    faces->count = 0;
    for (int i = 0; i < SIDE; i++)
        for (int j = 0; j < SIDE; j++)
            for (int half = 0; half < 2; half++, faces->count++)
                for (int k = 0; k < 3; k++)
                    put_corner(faces, faces->count, k,
                               points[i + corners[half][k][0]][j + corners[half][k][1]]);
}

static void open_room(struct overlay_pieces *pieces)
{
    memset(pieces, 0, sizeof *pieces);
}

/* The area of the pieces, and the integral of h over them, of either sign. */
struct integral {
    double area, height;
};

static struct integral integral_of(const struct overlay_pieces *pieces)
{
    struct integral sum = {0, 0};

    for (size_t p = 0; p < pieces->count; p++) {
        double mean = (pieces->heights[0][p] + pieces->heights[1][p] + pieces->heights[2][p]) / 3;
        sum.area += pieces->area[p];
        sum.height += pieces->area[p] * mean;
    }
    return sum;
}

/* What comes after the last one is not told. */
static bool are_same(const struct overlay_pieces *one, const struct overlay_pieces *other)
{
    const size_t bytes = one->count * sizeof(double);
    bool same = one->count == other->count;

    for (int k = 0; k < 3 && same; k++)
        same = memcmp(one->heights[k], other->heights[k], bytes) == 0;
    return same && memcmp(one->area, other->area, bytes) == 0 && memcmp(one->scale, other->scale, bytes) == 0
           && memcmp(one->lanes, other->lanes, one->count * sizeof *one->lanes) == 0;
}

/* By the definitions, corner for corner; lanes past the last are like the first, on every path. */
Test(overlay_kernels, take_tells_sides_normals_and_boxes_alike_on_every_path)
{
    struct overlay_faces *faces = calloc(1, sizeof *faces);
    struct laid *laid = malloc(sizeof *laid);
    uint64_t state = 31;

    for (int i = 0; i < 200; i++) {
        struct overlay_bases bases[2];
        const size_t count = 1 + (size_t)i % OVERLAY_LANES, first = (size_t)i % 60;
        memset(bases, 0, sizeof bases);
        make_sheet(0.3, &state, faces);
        lay(faces, ALL_PLAIN, laid);
        const struct overlay_surface surface = surface_of(laid);
        for (size_t path = 0; overlay_kernels_at(path); path++) {
            overlay_kernels_at(path)->take(&surface, first, count, &bases[path > 0]);
            cr_assert(path == 0 || memcmp(&bases[1], &bases[0], sizeof *bases) == 0, "%d", i);
        }
        for (size_t lane = 0; lane < OVERLAY_LANES; lane++) {
            const vec3 *p = &laid->points[3 * (first + (lane < count ? lane : 0))];
            const vec3 normal = vec3_cross(vec3_sub(p[1], p[0]), vec3_sub(p[2], p[0]));
            const double longest =
                fmax(vec3_distance(p[0], p[1]), fmax(vec3_distance(p[1], p[2]), vec3_distance(p[2], p[0])));
            for (int k = 0; k < 3; k++)
                cr_assert(bases->corners[k][0][lane] == p[k].x && bases->corners[k][1][lane] == p[k].y
                          && bases->corners[k][2][lane] == p[k].z);
            cr_expect(fabs(bases->longest[lane] - longest) <= 1e-15);
            cr_expect(bases->normal[0][lane] == normal.x && bases->normal[1][lane] == normal.y
                      && bases->normal[2][lane] == normal.z);
            cr_expect(bases->least[0][lane] == fmin(p[0].x, fmin(p[1].x, p[2].x))
                      && bases->most[2][lane] == fmax(p[0].z, fmax(p[1].z, p[2].z)));
        }
    }
    free(laid);
    free(faces);
}

Test(overlay_kernels, cut_covers_the_triangle_and_paths_agree_to_the_last_bit)
{
    struct overlay_faces *sheet = calloc(1, sizeof *sheet), *faces = calloc(1, sizeof *faces);
    struct overlay_pieces *pieces = calloc(2, sizeof *pieces);
    struct overlay_bases *bases = calloc(2, sizeof *bases);
    uint64_t state = 5;
    size_t told = 0;

    for (int i = 0; i < 2000; i++) {
        struct overlay_found found[2];
        struct overlay_bases base = {.farthest = {0}};
        bool known[2];
        make_sheet(i % 2 ? 0.02 : 0.12, &state, sheet);
        sheet->view = random_view(&state);
        put_base(i % 3 ? 0.5 : 0.1, 0.02, &state, &base);
        for (size_t path = 0; overlay_kernels_at(path); path++) {
            const struct overlay_kernels *kernels = overlay_kernels_at(path);
            size_t k = path > 0;
            open_room(&pieces[k]);
            *faces = *sheet;
            bases[k] = base;
            view_laid(kernels, ALL_PLAIN, faces);
            kernels->place(&faces->view, 1, &bases[k]);
            known[k] = kernels->cut(&bases[k], 1, faces, &pieces[k], &found[k]) != 0;
            cr_assert(known[k] == known[0] && memcmp(&bases[k], &bases[0], sizeof *bases) == 0, "%d", i);
            bool same = are_same(&pieces[k], &pieces[0]) && memcmp(&found[k], &found[0], sizeof *found) == 0;
            cr_assert(same || !known[k], "%s, %d", kernels->name, i);
        }
        told += known[0];
        if (!known[0])
            continue;
        double area = area_of(&base);
        cr_assert(fabs(integral_of(&pieces[0]).area - area) <= 1e-9 * area);
        cr_assert(found[0].high <= 0.15 && found[0].low <= found[0].high);
    }
    cr_expect(gt(sz, told, 900)); /* those of the smooth sheets, most of them */
    free(sheet);
    free(faces);
    free(pieces);
    free(bases);
}

/* A plane over the triangle, in faces larger and smaller than it: heights are those of the plane. */
Test(overlay_kernels, cut_finds_the_heights_of_a_plane)
{
    struct overlay_faces *faces = calloc(1, sizeof *faces);
    struct overlay_pieces *pieces = calloc(1, sizeof *pieces);
    uint64_t state = 8;

    for (int i = 0; i < 500; i++) {
        struct overlay_bases base;
        struct overlay_found found;
        double slope_x = random_within(-0.3, 0.3, &state), slope_y = random_within(-0.3, 0.3, &state),
               height = random_within(-0.5, 0.5, &state), mean = 0;
        make_sheet(0, &state, faces);
        for (size_t f = 0; f < faces->count; f++)
            for (int k = 0; k < 3; k++) {
                const struct overlay_block *block = &faces->blocks[f / OVERLAY_LANES];
                double x = block->x[k][f % OVERLAY_LANES], y = block->y[k][f % OVERLAY_LANES];
                put_corner(faces, f, k, (vec3){x, y, height + slope_x * x + slope_y * y});
            }
        faces->view = random_view(&state);
        put_base(i % 3 ? 0.5 : 0.1, 0.015, &state, &base);
        base.farthest[0] = 1;
        open_room(pieces);
        view_laid(overlay_kernels_best(), ALL_PLAIN, faces);
        overlay_kernels_best()->place(&faces->view, 1, &base);
        cr_assert(overlay_kernels_best()->cut(&base, 1, faces, pieces, &found) == 1, "%d", i);
        vec3 up = faces->view.axes[2], normal = {-slope_x, -slope_y, 1};
        for (int k = 0; k < 3; k++)
            mean += (height + slope_x * base.corners[k][0][0] + slope_y * base.corners[k][1][0]
                     - base.corners[k][2][0])
                    / vec3_dot(normal, up) / 3;
        cr_expect(fabs(integral_of(pieces).height - area_of(&base) * mean) <= 1e-12);
        cr_expect(fabs(found.cosine - vec3_dot(normal, up) / vec3_length(normal)) <= 1e-9);
    }
    free(faces);
    free(pieces);
}

/* Two large faces like a roof, a triangle below it: the integral of its heights is that by points. */
Test(overlay_kernels, cut_finds_the_heights_of_a_roof)
{
    struct overlay_faces *faces = calloc(1, sizeof *faces);
    struct overlay_pieces *pieces = calloc(1, sizeof *pieces);
    uint64_t state = 9;

    for (int i = 0; i < 500; i++) {
        struct overlay_bases base;
        struct overlay_found found;
        double slope = (i % 2 ? 0.01 : 0.2) * random_within(-1, 1, &state),
               ridge = random_within(0, 0.05, &state), mean = 0;
        const vec3 corners[4] = {{ridge, -3, 0.1},
                                 {ridge, 3, 0.1},
                                 {ridge - 4, 0, 0.1 + 4 * slope},
                                 {ridge + 4, 0, 0.1 + 4 * slope}};
        faces->count = 2;
        for (int k = 0; k < 3; k++) {
            put_corner(faces, 0, k, corners[k]);
            put_corner(faces, 1, k, corners[k == 2 ? 3 : 1 - k]);
        }
        for (size_t lane = 2; lane < OVERLAY_LANES; lane++)
            for (int k = 0; k < 3; k++)
                put_corner(faces, lane, k, corners[k == 2 ? 3 : 1 - k]);
        faces->view = (struct overlay_view){{0, 0, 0}, {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
        put_base(0.1, 0.01, &state, &base);
        base.farthest[0] = 0.2;
        open_room(pieces);
        view_laid(overlay_kernels_best(), ALL_PLAIN, faces);
        overlay_kernels_best()->place(&faces->view, 1, &base);
        cr_assert(overlay_kernels_best()->cut(&base, 1, faces, pieces, &found) == 1, "%d", i);
        const int n = 40;
        for (int u = 0; u < n; u++)
            for (int v = 0; v < 2 * (n - u) - 1; v++) {
                double third = v % 2 ? 2.0 / 3 : 1.0 / 3, s = (u + third) / n, t = (v / 2 + third) / n, at[3];
                for (int axis = 0; axis < 3; axis++)
                    at[axis] = base.corners[0][axis][0] * (1 - s - t) + base.corners[1][axis][0] * s
                               + base.corners[2][axis][0] * t;
                mean += (0.1 + slope * fabs(at[0] - ridge) - at[2]) / (n * n);
            }
        double area = area_of(&base);
        cr_expect(fabs(integral_of(pieces).height - area * mean) <= 1e-4 * area, "%d", i);
    }
    free(faces);
    free(pieces);
}

/* Two faces that rise and fall from the first axis, over one half of a triangle: their areas add up to its
 * own, yet its other half has nothing over it. Either one shows its back, or their orientations differ. */
Test(overlay_kernels, cut_does_not_take_a_fold_for_a_cover)
{
    struct overlay_faces *faces = calloc(1, sizeof *faces);
    struct overlay_pieces *pieces = calloc(1, sizeof *pieces);

    for (int turned = 0; turned < 2; turned++)
        for (int rise = 2; rise <= 3; rise++) {
            double slope = rise / 2.0; /* 45 degrees, and 56 */
            const vec3 corners[4] = {{-2, 0, 0}, {2, 0, 0}, {0, 2, 2 * slope}, {0, 2, -2 * slope}};
            struct overlay_bases base = {
                .corners = {{{0}, {0}, {0.02}}, {{0.25}, {0.125}, {0.02}}, {{0.25}, {-0.125}, {0.02}}},
                .farthest = {0.5}};
            struct overlay_found found;
            faces->count = 2;
            for (int lane = 0; lane < OVERLAY_LANES; lane++)
                for (int k = 0; k < 3; k++) {
                    int other = turned ? k : (4 - k) % 3;
                    put_corner(faces, (size_t)lane, k, corners[lane == 0 ? k : other == 2 ? 3 : other]);
                }
            faces->view = (struct overlay_view){{0, 0, 0}, {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
            open_room(pieces);
            view_laid(overlay_kernels_best(), turned ? OVERLAY_PLAIN : ALL_PLAIN, faces);
            overlay_kernels_best()->place(&faces->view, 1, &base);
            cr_expect(overlay_kernels_best()->cut(&base, 1, faces, pieces, &found) == 0, "%d, slope %g",
                      turned, slope);
        }
    free(faces);
    free(pieces);
}

/* Puts one triangle of its own size and place into each lane; some reach beyond the sheet, and are not told.
 */
static void put_bases(uint64_t *state, struct overlay_bases *bases)
{
    const double size = random_within(0.02, 0.5, state);

    for (size_t lane = 0; lane < OVERLAY_LANES; lane++) {
        const double x = random_within(-0.3, 0.9, state), y = random_within(-0.3, 0.9, state);
        for (int k = 0; k < 3; k++) {
            bases->corners[k][0][lane] = x + size * (k == 1 ? 1 : random_within(-0.2, 0.2, state));
            bases->corners[k][1][lane] = y + size * (k == 2 ? 1 : random_within(-0.2, 0.2, state));
            bases->corners[k][2][lane] = random_within(0, 0.02, state);
        }
        bases->farthest[lane] = 0.4;
    }
}

/* Those of one lane. */
static struct integral integral_of_lane(const struct overlay_pieces *pieces, int64_t lane)
{
    struct integral sum = {0, 0};

    for (size_t p = 0; p < pieces->count; p++)
        if (pieces->lanes[p] == lane) {
            sum.area += pieces->area[p];
            sum.height +=
                pieces->area[p] * (pieces->heights[0][p] + pieces->heights[1][p] + pieces->heights[2][p]) / 3;
        }
    return sum;
}

/* That of its last piece; 0 where it has none. */
static double scale_of_lane(const struct overlay_pieces *pieces, int64_t lane)
{
    for (size_t p = pieces->count; p > 0; p--)
        if (pieces->lanes[p - 1] == lane)
            return pieces->scale[p - 1];
    return 0;
}

/* Of triangles cut together each has what it has alone, whichever of them are told. */
Test(overlay_kernels, cut_together_is_as_cut_alone)
{
    struct overlay_faces *faces = calloc(1, sizeof *faces);
    struct overlay_pieces *pieces = calloc(2, sizeof *pieces);
    uint64_t state = 21;
    size_t told_count = 0, untold_count = 0;

    for (int i = 0; i < 600; i++) {
        const struct overlay_kernels *kernels = overlay_kernels_best();
        struct overlay_bases bases;
        struct overlay_found together[OVERLAY_LANES], alone[OVERLAY_LANES];
        make_sheet(i % 2 ? 0.01 : 0.05, &state, faces);
        faces->view = random_view(&state);
        put_bases(&state, &bases);
        view_laid(kernels, ALL_PLAIN, faces);
        kernels->place(&faces->view, OVERLAY_LANES, &bases);
        const unsigned asked = i % 3 ? 0xff : 0xb6;
        open_room(&pieces[0]);
        unsigned told = kernels->cut(&bases, asked, faces, &pieces[0], together);
        for (size_t lane = 0; lane < OVERLAY_LANES; lane++) {
            open_room(&pieces[1]);
            unsigned one =
                asked & 1u << lane ? kernels->cut(&bases, 1u << lane, faces, &pieces[1], alone) : 0;
            cr_assert(one == (told & 1u << lane), "%d, lane %zu", i, lane);
            struct integral got = integral_of_lane(&pieces[0], lane),
                            want = integral_of_lane(&pieces[1], lane);
            double scale = scale_of_lane(&pieces[0], lane), alone_scale = scale_of_lane(&pieces[1], lane);
            cr_assert(fabs(got.area - want.area) <= 1e-14 && fabs(got.height - want.height) <= 1e-14, "%d",
                      i);
            cr_assert(one ? want.area > 0 : got.area <= 0, "%d", i);
            told_count += one != 0;
            untold_count += !one;
            if (!one)
                continue;
            cr_assert(scale <= alone_scale && scale >= alone_scale, "%d", i);
            cr_assert(fabs(together[lane].low - alone[lane].low) <= 1e-15
                          && fabs(together[lane].high - alone[lane].high) <= 1e-15
                          && scale <= together[lane].cosine && scale >= together[lane].cosine,
                      "%d", i);
        }
        cr_assert(pieces[0].count <= OVERLAY_LANES * (size_t)OVERLAY_PIECES_OF_ONE);
    }
    cr_expect(gt(sz, told_count, 1000));
    cr_expect(gt(sz, untold_count, 500));
    free(faces);
    free(pieces);
}

static void make_pieces(struct overlay_pieces *pieces, size_t count, uint64_t *state)
{
    static const double special[] = {0, 0x1p-300, 0.25, -0.25};

    open_room(pieces);
    for (; pieces->count < count; pieces->count++) {
        for (int k = 0; k < 3; k++)
            pieces->heights[k][pieces->count] = fixture_random_unit(state) < 0.2
                                                    ? special[(size_t)(4 * fixture_random_unit(state))]
                                                    : random_within(-1, 1, state);
        pieces->scale[pieces->count] = random_within(0.71, 1, state);
        pieces->area[pieces->count] = random_within(0, 1e-3, state);
    }
}

Test(overlay_kernels, sum_paths_agree_to_the_last_bit)
{
    struct overlay_pieces *pieces = calloc(1, sizeof *pieces);
    double *bins = calloc(4 * OVERLAY_BINS, sizeof *bins), plain[5] = {0};

    for (size_t count = 0; count <= OVERLAY_PIECES; count += 19)
        for (size_t path = 0; overlay_kernels_at(path); path++) {
            double *own = bins + (path > 0) * 2 * OVERLAY_BINS;
            struct overlay_sums sums = {.lows = own, .highs = own + OVERLAY_BINS};
            uint64_t state = count + 1;
            memset(own, 0, 2 * OVERLAY_BINS * sizeof *own);
            make_pieces(pieces, count, &state);
            overlay_kernels_at(path)->sum_up(pieces, &sums);
            const double values[5] = {sums.area, sums.low, sums.high, sums.low_sq, sums.high_sq};
            if (path == 0)
                memcpy(plain, values, sizeof plain);
            cr_assert(memcmp(values, plain, sizeof plain) == 0
                          && memcmp(own, bins, 2 * OVERLAY_BINS * sizeof *own) == 0,
                      "%s, %zu pieces", overlay_kernels_at(path)->name, count);
        }
    free(pieces);
    free(bins);
}

/* Cells of equal area: the midpoint rule errs by less than the change of h within a cell. */
Test(overlay_kernels, sum_is_that_of_many_small_cells)
{
    struct overlay_pieces *pieces = calloc(1, sizeof *pieces);
    double *bins = calloc(2 * OVERLAY_BINS, sizeof *bins);
    uint64_t state = 3;

    for (int i = 0; i < 300; i++) {
        struct overlay_sums sums = {.lows = bins, .highs = bins + OVERLAY_BINS};
        const int n = 60;
        double mean = 0, square = 0, lows = 0, highs = 0, limit = random_within(0, 1, &state), below = 0;
        memset(bins, 0, 2 * OVERLAY_BINS * sizeof *bins);
        make_pieces(pieces, 1, &state);
        pieces->area[0] = 1;
        for (int u = 0; u < n; u++)
            for (int v = 0; v < 2 * (n - u) - 1; v++) {
                double third = v % 2 ? 2.0 / 3 : 1.0 / 3, x = (u + third) / n, y = (v / 2 + third) / n,
                       h = pieces->heights[0][0] + x * (pieces->heights[1][0] - pieces->heights[0][0])
                           + y * (pieces->heights[2][0] - pieces->heights[0][0]);
                mean += fabs(h) / (n * n);
                square += h * h / (n * n);
                below += (fabs(h) <= limit) / (double)(n * n);
            }
        double scale = pieces->scale[0];
        overlay_kernels_best()->sum_up(pieces, &sums);
        cr_expect(fabs(sums.high - mean) <= 1e-3 && fabs(sums.low - scale * mean) <= 1e-3);
        cr_expect(fabs(sums.high_sq - square) <= 1e-3 && fabs(sums.low_sq - scale * scale * square) <= 1e-3);
        for (size_t bin = 0; bin < OVERLAY_BINS; bin++) {
            lows += bin <= overlay_bin(limit) ? sums.lows[bin] : 0;
            highs += bin < overlay_bin(limit) ? sums.highs[bin] : 0;
        }
        cr_expect(highs <= below + 0.06 && below - 0.06 <= lows, "%g: %g to %g", below, highs, lows);
    }
    free(pieces);
    free(bins);
}

Test(overlay_kernels, bins_hold_what_lies_from_their_starts_on)
{
    cr_expect(overlay_bin_start(0) <= 0 && overlay_bin(0) == 0 && overlay_bin(0x1p-41) == 0);
    cr_expect(eq(sz, overlay_bin(0x1p-40), 1));
    cr_expect(eq(sz, overlay_bin(INFINITY), OVERLAY_BINS - 1));
    for (size_t bin = 1; bin < OVERLAY_BINS; bin++) {
        const double start = overlay_bin_start(bin);
        cr_assert(overlay_bin(start) == bin && overlay_bin(nextafter(start, 0)) == bin - 1, "bin %zu from %a",
                  bin, start);
    }
}
