/* overlay_loops.h - the inner loops themselves; included once by each overlay_kernels_*.c, and by nothing
 * else.
 *
 * Loops over lanes have no branches, so that the compiler makes vectors of them. */
#include "measure/overlay_kernels.h"

#include <string.h>

#define OVER_MAX ((size_t)OVERLAY_PIECES_OF_ONE)
#define TOGETHER_MAX ((size_t)96) /* faces met by triangles that are cut together */
#define WRONG_MAX ((size_t)32)    /* faces near that may not be met */
#define COS_MIN 0.5001            /* above that of 60 degrees */
#define COS_FOLD 0.7072 /* above that of 45 degrees: folds are told without the side that faces show */
#define TILT_MIN 0.5    /* cosine of a triangle's angle with the view */
#define FLAT 0x1p-12    /* twice the area, as a share of the squared longest side: less is left to others */
#define ROUND 0x1p-8    /* of a face, likewise of two sides: no needle */
#define AREA_SLACK 0x1p-34 /* of the area of a triangle: what pieces may leave out or have twice */
#define TINY 0x1p-200      /* heights that are less count as 0 */
#define BIN_SLACK 0x1p-40  /* of values, on the way to a bin */

static inline double lesser(double a, double b)
{
    return a < b ? a : b;
}

static inline double greater(double a, double b)
{
    return a > b ? a : b;
}

static inline double least_of(const double *v)
{
    return lesser(v[0], lesser(v[1], v[2]));
}

static inline double most_of(const double *v)
{
    return greater(v[0], greater(v[1], v[2]));
}

/* --- packing --- */

/* The bits of masks that are set. */
static inline unsigned bits_of(const int64_t *masks)
{
#ifdef OVERLAY_PACKS
    return _mm512_movepi64_mask(_mm512_loadu_si512(masks));
#else
    unsigned bits = 0;

    for (int i = 0; i < OVERLAY_LANES; i++)
        bits |= (unsigned)(masks[i] & 1) << i;
    return bits;
#endif
}

/* Copies the words of 8 bytes whose bits are set, next to each other; what follows them, up to a whole block,
 * may be written over. */
static inline void pack(const void *from, unsigned lanes, void *to)
{
#ifdef OVERLAY_PACKS
    _mm512_storeu_si512(to, _mm512_maskz_compress_epi64((__mmask8)lanes, _mm512_loadu_si512(from)));
#else
    char *put = to;

    for (; lanes; lanes &= lanes - 1, put += sizeof(int64_t))
        memcpy(put, (const char *)from + sizeof(int64_t) * (size_t)__builtin_ctz(lanes), sizeof(int64_t));
#endif
}

/* --- looking --- */

/* Corners across and along the view, counter-clockwise. */
struct turned {
    double x[3], y[3], z[3];
    double twice;   /* the area of the projection */
    bool clockwise; /* before */
};

static inline struct turned turned_of(const struct overlay_view *view, const double *x, const double *y,
                                      const double *z)
{
    struct turned seen;

    for (int k = 0; k < 3; k++) {
        vec3 at = {x[k] - view->origin.x, y[k] - view->origin.y, z[k] - view->origin.z};
        seen.x[k] = vec3_dot(at, view->axes[0]);
        seen.y[k] = vec3_dot(at, view->axes[1]);
        seen.z[k] = vec3_dot(at, view->axes[2]);
    }
    double twice =
        (seen.x[1] - seen.x[0]) * (seen.y[2] - seen.y[0]) - (seen.y[1] - seen.y[0]) * (seen.x[2] - seen.x[0]);
    bool clockwise = twice < 0;
    struct turned turned = {{seen.x[0], clockwise ? seen.x[2] : seen.x[1], clockwise ? seen.x[1] : seen.x[2]},
                            {seen.y[0], clockwise ? seen.y[2] : seen.y[1], clockwise ? seen.y[1] : seen.y[2]},
                            {seen.z[0], clockwise ? seen.z[2] : seen.z[1], clockwise ? seen.z[1] : seen.z[2]},
                            fabs(twice),
                            clockwise};
    return turned;
}

/* A triangle's sides from its corner 0, and what is across them. */
struct sides {
    vec3 ab, ac, normal;
};

static inline struct sides sides_of(const double *x, const double *y, const double *z)
{
    vec3 ab = {x[1] - x[0], y[1] - y[0], z[1] - z[0]}, ac = {x[2] - x[0], y[2] - y[0], z[2] - z[0]};

    return (struct sides){ab, ac, vec3_cross(ab, ac)};
}

static inline void place_lane(const struct overlay_view *view, int i, struct overlay_bases *restrict bases)
{
    double x[3], y[3], z[3];

    for (int k = 0; k < 3; k++) {
        x[k] = bases->corners[k][0][i];
        y[k] = bases->corners[k][1][i];
        z[k] = bases->corners[k][2][i];
    }
    struct turned turned = turned_of(view, x, y, z);
    struct sides sides = sides_of(x, y, z);
    double longest_sq =
               greater(vec3_length_sq(sides.ab),
                       greater(vec3_length_sq(sides.ac), vec3_length_sq(vec3_sub(sides.ac, sides.ab)))),
           twice = sqrt(vec3_length_sq(sides.normal)),
           limit = bases->farthest[i] + OVERLAY_REACH_SIDES * sqrt(longest_sq),
           reach = OVERLAY_REACH_TIMES * limit + OVERLAY_BOX_SLACK;
    bool fit = (turned.twice > 0) & (turned.twice >= TILT_MIN * twice) & (twice >= FLAT * longest_sq);
    for (int k = 0; k < 3; k++) {
        int to = k < 2 ? k + 1 : 0;
        double along_x = turned.x[to] - turned.x[k], along_y = turned.y[to] - turned.y[k],
               share = 1 / sqrt(along_x * along_x + along_y * along_y);
        bases->x[k][i] = turned.x[k];
        bases->y[k][i] = turned.y[k];
        bases->z[k][i] = turned.z[k];
        bases->inward_x[k][i] = -along_y * share;
        bases->inward_y[k][i] = along_x * share;
    }
    bases->area[i] = fit ? 0.5 * turned.twice : 0;
    bases->times[i] = fit ? twice / turned.twice : 1;
    bases->limit[i] = limit;
    bases->reach[i] = reach;
    bases->low[0][i] = least_of(turned.x) - reach;
    bases->low[1][i] = least_of(turned.y) - reach;
    bases->low[2][i] = least_of(turned.z) - reach;
    bases->high[0][i] = most_of(turned.x) + reach;
    bases->high[1][i] = most_of(turned.y) + reach;
    bases->high[2][i] = most_of(turned.z) + reach;
}

static void place(const struct overlay_view *view, size_t count, struct overlay_bases *bases)
{
    for (size_t i = count; i < OVERLAY_LANES; i++) {
        for (int k = 0; k < 9; k++)
            bases->corners[k / 3][k % 3][i] = bases->corners[k / 3][k % 3][0];
        bases->farthest[i] = bases->farthest[0];
    }
    for (int i = 0; i < OVERLAY_LANES; i++)
        place_lane(view, i, bases);
}

enum face_flag {
    FACE_WRONG = 1,       /* too steep, or not plain */
    FACE_ROUND = 2,       /* no needle */
    FACE_FRONT = 1 << 12, /* the side that is seen */
    FACE_BACK = 1 << 13,
    FACE_STEEP = 1 << 14 /* all near show the same side, or it is wrong */
};
#define FACE_SIDES (FACE_FRONT | FACE_BACK | FACE_STEEP)

static inline void view_lane(const struct overlay_view *view, int i, struct overlay_block *restrict block)
{
    double x[3], y[3], z[3];

    for (int k = 0; k < 3; k++) {
        x[k] = block->x[k][i];
        y[k] = block->y[k][i];
        z[k] = block->z[k][i];
    }
    struct turned turned = turned_of(view, x, y, z);
    struct sides sides = sides_of(turned.x, turned.y, turned.z);
    double normal_sq = vec3_length_sq(sides.normal), up = turned.twice,
           sides_sq = vec3_length_sq(sides.ab) + vec3_length_sq(sides.ac);
    bool steep = !(up * up >= COS_FOLD * COS_FOLD * normal_sq);
    int64_t needed = steep ? OVERLAY_PLAIN | OVERLAY_ALIKE : OVERLAY_PLAIN;
    bool level =
        (up * up >= COS_MIN * COS_MIN * normal_sq) & (normal_sq > 0) & ((block->plain[i] & needed) == needed);
    for (int k = 0; k < 3; k++) {
        block->x[k][i] = turned.x[k];
        block->y[k][i] = turned.y[k];
        block->z[k][i] = turned.z[k];
    }
    block->twice[i] = up;
    block->cosine_sq[i] = level ? up * up / normal_sq : 1;
    block->flags[i] = (level ? 0 : FACE_WRONG) | (up > ROUND * sides_sq ? FACE_ROUND : 0)
                      | (turned.clockwise ? FACE_BACK : FACE_FRONT) | (level & steep ? FACE_STEEP : 0);
    block->low[0][i] = least_of(turned.x);
    block->low[1][i] = least_of(turned.y);
    block->low[2][i] = least_of(turned.z);
    block->high[0][i] = most_of(turned.x);
    block->high[1][i] = most_of(turned.y);
    block->high[2][i] = most_of(turned.z);
}

static inline double least_of_lanes(const double *v)
{
    double pairs[4];

    for (int i = 0; i < OVERLAY_LANES / 2; i++)
        pairs[i] = lesser(v[i], v[i + OVERLAY_LANES / 2]);
    return lesser(lesser(pairs[0], pairs[1]), lesser(pairs[2], pairs[3]));
}

static inline double most_of_lanes(const double *v)
{
    double pairs[4];

    for (int i = 0; i < OVERLAY_LANES / 2; i++)
        pairs[i] = greater(v[i], v[i + OVERLAY_LANES / 2]);
    return greater(greater(pairs[0], pairs[1]), greater(pairs[2], pairs[3]));
}

static void view(struct overlay_faces *faces)
{
    const struct overlay_view view = faces->view;

    for (size_t b = 0; b * OVERLAY_LANES < faces->count; b++) {
        struct overlay_block *block = &faces->blocks[b];
        for (int i = 0; i < OVERLAY_LANES; i++)
            view_lane(&view, i, block);
        for (int axis = 0; axis < 3; axis++) {
            block->all_low[axis] = least_of_lanes(block->low[axis]);
            block->all_high[axis] = most_of_lanes(block->high[axis]);
        }
        for (size_t i = faces->count - b * OVERLAY_LANES; i < OVERLAY_LANES; i++)
            block->low[0][i] = INFINITY; /* not there */
    }
}

/* --- what is over a triangle --- */

/* One of the triangles looked at. */
struct base {
    double x[3], y[3], z[3], inward_x[3], inward_y[3];
    double area, times, limit, reach;
    double least_x, most_x, least_y, most_y;
    double low[3], high[3]; /* its box, grown by what is near */
};

static inline struct base base_of(const struct overlay_bases *bases, size_t lane)
{
    struct base base = {.area = bases->area[lane],
                        .times = bases->times[lane],
                        .limit = bases->limit[lane],
                        .reach = bases->reach[lane]};

    for (int k = 0; k < 3; k++) {
        base.x[k] = bases->x[k][lane];
        base.y[k] = bases->y[k][lane];
        base.z[k] = bases->z[k][lane];
        base.inward_x[k] = bases->inward_x[k][lane];
        base.inward_y[k] = bases->inward_y[k][lane];
        base.low[k] = bases->low[k][lane];
        base.high[k] = bases->high[k][lane];
    }
    base.least_x = least_of(base.x);
    base.most_x = most_of(base.x);
    base.least_y = least_of(base.y);
    base.most_y = most_of(base.y);
    return base;
}

/* What a triangle sees of all faces, by lane. */
struct sight {
    double cosine_sq[OVERLAY_LANES];
    int64_t all_flags; /* of what is near */
    size_t wrong_count;
    uint16_t wrong[WRONG_MAX]; /* near, and not far enough beside it to be left out at once */
};

/* Faces whose boxes are over that of one triangle: places in faces->blocks, as if these were words of 8
 * bytes. */
struct met {
    size_t count;
    int64_t places[OVER_MAX + OVERLAY_LANES];
};
#define WORD_OF(field) ((int64_t)(offsetof(struct overlay_block, field) / sizeof(int64_t)))
#define PLACE_OF(b) ((int64_t)((b) * (sizeof(struct overlay_block) / sizeof(int64_t))))
static const int64_t lane_numbers[OVERLAY_LANES] = {0, 1, 2, 3, 4, 5, 6, 7};

/* All bits, or none: what comparisons are for vectors. */
static inline int64_t mask_of(bool holds)
{
    return holds ? -1 : 0;
}

static inline int64_t near_mask(const struct base *base, const struct overlay_block *block, int i)
{
    return mask_of(block->low[0][i] <= base->high[0]) & mask_of(block->high[0][i] >= base->low[0])
           & mask_of(block->low[1][i] <= base->high[1]) & mask_of(block->high[1][i] >= base->low[1])
           & mask_of(block->low[2][i] <= base->high[2]) & mask_of(block->high[2][i] >= base->low[2]);
}

/* Blocks some box of which may come within reach of each triangle, as bits. */
#define BLOCK_WORDS ((OVERLAY_BLOCKS + 63) / 64)
struct near_blocks {
    uint64_t bits[BLOCK_WORDS][OVERLAY_LANES];
};

/* Of all triangles at once: nothing foretells which are. */
static inline void find_near(const struct overlay_bases *bases, const struct overlay_faces *faces,
                             struct near_blocks *near)
{
    memset(near, 0, sizeof *near);
    for (size_t b = 0; b * OVERLAY_LANES < faces->count; b++) {
        const struct overlay_block *block = &faces->blocks[b];
        uint64_t *bits = near->bits[b / 64];
        for (int i = 0; i < OVERLAY_LANES; i++) {
            int64_t meets = mask_of(block->all_low[0] <= bases->high[0][i])
                            & mask_of(block->all_high[0] >= bases->low[0][i])
                            & mask_of(block->all_low[1] <= bases->high[1][i])
                            & mask_of(block->all_high[1] >= bases->low[1][i])
                            & mask_of(block->all_low[2] <= bases->high[2][i])
                            & mask_of(block->all_high[2] >= bases->low[2][i]);
            bits[i] |= (uint64_t)meets & (uint64_t)1 << b % 64;
        }
    }
}

/* Whether a face is farther from the triangle than `reach`. */
static inline bool is_beyond(const struct base *base, const struct overlay_block *block, size_t lane,
                             double reach)
{
    double less = base->reach - reach;
    bool beyond = false;

    for (int k = 0; k < 3; k++)
        beyond |= (block->low[k][lane] > base->high[k] - less) | (block->high[k][lane] < base->low[k] + less);
    for (int side = 0; side < 3; side++) {
        double inside[3];
        for (int k = 0; k < 3; k++)
            inside[k] = base->inward_x[side] * (block->x[k][lane] - base->x[side])
                        + base->inward_y[side] * (block->y[k][lane] - base->y[side]);
        beyond |= most_of(inside) < -reach;
    }
    return beyond;
}

/* False where too many are wrong. */
static inline bool list_wrong(const struct base *base, const struct overlay_faces *faces, size_t b,
                              const int64_t *flags, struct sight *sight)
{
    for (size_t i = 0; i < OVERLAY_LANES; i++) {
        if (!(flags[i] & FACE_WRONG) || is_beyond(base, &faces->blocks[b], i, base->reach))
            continue;
        if (sight->wrong_count == WRONG_MAX)
            return false;
        sight->wrong[sight->wrong_count++] = (uint16_t)(b * OVERLAY_LANES + i);
    }
    return true;
}

/* By boxes. False where too many faces are over the triangle, or wrong. */
static inline bool see_block(const struct base *base, const struct overlay_faces *faces, size_t b,
                             struct sight *sight, struct met *met)
{
    const struct overlay_block *block = &faces->blocks[b];
    int64_t flags[OVERLAY_LANES], over[OVERLAY_LANES], places[OVERLAY_LANES], half[OVERLAY_LANES / 2];

    for (int i = 0; i < OVERLAY_LANES; i++) {
        int64_t near = near_mask(base, block, i);
        flags[i] = near & block->flags[i] & (FACE_WRONG | FACE_SIDES);
        sight->cosine_sq[i] = lesser(sight->cosine_sq[i], near ? block->cosine_sq[i] : 1);
        over[i] = near & mask_of(block->low[0][i] <= base->most_x)
                  & mask_of(block->high[0][i] >= base->least_x) & mask_of(block->low[1][i] <= base->most_y)
                  & mask_of(block->high[1][i] >= base->least_y);
        places[i] = PLACE_OF(b) + lane_numbers[i];
    }
    for (int i = 0; i < OVERLAY_LANES / 2; i++)
        half[i] = flags[i] | flags[i + OVERLAY_LANES / 2];
    const int64_t all = half[0] | half[1] | half[2] | half[3];
    sight->all_flags |= all;
    if ((all & FACE_WRONG) && !list_wrong(base, faces, b, flags, sight))
        return false;
    const unsigned lanes = bits_of(over);
    pack(places, lanes, &met->places[met->count]);
    met->count += (size_t)__builtin_popcount(lanes);
    return met->count < OVER_MAX;
}

static inline bool see(const struct base *base, const struct overlay_faces *faces,
                       const struct near_blocks *near, size_t lane, struct sight *sight, struct met *met)
{
    for (int i = 0; i < OVERLAY_LANES; i++)
        sight->cosine_sq[i] = 1;
    sight->wrong_count = met->count = 0;
    sight->all_flags = 0;
    for (size_t w = 0; w < BLOCK_WORDS; w++)
        for (uint64_t bits = near->bits[w][lane]; bits; bits &= bits - 1)
            if (!see_block(base, faces, 64 * w + (size_t)__builtin_ctzll(bits), sight, met))
                return false;
    return (sight->all_flags & FACE_SIDES) != FACE_SIDES;
}

/* --- cutting --- */

/* Triangles to be cut, by the sides of the larger of triangle and face: how far a corner is inside
 * side 0 and 1, as shares of the height over them, u and v, and 1 - u - v inside side 2; h is how high it is
 * over the triangle looked at. OVERLAY_LANES of them are cut at once, each into two at most, which wait at
 * the end for their other sides, two at most: first come, first cut, as what was just packed is slow to read.
 */
#define WAITING_MAX (61 * OVERLAY_LANES) /* no power of two lies between the arrays */
struct waiting {
    size_t begin, count; /* those before begin are cut */
    double u[3][WAITING_MAX], v[3][WAITING_MAX], h[3][WAITING_MAX];
    double half[WAITING_MAX];   /* of the area where u and v are 0 to 1 */
    int64_t marks[WAITING_MAX]; /* the triangle looked at, MARK_U, _V and _W: to be cut by side 0, 1, 2 */
};
#define MARK_LANE (OVERLAY_LANES - 1)
#define MARK_U OVERLAY_LANES
#define MARK_V (2 * MARK_U)
#define MARK_W (4 * MARK_U)

/* What one side leaves of triangles: up to two of each. Masks: 0 or all bits. */
struct clipped {
    double u[2][3][OVERLAY_LANES], v[2][3][OVERLAY_LANES], h[2][3][OVERLAY_LANES];
    double area[2][OVERLAY_LANES];
    int64_t marks[2][OVERLAY_LANES];
    int64_t done[2][OVERLAY_LANES], waits[2][OVERLAY_LANES]; /* no side is left; one is */
};

/* The pieces that triangles looked at and all faces over them have in common, and what is found of them. */
struct cutting {
    const struct overlay_bases *bases;
    const struct overlay_faces *faces;
    const struct sight *sights; /* [lane] */
    struct overlay_pieces *pieces;
    struct overlay_found *found; /* [lane] */
    size_t first, most;          /* pieces: of those cut together */
    bool failed;                 /* there may be too many */
    struct waiting waiting;
};

/* Unused lanes are like the first. */
static inline void fill_up_waiting(struct waiting *waiting)
{
    const size_t first = waiting->begin;

    for (size_t i = waiting->count; i < first + OVERLAY_LANES; i++) {
        for (int k = 0; k < 3; k++) {
            waiting->u[k][i] = waiting->u[k][first];
            waiting->v[k][i] = waiting->v[k][first];
            waiting->h[k][i] = waiting->h[k][first];
        }
        waiting->half[i] = waiting->half[first];
        waiting->marks[i] = waiting->marks[first];
    }
}

/* How a line cuts a triangle: which corner is alone on one side of it, and where it cuts the sides from there
 * to the corner after it and to the one before. */
struct line_cut {
    int64_t second, third; /* is alone; else the first */
    bool goes, whole;      /* the one alone is beyond the line; none is */
    double to_next, to_last;
};

static inline double chosen(const struct line_cut *cut, double first, double second, double third)
{
    return cut->second ? second : cut->third ? third : first;
}

/* One coordinate of the corners of both triangles that are left, from that of the three corners. */
static inline void cut_coordinate(const struct line_cut *cut, const double *v, double *one, double *two)
{
    double alone = chosen(cut, v[0], v[1], v[2]), next = chosen(cut, v[1], v[2], v[0]),
           last = chosen(cut, v[2], v[0], v[1]), at_next = alone + cut->to_next * (next - alone),
           at_last = alone + cut->to_last * (last - alone), rest = cut->goes ? last : at_next;

    one[0] = cut->goes ? next : alone;
    one[1] = cut->whole ? next : rest;
    one[2] = cut->whole ? last : at_last;
    two[0] = next;
    two[1] = at_last;
    two[2] = at_next;
}

static inline double area_within(const double *x, const double *y)
{
    return fabs((x[1] - x[0]) * (y[2] - y[0]) - (y[1] - y[0]) * (x[2] - x[0]));
}

/* What sides are left of those that may be: masks. */
struct sides_left {
    int64_t v, w;
};

/* One triangle that is left of lane i, with its corners' u, v and h. */
static inline void leave(const double (*corners)[3], int64_t there, struct sides_left then, int64_t lane,
                         double half, int part, int i, struct clipped *restrict out)
{
    const double *u = corners[0], *v = corners[1], w[3] = {1 - u[0] - v[0], 1 - u[1] - v[1], 1 - u[2] - v[2]};
    const int64_t by_v = then.v & mask_of(least_of(v) < 0), by_w = then.w & mask_of(least_of(w) < 0),
                  gone = (then.v & mask_of(most_of(v) <= 0)) | (then.w & mask_of(most_of(w) <= 0)),
                  kept = there & ~gone;

    for (int k = 0; k < 3; k++) {
        out->u[part][k][i] = u[k];
        out->v[part][k][i] = v[k];
        out->h[part][k][i] = corners[2][k];
    }
    out->area[part][i] = half * area_within(u, v);
    out->marks[part][i] = lane | (by_v & MARK_V) | (by_w & MARK_W);
    out->done[part][i] = kept & ~(by_v | by_w);
    out->waits[part][i] = kept & (by_v | by_w);
}

/* The triangles from number `begin` on, each by its first side. */
static inline void clip_lane(const struct waiting *waiting, size_t begin, int i, struct clipped *restrict out)
{
    const size_t at = begin + (size_t)i;
    const int64_t marks = waiting->marks[at], lane = marks & MARK_LANE, by_u = mask_of((marks & MARK_U) != 0),
                  or_v = mask_of((marks & MARK_V) != 0), or_w = mask_of((marks & MARK_W) != 0);
    const struct sides_left then = {by_u & or_v, (by_u | or_v) & or_w};
    double inside[3], corners[3][3], left[2][3][3];

    for (int k = 0; k < 3; k++) {
        corners[0][k] = waiting->u[k][at];
        corners[1][k] = waiting->v[k][at];
        corners[2][k] = waiting->h[k][at];
        inside[k] = by_u ? corners[0][k] : or_v ? corners[1][k] : 1 - corners[0][k] - corners[1][k];
    }
    int64_t beyond[3] = {mask_of(inside[0] < 0), mask_of(inside[1] < 0), mask_of(inside[2] < 0)},
            there = ~(beyond[0] & beyond[1] & beyond[2]);
    struct line_cut cut = {.second = (beyond[1] ^ beyond[0]) & (beyond[1] ^ beyond[2]),
                           .third = (beyond[2] ^ beyond[0]) & (beyond[2] ^ beyond[1]),
                           .whole = !(beyond[0] | beyond[1] | beyond[2])};
    double alone = chosen(&cut, inside[0], inside[1], inside[2]);
    cut.goes = alone < 0;
    cut.to_next = alone / (alone - chosen(&cut, inside[1], inside[2], inside[0]));
    cut.to_last = alone / (alone - chosen(&cut, inside[2], inside[0], inside[1]));
    for (int axis = 0; axis < 3; axis++)
        cut_coordinate(&cut, corners[axis], left[0][axis], left[1][axis]);
    leave(left[0], there, then, lane, waiting->half[at], 0, i, out);
    leave(left[1], there & mask_of(cut.goes), then, lane, waiting->half[at], 1, i, out);
}

static inline void pack_pieces(const struct clipped *clipped, int part, unsigned lanes,
                               struct overlay_pieces *pieces)
{
    const size_t at = pieces->count;

    for (int k = 0; k < 3; k++)
        pack(clipped->h[part][k], lanes, &pieces->heights[k][at]);
    pack(clipped->area[part], lanes, &pieces->area[at]);
    pack(clipped->marks[part], lanes, &pieces->lanes[at]);
    pieces->count += (size_t)__builtin_popcount(lanes);
}

static inline void pack_waiting(const struct clipped *clipped, int part, unsigned lanes, const double *half,
                                struct waiting *waiting)
{
    const size_t at = waiting->count;

    for (int k = 0; k < 3; k++) {
        pack(clipped->u[part][k], lanes, &waiting->u[k][at]);
        pack(clipped->v[part][k], lanes, &waiting->v[k][at]);
        pack(clipped->h[part][k], lanes, &waiting->h[k][at]);
    }
    pack(half, lanes, &waiting->half[at]);
    pack(clipped->marks[part], lanes, &waiting->marks[at]);
    waiting->count += (size_t)__builtin_popcount(lanes);
}

/* Packs what is left of lanes: pieces, or to be cut once more. */
static inline void pass_on(struct cutting *cutting, const struct clipped *clipped, int part, unsigned lanes,
                           const double *half)
{
    const unsigned done = lanes & bits_of(clipped->done[part]), waits = lanes & bits_of(clipped->waits[part]);

    if (done)
        pack_pieces(clipped, part, done, cutting->pieces);
    if (waits)
        pack_waiting(clipped, part, waits, half, &cutting->waiting);
}

/* Whether there is no room for what so many blocks may add to what waits, or to pieces; what packing writes
 * beyond needs one more. */
static inline bool is_full(const struct cutting *cutting, size_t blocks)
{
    return (cutting->pieces->count + blocks * OVERLAY_LANES > cutting->most)
           | (cutting->waiting.count + (blocks + 1) * OVERLAY_LANES > WAITING_MAX);
}

/* Cuts the first ones, unless there may be too many pieces. */
static inline void cut_first(struct cutting *cutting)
{
    struct waiting *waiting = &cutting->waiting;
    const size_t begin = waiting->begin, left = waiting->count - begin,
                 count = left < OVERLAY_LANES ? left : OVERLAY_LANES;
    const unsigned lanes = (1u << count) - 1;
    double half[OVERLAY_LANES];
    struct clipped clipped;

    cutting->failed |= is_full(cutting, 2);
    if (cutting->failed)
        return;
    fill_up_waiting(waiting);
    waiting->begin += count;
    for (int i = 0; i < OVERLAY_LANES; i++)
        half[i] = waiting->half[begin + (size_t)i];
    for (int i = 0; i < OVERLAY_LANES; i++)
        clip_lane(waiting, begin, i, &clipped);
    pass_on(cutting, &clipped, 0, lanes, half);
    pass_on(cutting, &clipped, 1, lanes, half);
}

/* Corners by the sides of a triangle that has so large an area, twice. */
struct shares {
    double u[3], v[3];
    int64_t over, by_u, by_v, by_w; /* masks: some of them is inside of each side; some is beyond it */
};

static inline struct shares shares_of(const double *x, const double *y, const double *larger_x,
                                      const double *larger_y, double twice)
{
    const double along_x[2] = {larger_x[1] - larger_x[0], larger_x[2] - larger_x[1]},
                 along_y[2] = {larger_y[1] - larger_y[0], larger_y[2] - larger_y[1]}, share = 1 / twice;
    struct shares shares;
    double w[3];

    for (int k = 0; k < 3; k++) {
        shares.u[k] = (along_x[0] * (y[k] - larger_y[0]) - along_y[0] * (x[k] - larger_x[0])) * share;
        shares.v[k] = (along_x[1] * (y[k] - larger_y[1]) - along_y[1] * (x[k] - larger_x[1])) * share;
        w[k] = 1 - shares.u[k] - shares.v[k];
    }
    shares.over = mask_of(most_of(shares.u) > 0) & mask_of(most_of(shares.v) > 0) & mask_of(most_of(w) > 0);
    shares.by_u = mask_of(least_of(shares.u) < 0);
    shares.by_v = mask_of(least_of(shares.v) < 0);
    shares.by_w = mask_of(least_of(w) < 0);
    return shares;
}

/* How high the plane through three corners is there. */
static inline double height_at(const struct shares *shares, const double *z, int k)
{
    return shares->v[k] * z[0] + (1 - shares->u[k] - shares->v[k]) * z[1] + shares->u[k] * z[2];
}

static inline int64_t either(int64_t mask, int64_t one, int64_t other)
{
    return (mask & one) | (~mask & other);
}

/* What lane i has in common with the triangle: the larger of both cuts the other. */
static inline void lay_lane(const struct base *base, int64_t lane, const double (*faces)[OVERLAY_LANES],
                            const double *twice, const int64_t *flags, int i, double *restrict half,
                            struct clipped *restrict out)
{
    double x[3], y[3], z[3];

    for (int k = 0; k < 3; k++) {
        x[k] = faces[k][i];
        y[k] = faces[3 + k][i];
        z[k] = faces[6 + k][i];
    }
    const struct shares of_face = shares_of(x, y, base->x, base->y, 2 * base->area),
                        of_base = shares_of(base->x, base->y, x, y, twice[i]);
    const int64_t larger = mask_of(twice[i] > 2 * base->area) & mask_of((flags[i] & FACE_ROUND) != 0),
                  over = of_face.over & of_base.over,
                  sides = (either(larger, of_base.by_u, of_face.by_u) & MARK_U)
                          | (either(larger, of_base.by_v, of_face.by_v) & MARK_V)
                          | (either(larger, of_base.by_w, of_face.by_w) & MARK_W);

    const double half_face = 0.5 * twice[i], half_base = base->area;
    for (int k = 0; k < 3; k++) {
        double under = height_at(&of_base, z, k) - base->z[k], above = z[k] - height_at(&of_face, base->z, k),
               u[2] = {of_face.u[k], of_base.u[k]}, v[2] = {of_face.v[k], of_base.v[k]};
        out->u[0][k][i] = larger ? u[1] : u[0];
        out->v[0][k][i] = larger ? v[1] : v[0];
        out->h[0][k][i] = larger ? under : above;
    }
    half[i] = larger ? half_face : half_base;
    out->area[0][i] = larger ? half_base : half_face;
    out->marks[0][i] = lane | sides;
    out->done[0][i] = over & mask_of(sides == 0);
    out->waits[0][i] = over & mask_of(sides != 0);
}

/* The faces met by a triangle, from number `begin` on. */
static inline void lay_some(struct cutting *cutting, const struct base *base, size_t lane,
                            const struct met *met, size_t begin)
{
    const double *numbers = (const double *)cutting->faces->blocks;
    const int64_t *words = (const int64_t *)cutting->faces->blocks, *places = &met->places[begin];
    const size_t count = met->count - begin;
    const unsigned lanes = count < OVERLAY_LANES ? (1u << count) - 1 : (1u << OVERLAY_LANES) - 1;
    double faces[9][OVERLAY_LANES], twice[OVERLAY_LANES], half[OVERLAY_LANES];
    int64_t flags[OVERLAY_LANES];
    struct clipped clipped;

    for (int k = 0; k < 9; k++) /* x, y and z come first in a block */
        for (int i = 0; i < OVERLAY_LANES; i++)
            faces[k][i] = numbers[places[i] + k * OVERLAY_LANES];
    for (int i = 0; i < OVERLAY_LANES; i++)
        twice[i] = numbers[places[i] + WORD_OF(twice)];
    for (int i = 0; i < OVERLAY_LANES; i++)
        flags[i] = words[places[i] + WORD_OF(flags)];
    for (int i = 0; i < OVERLAY_LANES; i++)
        lay_lane(base, (int64_t)lane, (const double(*)[OVERLAY_LANES])faces, twice, flags, i, half, &clipped);
    pass_on(cutting, &clipped, 0, lanes, half);
}

/* All of them, unless there may be too many pieces. */
static inline void lay(struct cutting *cutting, const struct base *base, size_t lane, struct met *met)
{
    for (size_t i = 0; i < OVERLAY_LANES; i++) /* unused lanes are like the first face of all */
        met->places[met->count + i] = 0;
    for (size_t begin = 0; begin < met->count; begin += OVERLAY_LANES) {
        cutting->failed |= is_full(cutting, 1);
        if (cutting->failed)
            return;
        lay_some(cutting, base, lane, met, begin);
    }
}

/* Areas and heights of the triangles' pieces, from number `first` on. */
static inline void find_heights(const struct overlay_pieces *pieces, size_t first,
                                struct overlay_found *found)
{
    for (int i = 0; i < OVERLAY_LANES; i++)
        found[i] = (struct overlay_found){1, 0, INFINITY, 0};
    for (size_t begin = first; begin < pieces->count; begin += OVERLAY_LANES) {
        double low[OVERLAY_LANES], high[OVERLAY_LANES];
        for (size_t i = 0; i < OVERLAY_LANES; i++) {
            const double heights[3] = {pieces->heights[0][begin + i], pieces->heights[1][begin + i],
                                       pieces->heights[2][begin + i]};
            double least = least_of(heights), most = most_of(heights);
            low[i] = greater(0, greater(least, -most));
            high[i] = greater(most, -least);
        }
        for (size_t i = 0; i < OVERLAY_LANES && begin + i < pieces->count; i++) {
            struct overlay_found *of = &found[pieces->lanes[begin + i]];
            of->area += pieces->area[begin + i];
            of->low = lesser(of->low, low[i]);
            of->high = greater(of->high, high[i]);
        }
    }
}

/* Whether all within `reach` is known, and nothing there is wrong. */
static inline bool is_reach_known(const struct base *base, const struct overlay_faces *faces,
                                  const struct sight *sight, double reach)
{
    if (!(reach <= base->reach))
        return false;
    for (size_t i = 0; i < sight->wrong_count; i++)
        if (!is_beyond(base, &faces->blocks[sight->wrong[i] / OVERLAY_LANES], sight->wrong[i] % OVERLAY_LANES,
                       reach))
            return false;
    return true;
}

/* Whether the faces over a triangle, cut, cover it once, and no other may be nearer. */
static inline bool is_told(const struct cutting *cutting, size_t lane)
{
    const struct base base = base_of(cutting->bases, lane);
    const struct sight *sight = &cutting->sights[lane];
    struct overlay_found *found = &cutting->found[lane];
    double cosine_sq = 1;

    for (int i = 0; i < OVERLAY_LANES; i++)
        cosine_sq = lesser(cosine_sq, sight->cosine_sq[i]);
    found->cosine = sqrt(cosine_sq) * (1 - BIN_SLACK);
    return found->high <= base.limit && fabs(found->area - base.area) <= AREA_SLACK * base.area
           && is_reach_known(&base, cutting->faces, sight, found->high / found->cosine + OVERLAY_BOX_SLACK);
}

/* Leaves out the pieces from number `first` on of other lanes than those whose bits are set. */
static inline void leave_out(size_t first, unsigned lanes, struct overlay_pieces *pieces)
{
    size_t kept = first;

    for (; kept < pieces->count && lanes >> pieces->lanes[kept] & 1; kept++)
        ;
    for (size_t i = kept; i < pieces->count; i++) {
        const int64_t lane = pieces->lanes[i];
        for (int k = 0; k < 3; k++)
            pieces->heights[k][kept] = pieces->heights[k][i];
        pieces->area[kept] = pieces->area[i];
        pieces->lanes[kept] = lane;
        kept += lanes >> lane & 1;
    }
    pieces->count = kept;
}

static inline void begin_together(struct cutting *cutting)
{
    cutting->first = cutting->most = cutting->pieces->count;
    cutting->failed = false;
    cutting->waiting.begin = cutting->waiting.count = 0;
}

/* Cuts what still waits of those whose bits are set. Returns the bits of those that are told: none where they
 * make too many pieces. */
static inline unsigned end_together(struct cutting *cutting, unsigned lanes)
{
    struct overlay_pieces *pieces = cutting->pieces;
    struct overlay_found found[OVERLAY_LANES];
    unsigned told = 0;

    while (cutting->waiting.begin < cutting->waiting.count && !cutting->failed)
        cut_first(cutting);
    if (cutting->failed) {
        pieces->count = cutting->first;
        return 0;
    }
    find_heights(pieces, cutting->first, found);
    for (unsigned left = lanes; left; left &= left - 1) {
        const unsigned lane = (unsigned)__builtin_ctz(left);
        cutting->found[lane] = found[lane];
        if (is_told(cutting, lane))
            told |= 1u << lane;
    }
    leave_out(cutting->first, told, pieces);
    for (size_t i = cutting->first; i < pieces->count; i++) {
        const int64_t lane = pieces->lanes[i];
        pieces->area[i] *= cutting->bases->times[lane];
        pieces->scale[i] = cutting->found[lane].cosine;
    }
    return told;
}

static unsigned cut(const struct overlay_bases *bases, unsigned lanes, const struct overlay_faces *faces,
                    struct overlay_pieces *pieces, struct overlay_found *found)
{
    struct sight sights[OVERLAY_LANES];
    struct near_blocks near;
    struct met met;
    struct cutting cutting; /* large: what waits is not cleared */
    unsigned together = 0, told = 0;
    size_t met_count = 0;

    cutting.bases = bases;
    cutting.faces = faces;
    cutting.sights = sights;
    cutting.pieces = pieces;
    cutting.found = found;
    find_near(bases, faces, &near);
    begin_together(&cutting);
    for (; lanes; lanes &= lanes - 1) {
        const size_t lane = (unsigned)__builtin_ctz(lanes);
        const struct base base = base_of(bases, lane);
        if (!(base.area > 0) || !see(&base, faces, &near, lane, &sights[lane], &met))
            continue;
        if (met_count > 0 && met_count + met.count > TOGETHER_MAX) {
            told |= end_together(&cutting, together);
            begin_together(&cutting);
            together = 0;
            met_count = 0;
        }
        cutting.most += OVERLAY_PIECES_OF_ONE;
        met_count += met.count;
        together |= lanes & -lanes;
        lay(&cutting, &base, lane, &met);
    }
    return told | end_together(&cutting, together);
}

/* --- summing up --- */

/* What is put into the histograms. */
struct binned {
    int64_t lows[OVERLAY_CUTS][OVERLAY_LANES], highs[OVERLAY_CUTS][OVERLAY_LANES];
    double areas[OVERLAY_CUTS][OVERLAY_LANES];
};

struct lane_sums {
    double area[OVERLAY_LANES], low[OVERLAY_LANES], high[OVERLAY_LANES], low_sq[OVERLAY_LANES],
        high_sq[OVERLAY_LANES];
};

/* Heights of a piece ascending, and what the share of it below a value is made of. */
struct ascending {
    double a, b, c, first, last;
};

static inline double cleared(double height)
{
    return fabs(height) < TINY ? 0 : height;
}

static inline struct ascending ascending_of(double x, double y, double z)
{
    double low = lesser(x, y), high = greater(x, y), a = lesser(low, z), rest = greater(low, z),
           b = lesser(high, rest), c = greater(high, rest);

    return (struct ascending){a, b, c, 1 / ((b - a) * (c - a)), 1 / ((c - b) * (c - a))};
}

static inline double share_below(const struct ascending *v, double t)
{
    double from_a = t - v->a, to_c = v->c - t, rising = from_a * from_a * v->first,
           falling = 1 - to_c * to_c * v->last, share = t <= v->b ? rising : falling;

    share = t <= v->a ? 0 : share;
    return t >= v->c ? 1 : share;
}

/* The mean of |h| is that of h, but for what is on the other side of 0 than the middle corner. */
static inline double mean_height(const struct ascending *v)
{
    bool up = v->b >= 0;
    double third = (v->a + v->b + v->c) / 3, lone = up ? -v->a : v->c, shape = up ? v->first : v->last,
           beyond = 2.0 / 3 * (lone * lone * lone) * shape;

    return (up ? third : -third) + (lone > 0 ? beyond : 0);
}

static inline int64_t bin_lane(double value)
{
    int64_t bits, least = (int64_t)OVERLAY_LEAST - 1, most = least + (int64_t)OVERLAY_BINS - 1;

    __builtin_memcpy(&bits, &value, sizeof bits);
    bits >>= 52 - OVERLAY_BIN_BITS;
    bits = bits < least ? least : bits;
    return (bits > most ? most : bits) - least;
}

static inline void sum_up_lane(const struct overlay_pieces *pieces, size_t at, int i,
                               struct lane_sums *restrict sums, struct binned *restrict binned)
{
    double x = cleared(pieces->heights[0][at]), y = cleared(pieces->heights[1][at]),
           z = cleared(pieces->heights[2][at]), scale = pieces->scale[at], area = pieces->area[at];
    const struct ascending v = ascending_of(x, y, z);
    double mean = mean_height(&v), square = (x * x + y * y + z * z + x * y + y * z + z * x) / 6,
           min = greater(0, greater(v.a, -v.c)), max = greater(v.c, -v.a),
           step = (max - min) * (1.0 / OVERLAY_CUTS), value = min, until = 0;

    sums->area[i] += area;
    sums->low[i] += area * (scale * mean);
    sums->high[i] += area * mean;
    sums->low_sq[i] += area * (scale * scale * square);
    sums->high_sq[i] += area * square;
#pragma GCC unroll 5
    for (int cut = 0; cut < OVERLAY_CUTS; cut++) {
        double next = cut + 1 < OVERLAY_CUTS ? min + (cut + 1) * step : max, share = 1;
        if (cut + 1 < OVERLAY_CUTS)
            share = greater(0, share_below(&v, next) - share_below(&v, -next));
        binned->lows[cut][i] = bin_lane(scale * value * (1 - BIN_SLACK));
        binned->highs[cut][i] = bin_lane(next * (1 + BIN_SLACK));
        binned->areas[cut][i] = (share - until) * area;
        until = share;
        value = next;
    }
}

static double sum_of(const double *lanes)
{
    double sum = 0;

    for (int i = 0; i < OVERLAY_LANES; i++)
        sum += lanes[i];
    return sum;
}

static void fill_up(struct overlay_pieces *pieces)
{
    for (size_t i = pieces->count; i % OVERLAY_LANES; i++) {
        for (int k = 0; k < 3; k++)
            pieces->heights[k][i] = 0;
        pieces->scale[i] = pieces->area[i] = 0;
    }
}

static void sum_up(struct overlay_pieces *pieces, struct overlay_sums *sums)
{
    struct lane_sums lanes = {{0}, {0}, {0}, {0}, {0}};
    struct binned binned;

    fill_up(pieces);
    for (size_t at = 0; at < pieces->count; at += OVERLAY_LANES) {
        for (int i = 0; i < OVERLAY_LANES; i++)
            sum_up_lane(pieces, at + (size_t)i, i, &lanes, &binned);
        for (int cut = 0; cut < OVERLAY_CUTS; cut++)
            for (int i = 0; i < OVERLAY_LANES; i++) {
                sums->lows[binned.lows[cut][i]] += binned.areas[cut][i];
                sums->highs[binned.highs[cut][i]] += binned.areas[cut][i];
            }
    }
    sums->area = sum_of(lanes.area);
    sums->low = sum_of(lanes.low);
    sums->high = sum_of(lanes.high);
    sums->low_sq = sum_of(lanes.low_sq);
    sums->high_sq = sum_of(lanes.high_sq);
}

const struct overlay_kernels OVERLAY_KERNELS = {OVERLAY_KERNELS_NAME, place, view, cut, sum_up};
