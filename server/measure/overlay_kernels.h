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

/* The way things are looked along, axes[2], and what is across it. */
struct overlay_view {
    vec3 origin, axes[3];
};

#define OVERLAY_PLAIN 1 /* each of its sides is shared with just one other, not folded */
#define OVERLAY_ALIKE 2 /* and that one is of the same orientation */

/* All faces there are, by slot. */
struct overlay_surface {
    const vec3 *points;
    const uint32_t (*corners)[3];
    const unsigned char *plain; /* bits of OVERLAY_PLAIN, OVERLAY_ALIKE */
};

/* Faces that may be near a triangle, OVERLAY_LANES to a block; unused lanes are like the last face. Corners
 * are counter-clockwise, and x, y across, z along the view. */
struct overlay_block {
    double x[3][OVERLAY_LANES], y[3][OVERLAY_LANES], z[3][OVERLAY_LANES]; /* by corner */
    double twice[OVERLAY_LANES];                                          /* the area of the projection */
    double cosine_sq[OVERLAY_LANES];                                      /* of its angle with the view */
    int64_t flags[OVERLAY_LANES];
    double low[3][OVERLAY_LANES], high[3][OVERLAY_LANES]; /* boxes */
    double all_low[3], all_high[3];
};
struct overlay_faces {
    size_t count; /* more than OVERLAY_FACES_MAX: too many, and there are no blocks */
    struct overlay_view view;
    uint32_t slots[OVERLAY_FACES_MAX + OVERLAY_LANES];
    struct overlay_block blocks[OVERLAY_BLOCKS];
};

/* Of the longest side: what heights may be more than `farthest`. Guessed. */
#define OVERLAY_REACH_SIDES 0.12
/* > 1 / 0.7072: what is near suffices over faces of 45 degrees; over steeper ones it may be too little. */
#define OVERLAY_REACH_TIMES 1.4142
#define OVERLAY_BOX_SLACK 1e-6 /* of float boxes */

/* Triangles that are looked at, as they were and as the view has them: counter-clockwise. */
struct overlay_bases {
    double corners[3][3][OVERLAY_LANES]; /* [corner][axis], put in */
    double farthest[OVERLAY_LANES];      /* of its corners, put in; INFINITY: not worth looking */
    double longest[OVERLAY_LANES];       /* side; this and what follows up to x: taken */
    double normal[3][OVERLAY_LANES];     /* as long as twice the area; [axis] */
    double least[3][OVERLAY_LANES], most[3][OVERLAY_LANES]; /* of the corners; [axis] */
    double x[3][OVERLAY_LANES], y[3][OVERLAY_LANES], z[3][OVERLAY_LANES];
    double inward_x[3][OVERLAY_LANES], inward_y[3][OVERLAY_LANES]; /* unit normals of sides from corner i */
    double area[OVERLAY_LANES];                           /* of the projection; 0: it cannot be looked at */
    double times[OVERLAY_LANES];                          /* so much larger is its area */
    double limit[OVERLAY_LANES], reach[OVERLAY_LANES];    /* of heights, of what is near */
    double low[3][OVERLAY_LANES], high[3][OVERLAY_LANES]; /* its box, grown by what is near */
};

#define OVERLAY_PIECES_OF_ONE 128
#define OVERLAY_PIECES ((size_t)(OVERLAY_LANES + 2) * OVERLAY_PIECES_OF_ONE)

/* Pieces of triangles, each with a function h(x), of either sign and linear between its values at the
 * corners: scale |h| <= d <= |h|. */
struct overlay_pieces {
    size_t count;
    double heights[3][OVERLAY_PIECES], scale[OVERLAY_PIECES];
    double area[OVERLAY_PIECES];
    int64_t lanes[OVERLAY_PIECES]; /* the triangle that each is of */
};

/* What is known of a triangle. */
struct overlay_found {
    double cosine;    /* of the steepest face near it, at most 1 */
    double low, high; /* |h| is between them */
};

#define OVERLAY_CUTS 5 /* of a bound, for a histogram of it */
/* Bins of a histogram are the upper bits of a double (see float_bins.h), from OVERLAY_LEAST on; bin 0 is for
 * what is less. */
#define OVERLAY_BIN_BITS 6 /* 64 bins to each power of two, */
#define OVERLAY_OCTAVES 42 /* from 2^-40: what is less counts as 0, or as that */
#define OVERLAY_LEAST ((uint64_t)(1023 - 40) << OVERLAY_BIN_BITS)
#define OVERLAY_BINS (((size_t)OVERLAY_OCTAVES << OVERLAY_BIN_BITS) + 2)

/* Sums over pieces: areas, areas times bounds; and areas by bin. */
struct overlay_sums {
    double area, low, high, low_sq, high_sq;
    double *lows, *highs; /* [OVERLAY_BINS], added to */
};

struct overlay_kernels {
    const char *name;
    /* Takes triangles as they are, `count` from slot `first` on; lanes past them are like the first. */
    void (*take)(const struct overlay_surface *surface, size_t first, size_t count,
                 struct overlay_bases *bases);
    /* Looks at triangles; those past `count` are ignored. */
    void (*place)(const struct overlay_view *view, size_t count, struct overlay_bases *bases);
    /* Looks at the faces of slots, of which there are no more than OVERLAY_FACES_MAX: fills their blocks. */
    void (*view)(const struct overlay_surface *surface, struct overlay_faces *faces);
    /* Bounds the triangles whose bits are set by the faces over them. Returns the bits of those of which that
     * tells something, found[lane]: what it makes of them is added to pieces, which has room for
     * OVERLAY_PIECES_OF_ONE of each, and for a block that may be written beyond. */
    unsigned (*cut)(const struct overlay_bases *bases, unsigned lanes, const struct overlay_faces *faces,
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

/* The least value of a bin. */
static inline double overlay_bin_start(size_t bin)
{
    uint64_t bits = (OVERLAY_LEAST + bin - 1) << (52 - OVERLAY_BIN_BITS);
    double start;

    __builtin_memcpy(&start, &bits, sizeof start);
    return bin == 0 ? 0 : start;
}

#endif
