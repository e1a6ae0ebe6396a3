/* lattice.c - rows of cells as words, spread cell by cell. */
#include "measure/lattice.h"

static void put_axis(struct lattice_range *range, int axis, double a, double b, double c)
{
    double low = a < b ? a : b, high = a < b ? b : a;

    range->first[axis] = lattice_cell(c < low ? c : low);
    range->last[axis] = lattice_cell(c > high ? c : high);
}

struct lattice_range lattice_triangle(vec3 a, vec3 b, vec3 c)
{
    struct lattice_range range;

    put_axis(&range, 0, a.x, b.x, c.x);
    put_axis(&range, 1, a.y, b.y, c.y);
    put_axis(&range, 2, a.z, b.z, c.z);
    return range;
}

static uint64_t bits_of(const struct lattice_range *range)
{
    return (UINT64_MAX >> (LATTICE_SIDE - 1 - (range->last[0] - range->first[0]))) << range->first[0];
}

void lattice_put(struct lattice *lattice, const struct lattice_range *range)
{
    for (int z = range->first[2]; z <= range->last[2]; z++)
        for (int y = range->first[1]; y <= range->last[1]; y++)
            lattice->rows[z][y] |= bits_of(range);
}

bool lattice_meets(const struct lattice *lattice, const struct lattice_range *range)
{
    for (int z = range->first[2]; z <= range->last[2]; z++)
        for (int y = range->first[1]; y <= range->last[1]; y++)
            if (lattice->rows[z][y] & bits_of(range))
                return true;
    return false;
}

static void spread(struct lattice *lattice)
{
    struct lattice by_rows;

    for (int z = 0; z < LATTICE_SIDE; z++) {
        uint64_t below = 0, row = 0;
        for (int y = 0; y < LATTICE_SIDE; y++) {
            uint64_t above = lattice->rows[z][y] | lattice->rows[z][y] << 1 | lattice->rows[z][y] >> 1;
            if (y > 0)
                by_rows.rows[z][y - 1] = below | row | above;
            below = row;
            row = above;
        }
        by_rows.rows[z][LATTICE_SIDE - 1] = below | row;
    }
    for (int z = 0; z < LATTICE_SIDE; z++)
        for (int y = 0; y < LATTICE_SIDE; y++)
            lattice->rows[z][y] = by_rows.rows[z][y] | (z > 0 ? by_rows.rows[z - 1][y] : 0)
                                  | (z < LATTICE_SIDE - 1 ? by_rows.rows[z + 1][y] : 0);
}

void lattice_spread(struct lattice *lattice, int steps)
{
    for (int step = 0; step < steps; step++)
        spread(lattice);
}

int lattice_steps(double way)
{
    int steps = 0;

    while (steps < LATTICE_SIDE && steps * LATTICE_CELL < way * (1 + 0x1p-40))
        steps++;
    return steps;
}

bool lattice_covers(const struct lattice *lattice, const struct lattice *others)
{
    uint64_t open = 0;

    for (int z = 0; z < LATTICE_SIDE; z++)
        for (int y = 0; y < LATTICE_SIDE; y++)
            open |= others->rows[z][y] & ~lattice->rows[z][y];
    return open == 0;
}
