/* test_overlay_kernels.c
 *   cut_*  a triangle cut by faces over it: the same on every path, and all of it where they cover it
 *   sum_*  pieces summed up: the same on every path, and as cells of equal area tell
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

static struct overlay_base random_base(uint64_t *state)
{
    double length = random_within(0.1, 0.5, state), x = random_within(-0.1, 0.5, state),
           y = random_within(0.05, 0.5, state);
    struct overlay_base base = {.axes = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
                                .x = {0, length, x},
                                .y = {0, 0, y},
                                .limit = 0.3,
                                .reach = 0.45,
                                .area = 0.5 * length * y,
                                .low = {-1, -1, -1},
                                .high = {1, 1, 1}};

    for (int i = 0; i < 3; i++) {
        int to = (i + 1) % 3;
        double along_x = base.x[to] - base.x[i], along_y = base.y[to] - base.y[i],
               side = hypot(along_x, along_y);
        base.inward_x[i] = -along_y / side;
        base.inward_y[i] = along_x / side;
    }
    return base;
}

static void put_corner(struct overlay_faces *faces, size_t face, int k, vec3 p)
{
    struct overlay_block *block = &faces->blocks[face / OVERLAY_LANES];
    size_t lane = face % OVERLAY_LANES;
    const double at[3] = {p.x, p.y, p.z};

    block->x[k][lane] = p.x;
    block->y[k][lane] = p.y;
    block->z[k][lane] = p.z;
    block->plain[lane] = 1;
    for (int axis = 0; axis < 3; axis++) {
        float low = (float)(at[axis] - 1e-6), high = (float)(at[axis] + 1e-6);
        block->min[axis][lane] = k > 0 ? fminf(block->min[axis][lane], low) : low;
        block->max[axis][lane] = k > 0 ? fmaxf(block->max[axis][lane], high) : high;
    }
}

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

Test(overlay_kernels, cut_covers_the_triangle_and_paths_agree_to_the_last_bit)
{
    struct overlay_faces *faces = calloc(1, sizeof *faces);
    struct overlay_pieces *pieces = calloc(2, sizeof *pieces);
    uint64_t state = 5;
    size_t told = 0;

    for (int i = 0; i < 2000; i++) {
        struct overlay_base base = random_base(&state);
        struct overlay_found found[2];
        bool known[2];
        make_sheet(i % 2 ? 0.02 : 0.12, &state, faces);
        for (size_t path = 0; overlay_kernels_at(path); path++) {
            size_t k = path > 0;
            open_room(&pieces[k]);
            known[k] = overlay_kernels_at(path)->cut(&base, faces, &pieces[k], &found[k]);
            cr_assert(known[k] == known[0], "%d", i);
            bool same = memcmp(&pieces[k], &pieces[0], sizeof *pieces) == 0
                        && memcmp(&found[k], &found[0], sizeof *found) == 0;
            cr_assert(same || !known[k], "%s, %d", overlay_kernels_at(path)->name, i);
        }
        told += known[0];
        if (!known[0])
            continue;
        cr_assert(fabs(found[0].area - base.area) <= 1e-9 * base.area);
        cr_assert(found[0].high <= 0.12 && found[0].low <= found[0].high);
    }
    cr_expect(gt(sz, told, 1000)); /* those of the smooth sheets, at least */
    free(faces);
    free(pieces);
}

/* A plane over the triangle, in faces larger and smaller than it: heights are those of the plane. */
Test(overlay_kernels, cut_finds_the_heights_of_a_plane)
{
    struct overlay_faces *faces = calloc(1, sizeof *faces);
    struct overlay_pieces *pieces = calloc(1, sizeof *pieces);
    uint64_t state = 8;

    for (int i = 0; i < 500; i++) {
        struct overlay_base base = random_base(&state);
        struct overlay_found found;
        double slope_x = random_within(-0.3, 0.3, &state), slope_y = random_within(-0.3, 0.3, &state),
               mean = 0;
        make_sheet(0, &state, faces);
        for (size_t f = 0; f < faces->count; f++)
            for (int k = 0; k < 3; k++) {
                const struct overlay_block *block = &faces->blocks[f / OVERLAY_LANES];
                double x = block->x[k][f % OVERLAY_LANES], y = block->y[k][f % OVERLAY_LANES];
                put_corner(faces, f, k, (vec3){x, y, slope_x * x + slope_y * y});
            }
        base.limit = 1;
        open_room(pieces);
        cr_assert(overlay_kernels_best()->cut(&base, faces, pieces, &found));
        for (size_t p = 0; p < pieces->count; p++)
            mean +=
                pieces->area[p] * (pieces->heights[0][p] + pieces->heights[1][p] + pieces->heights[2][p]) / 3;
        double middle_x = (base.x[1] + base.x[2]) / 3, middle_y = base.y[2] / 3;
        cr_expect(fabs(mean - base.area * (slope_x * middle_x + slope_y * middle_y)) <= 1e-12);
        cr_expect(fabs(found.cosine - 1 / sqrt(1 + slope_x * slope_x + slope_y * slope_y)) <= 1e-9);
    }
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
