/* overlay_kernels.h - the inner loops of deviation_overlay and deviation_tally, compiled once for each kind
 * of vector unit.
 *
 * All paths give the same results to the last bit: the same operations in the same order on each lane, and no
 * fused one (-ffp-contract=off). Lengths are in the frame. */
#ifndef MEASURE_OVERLAY_KERNELS_H
#define MEASURE_OVERLAY_KERNELS_H

#include "geom/vec3.h"

#include <stddef.h>
#include <stdint.h>

#define OVERLAY_LANES 8
#define OVERLAY_BLOCKS 80
#define OVERLAY_FACES_MAX ((size_t)OVERLAY_BLOCKS * OVERLAY_LANES)

/* Faces that may be near a triangle, OVERLAY_LANES to a block; unused lanes are like the last face. */
struct overlay_block {
    float min[3][OVERLAY_LANES], max[3][OVERLAY_LANES];
    double x[3][OVERLAY_LANES], y[3][OVERLAY_LANES], z[3][OVERLAY_LANES]; /* by corner */
    int64_t plain[OVERLAY_LANES]; /* not 0: each of its sides is shared with just one other, not folded */
};
struct overlay_faces {
    size_t count; /* more than OVERLAY_FACES_MAX: too many, and there are no blocks */
    struct overlay_block blocks[OVERLAY_BLOCKS];
};

/* A triangle in its own plane, its first corner the origin. */
struct overlay_base {
    vec3 origin, axes[3];
    double x[3], y[3], inward_x[3], inward_y[3]; /* corners; unit normals of the sides from corner i */
    double limit, reach;                         /* of heights, of what is near */
    double area;
    float low[3], high[3]; /* its box, grown by what is near */
};

#define OVERLAY_PIECES_OF_ONE 128
#define OVERLAY_PIECES ((size_t)2 * OVERLAY_PIECES_OF_ONE)

/* Pieces of triangles over whose points x the other surface is at a height h(x), of either sign and linear
 * between its values at the corners: scale |h| <= d <= |h|. */
struct overlay_pieces {
    size_t count;
    double heights[3][OVERLAY_PIECES], scale[OVERLAY_PIECES], area[OVERLAY_PIECES];
};

/* What is known of a triangle. */
struct overlay_found {
    double cosine;    /* of the steepest face near it, at most 1 */
    double area;      /* of the pieces */
    double low, high; /* |h| is between them */
};

#define OVERLAY_CUTS 5 /* of a bound, for a histogram of it */
/* Bins of a histogram are the upper bits of a double (see float_bins.h), from OVERLAY_LEAST on; bin 0 is for
 * what is less. */
#define OVERLAY_BIN_BITS 6 /* 64 bins to each power of two, */
#define OVERLAY_OCTAVES 42 /* from 2^-40: what is less counts as 0, or as that */
#define OVERLAY_LEAST ((uint64_t)(1023 - 40) << OVERLAY_BIN_BITS)
#define OVERLAY_BINS (((size_t)OVERLAY_OCTAVES << OVERLAY_BIN_BITS) + 2)

/* Sums over pieces: areas times bounds; and areas by bin. */
struct overlay_sums {
    double area, low, high, low_sq, high_sq;
    double *lows, *highs; /* [OVERLAY_BINS], added to */
};

struct overlay_kernels {
    const char *name;
    /* Cuts the triangle by the faces over it, adds what that makes to pieces, which has room for
     * OVERLAY_PIECES_OF_ONE, without scale; false where that tells nothing. */
    bool (*cut)(const struct overlay_base *base, const struct overlay_faces *faces,
                struct overlay_pieces *pieces, struct overlay_found *found);
    /* Sums up all pieces, without tolerances. May write beyond the last piece, up to a whole block. */
    void (*sum_up)(struct overlay_pieces *pieces, struct overlay_sums *sums);
};

extern const struct overlay_kernels overlay_kernels_plain;
#if defined(__x86_64__)
extern const struct overlay_kernels overlay_kernels_avx2, overlay_kernels_avx512;
#endif

/* Path number i that this machine can run, from 0, the plainest; NULL after the last, the fastest. */
const struct overlay_kernels *overlay_kernels_at(size_t i);
const struct overlay_kernels *overlay_kernels_best(void);

/* The bin of a value that is not negative. */
static inline size_t overlay_bin(double value)
{
    uint64_t bits, bin;

    __builtin_memcpy(&bits, &value, sizeof bits);
    bin = bits >> (52 - OVERLAY_BIN_BITS);
    bin = bin < OVERLAY_LEAST ? OVERLAY_LEAST - 1 : bin;
    bin -= OVERLAY_LEAST - 1;
    return bin < OVERLAY_BINS ? (size_t)bin : OVERLAY_BINS - 1;
}

#endif
