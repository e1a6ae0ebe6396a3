/* grid_fit.c - cells cut off one by one, and the size guessed, checked and mended. */
#include "subdiv/grid_fit.h"

#include "subdiv/bezier.h"

#include <math.h>

#define COLUMNS_TRIED 3 /* from the best real number on */
#define TRIES_MAX 12    /* of finer grids */
#define FINER 1.02      /* than the bound asks for, so that the next try does */

/* Sizes of the second derivatives, as far as they count. */
struct bend {
    double uu, uv, vv;
};

static double largest(double a, double b)
{
    return a > b ? a : b;
}

/* The squared length of the largest second difference along the rows (step 1) or columns (step 4), without
 * its part along the row. */
static double bend_sq(const vec3 bezier[16], int step)
{
    double most = 0;

    for (int k = 0; k < 4; k++) {
        const vec3 *row = bezier + k * (5 - step);
        vec3 chord = vec3_sub(row[3 * step], row[0]);
        double chord_sq = vec3_length_sq(chord);
        for (int i = 1; i < 3; i++) {
            const vec3 *p = row + i * step;
            vec3 bend = vec3_sub(vec3_add(p[-step], p[step]), vec3_add(p[0], p[0]));
            double along = vec3_dot(bend, chord);
            double size = vec3_length_sq(bend) - (chord_sq > 0 ? along * along / chord_sq : 0);
            most = largest(most, size);
        }
    }
    return most;
}

/* The largest mixed difference along the normal of the diagonals, or in length where there is none. */
static double mixed(const vec3 bezier[16])
{
    vec3 normal = vec3_cross(vec3_sub(bezier[15], bezier[0]), vec3_sub(bezier[12], bezier[3]));
    double size = vec3_length(normal), most = 0;

    for (int j = 0; j < 3; j++)
        for (int i = 0; i < 3; i++) {
            const vec3 *p = bezier + 4 * j + i;
            vec3 turn = vec3_sub(vec3_add(p[0], p[5]), vec3_add(p[1], p[4]));
            most = largest(most, size > 0 ? fabs(vec3_dot(turn, normal)) / size : vec3_length(turn));
        }
    return most;
}

/* Derivatives of a bicubic piece are 6 (b0 - 2 b1 + b2) along a row and 9 (b00 - b10 - b01 + b11) across. */
static struct bend bend_of(const vec3 bezier[16])
{
    return (struct bend){6 * sqrt(bend_sq(bezier, 1)), 9 * mixed(bezier), 6 * sqrt(bend_sq(bezier, 4))};
}

static uint32_t whole(double cells, uint32_t most)
{
    return cells >= most ? most : cells > 1 ? (uint32_t)ceil(cells) : 1;
}

/* The least number of rows for these columns; side_max where none does. */
static uint32_t rows_for(struct bend bend, double eps, uint32_t columns, uint32_t side_max)
{
    double du = 1.0 / columns, rest = 8 * eps - bend.uu * du * du, half = bend.uv * du;

    if (!(rest > 0))
        return bend.uu > 0 || bend.uv > 0 || bend.vv > 0 ? side_max : 1;
    /* the greatest dv with vv dv^2 + 2 half dv <= rest */
    return whole((half + sqrt(half * half + bend.vv * rest)) / rest, side_max);
}

struct grid_size grid_guess(const vec3 bezier[16], double eps, uint32_t side_max)
{
    struct bend bend = bend_of(bezier);
    double uu = sqrt(bend.uu), vv = sqrt(bend.vv);
    /* with real numbers, rows and columns have the same share of eps */
    double cells = (2 * uu * vv + 2 * bend.uv) / (8 * eps), ratio = vv > 0 ? uu / vv : INFINITY;
    double columns = uu > 0 ? sqrt(fmin(fmax(cells * ratio, bend.uu / (8 * eps)), 0x1p40)) : 1;
    struct grid_size best = {side_max, side_max};

    columns = columns < side_max ? floor(columns) : side_max;
    for (uint32_t k = 0; k < COLUMNS_TRIED; k++) {
        struct grid_size size = {whole(columns + k, side_max), 1};
        size.rows = rows_for(bend, eps, size.columns, side_max);
        if (grid_cells(size) < grid_cells(best))
            best = size;
    }
    return best;
}

/* Cuts the first of `parts` equal parts off a piece, along u or along v. */
static void cut_first(vec3 bezier[16], bool along_u, uint32_t parts, vec3 first[16])
{
    if (parts == 1)
        for (int i = 0; i < 16; i++)
            first[i] = bezier[i];
    else
        bezier_cut(bezier, along_u, 1.0 / parts, first, bezier);
}

static double cell_eps(const vec3 cell[16])
{
    vec3 corners[4];
    struct quad_fit fit;

    bezier_corners(cell, corners);
    quad_fit_begin(&fit, corners, QUAD_CUT_EITHER);
    const struct quad_part whole = quad_fit_whole(&fit);
    quad_fit_add_bezier(&fit, cell, &whole);
    return quad_fit_eps(&fit);
}

double grid_eps(const vec3 bezier[16], struct grid_size size)
{
    vec3 rest[16], row[16], cell[16];
    double most = 0;

    for (int i = 0; i < 16; i++)
        rest[i] = bezier[i];
    for (uint32_t j = 0; j < size.rows; j++) {
        cut_first(rest, false, size.rows - j, row);
        for (uint32_t i = 0; i < size.columns; i++) {
            cut_first(row, true, size.columns - i, cell);
            most = largest(most, cell_eps(cell));
        }
    }
    return most;
}

struct grid_found grid_find(const vec3 bezier[16], double eps, uint32_t side_max, size_t cells_max)
{
    struct grid_found found = {grid_guess(bezier, eps, side_max), INFINITY, 0};

    for (unsigned k = 0; grid_cells(found.size) <= cells_max; k++) {
        found.bound = grid_eps(bezier, found.size);
        found.work += grid_cells(found.size);
        double factor = FINER * sqrt(found.bound / eps);
        struct grid_size finer = {whole(found.size.columns * factor, side_max),
                                  whole(found.size.rows * factor, side_max)};
        if (found.bound <= eps || k == TRIES_MAX || grid_cells(finer) == grid_cells(found.size))
            return found;
        found.size = finer;
        found.bound = INFINITY;
    }
    return found;
}
