/* lattice.h - a set of cells of the cube [-1, 1]^3, a bit each: where something is, to the nearest cell.
 *
 * Points beyond the cube count as in its outermost cells. No function fails. */
#ifndef MEASURE_LATTICE_H
#define MEASURE_LATTICE_H

#include <stdint.h>

#include "geom/vec3.h"

#define LATTICE_SIDE 64 /* cells along each axis, as many as a word has bits */
#define LATTICE_CELL (2.0 / LATTICE_SIDE)

struct lattice {
    uint64_t rows[LATTICE_SIDE][LATTICE_SIDE]; /* [z][y], bit x */
};

/* The first and the last cell along each axis. */
struct lattice_range {
    int first[3], last[3];
};

/* Never falls where x rises: what two boxes have in common they have in cells too. */
static inline int lattice_cell(double x)
{
    int cell = (int)((x + 1) * (0.5 * LATTICE_SIDE));

    return cell < 0 ? 0 : cell < LATTICE_SIDE ? cell : LATTICE_SIDE - 1;
}

static inline void lattice_put_point(struct lattice *lattice, vec3 p)
{
    lattice->rows[lattice_cell(p.z)][lattice_cell(p.y)] |= (uint64_t)1 << lattice_cell(p.x);
}

static inline bool lattice_has_point(const struct lattice *lattice, vec3 p)
{
    return lattice->rows[lattice_cell(p.z)][lattice_cell(p.y)] >> lattice_cell(p.x) & 1;
}

/* Of the box of a triangle. */
struct lattice_range lattice_triangle(vec3 a, vec3 b, vec3 c);

void lattice_put(struct lattice *lattice, const struct lattice_range *range);
bool lattice_meets(const struct lattice *lattice, const struct lattice_range *range);

/* To the cells beside, above and below, and at the edges and corners; as often as `steps`. */
void lattice_spread(struct lattice *lattice, int steps);

/* Steps after which a set has every point that is within `way` of one that it had. */
int lattice_steps(double way);

/* Whether it has all that others has. */
bool lattice_covers(const struct lattice *lattice, const struct lattice *others);

#endif
