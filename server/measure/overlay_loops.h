/* overlay_loops.h - the inner loops themselves; included once by each overlay_kernels_*.c, and by nothing
 * else.
 *
 * Loops over lanes have no branches, so that the compiler makes vectors of them. */
#include "base/ahead.h"
#include "geom/vec3_lanes.h"
#include "measure/overlay_kernels.h"

#include <string.h>

_Static_assert(OVERLAY_LANES == VEC3_LANES, "points are put together by as many");

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

/* All bits, or none: what comparisons are for vectors. */
static inline int64_t mask_of(bool holds)
{
    return holds ? -1 : 0;
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

/* The corners of the faces of slots, as they are. */
static inline void put_corners(const struct overlay_surface *surface, const uint32_t *slots, int k, double *x,
                               double *y, double *z)
{
    const vec3 *p[OVERLAY_LANES];

    for (int i = 0; i < OVERLAY_LANES; i++)
        p[i] = &surface->points[surface->corners[slots[i]][k]];
    vec3_put_lanes(p, x, y, z);
}

static inline __attribute__((always_inline)) void take_lane(int i, struct overlay_bases *restrict bases)
{
    vec3 p[3];

    for (int k = 0; k < 3; k++)
        p[k] = (vec3){bases->corners[k][0][i], bases->corners[k][1][i], bases->corners[k][2][i]};
    const vec3 ab = vec3_sub(p[1], p[0]), normal = vec3_cross(ab, vec3_sub(p[2], p[0]));
    bases->longest[i] = sqrt(greater(vec3_length_sq(ab), greater(vec3_length_sq(vec3_sub(p[2], p[1])),
                                                                 vec3_length_sq(vec3_sub(p[0], p[2])))));
    bases->normal[0][i] = normal.x;
    bases->normal[1][i] = normal.y;
    bases->normal[2][i] = normal.z;
    for (int axis = 0; axis < 3; axis++) {
        const double of_axis[3] = {bases->corners[0][axis][i], bases->corners[1][axis][i],
                                   bases->corners[2][axis][i]};
        bases->least[axis][i] = least_of(of_axis);
        bases->most[axis][i] = most_of(of_axis);
    }
}

static void take(const struct overlay_surface *surface, size_t first, size_t count,
                 struct overlay_bases *bases)
{
    uint32_t slots[OVERLAY_LANES];

    for (size_t i = 0; i < OVERLAY_LANES; i++)
        slots[i] = (uint32_t)(first + (i < count ? i : 0));
    for (int k = 0; k < 3; k++)
        put_corners(surface, slots, k, bases->corners[k][0], bases->corners[k][1], bases->corners[k][2]);
    for (int i = 0; i < OVERLAY_LANES; i++)
        take_lane(i, bases);
}

/* Corners across and along the view, counter-clockwise. */
struct turned {
    double x[3], y[3], z[3];
    double twice;      /* the area of the projection */
    int64_t clockwise; /* mask: before */
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
                            mask_of(clockwise)};
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

static inline __attribute__((always_inline)) void place_lane(const struct overlay_view *view, int i,
                                                             struct overlay_bases *restrict bases)
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
    const int64_t fit = mask_of(turned.twice > 0) & mask_of(turned.twice >= TILT_MIN * twice)
                        & mask_of(twice >= FLAT * longest_sq);
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

static inline void view_lane(const struct overlay_view *view, const int64_t *plain, int i,
                             struct overlay_block *restrict block)
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
    const int64_t steep = ~mask_of(up * up >= COS_FOLD * COS_FOLD * normal_sq),
                  needed = OVERLAY_PLAIN | (steep & OVERLAY_ALIKE),
                  level = mask_of(up * up >= COS_MIN * COS_MIN * normal_sq) & mask_of(normal_sq > 0)
                          & mask_of((plain[i] & needed) == needed);
    for (int k = 0; k < 3; k++) {
        block->x[k][i] = turned.x[k];
        block->y[k][i] = turned.y[k];
        block->z[k][i] = turned.z[k];
    }
    block->twice[i] = up;
    block->cosine_sq[i] = level ? up * up / normal_sq : 1;
    block->flags[i] = (~level & FACE_WRONG) | (mask_of(up > ROUND * sides_sq) & FACE_ROUND)
                      | (turned.clockwise & FACE_BACK) | (~turned.clockwise & FACE_FRONT)
                      | (level & steep & FACE_STEEP);
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

/* Puts the corners of a block's faces in, as they are, and what is plain of them. */
static inline void put_faces(const struct overlay_surface *surface, const uint32_t *slots,
                             struct overlay_block *block, int64_t *plain)
{
    unsigned char bytes[OVERLAY_LANES];
    uint64_t word = 0;

    for (int k = 0; k < 3; k++)
        put_corners(surface, slots, k, block->x[k], block->y[k], block->z[k]);
    for (int i = 0; i < OVERLAY_LANES; i++)
        word |= (uint64_t)surface->plain[slots[i]] << 8 * i;
    memcpy(bytes, &word, sizeof bytes);
    for (int i = 0; i < OVERLAY_LANES; i++)
        plain[i] = bytes[i];
}

static void view(const struct overlay_surface *surface, struct overlay_faces *faces)
{
    const struct overlay_view view = faces->view;

    for (size_t i = faces->count; i % OVERLAY_LANES; i++)
        faces->slots[i] = faces->slots[faces->count - 1];
    for (size_t i = 0; i < faces->count; i++)
        ahead_ask(surface->corners[faces->slots[i]]);
    for (size_t b = 0; b * OVERLAY_LANES < faces->count; b++) {
        struct overlay_block *block = &faces->blocks[b];
        int64_t plain[OVERLAY_LANES];
        put_faces(surface, &faces->slots[b * OVERLAY_LANES], block, plain);
        for (int i = 0; i < OVERLAY_LANES; i++)
            view_lane(&view, plain, i, block);
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

/* What is near a triangle, by the lanes of the blocks: the least cosine, and all flags. */
struct all_near {
    double cosine_sq[OVERLAY_LANES];
    int64_t flags[OVERLAY_LANES];
};

/* What a triangle sees of all faces. */
struct sight {
    double cosine_sq; /* the least of what is near */
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

/* Of a face that is farther from the triangle than `reach`. */
static inline int64_t beyond_mask(const struct base *base, const struct overlay_block *block, size_t lane,
                                  double reach)
{
    const double less = base->reach - reach;
    int64_t beyond = 0;

    for (int k = 0; k < 3; k++)
        beyond |= mask_of(block->low[k][lane] > base->high[k] - less)
                  | mask_of(block->high[k][lane] < base->low[k] + less);
    for (int side = 0; side < 3; side++) {
        double inside[3];
        for (int k = 0; k < 3; k++)
            inside[k] = base->inward_x[side] * (block->x[k][lane] - base->x[side])
                        + base->inward_y[side] * (block->y[k][lane] - base->y[side]);
        beyond |= mask_of(most_of(inside) < -reach);
    }
    return beyond;
}

/* Of the faces whose bits are set, which are wrong; false where they are too many. */
static inline bool list_wrong(const struct base *base, const struct overlay_faces *faces, size_t b,
                              unsigned wrong, struct sight *sight)
{
    int64_t beyond[OVERLAY_LANES];

    for (size_t i = 0; i < OVERLAY_LANES; i++)
        beyond[i] = beyond_mask(base, &faces->blocks[b], i, base->reach);
    wrong &= ~bits_of(beyond);
    if (sight->wrong_count + (size_t)__builtin_popcount(wrong) > WRONG_MAX)
        return false;
    for (; wrong; wrong &= wrong - 1)
        sight->wrong[sight->wrong_count++] = (uint16_t)(b * OVERLAY_LANES + (size_t)__builtin_ctz(wrong));
    return true;
}

/* What one block adds to it; bits of the faces over the triangle, and of those near that are wrong. */
struct seen {
    unsigned over, wrong;
};

static inline struct seen look_over(const struct base *base, const struct overlay_block *block,
                                    struct all_near *restrict all)
{
#ifdef OVERLAY_PACKS
    const __m512d low_x = _mm512_loadu_pd(block->low[0]), low_y = _mm512_loadu_pd(block->low[1]),
                  high_x = _mm512_loadu_pd(block->high[0]), high_y = _mm512_loadu_pd(block->high[1]);
    const __m512i flags = _mm512_loadu_si512(block->flags);
    __mmask8 near = _mm512_cmp_pd_mask(low_x, _mm512_set1_pd(base->high[0]), _CMP_LE_OQ), over;

    near = _mm512_mask_cmp_pd_mask(near, high_x, _mm512_set1_pd(base->low[0]), _CMP_GE_OQ);
    near = _mm512_mask_cmp_pd_mask(near, low_y, _mm512_set1_pd(base->high[1]), _CMP_LE_OQ);
    near = _mm512_mask_cmp_pd_mask(near, high_y, _mm512_set1_pd(base->low[1]), _CMP_GE_OQ);
    near = _mm512_mask_cmp_pd_mask(near, _mm512_loadu_pd(block->low[2]), _mm512_set1_pd(base->high[2]),
                                   _CMP_LE_OQ);
    near = _mm512_mask_cmp_pd_mask(near, _mm512_loadu_pd(block->high[2]), _mm512_set1_pd(base->low[2]),
                                   _CMP_GE_OQ);
    over = _mm512_mask_cmp_pd_mask(near, low_x, _mm512_set1_pd(base->most_x), _CMP_LE_OQ);
    over = _mm512_mask_cmp_pd_mask(over, high_x, _mm512_set1_pd(base->least_x), _CMP_GE_OQ);
    over = _mm512_mask_cmp_pd_mask(over, low_y, _mm512_set1_pd(base->most_y), _CMP_LE_OQ);
    over = _mm512_mask_cmp_pd_mask(over, high_y, _mm512_set1_pd(base->least_y), _CMP_GE_OQ);
    const __m512d cosine_sq = _mm512_loadu_pd(all->cosine_sq);
    const __m512i all_flags = _mm512_loadu_si512(all->flags);
    _mm512_storeu_pd(all->cosine_sq,
                     _mm512_mask_min_pd(cosine_sq, near, cosine_sq, _mm512_loadu_pd(block->cosine_sq)));
    _mm512_storeu_si512(all->flags, _mm512_mask_or_epi64(all_flags, near, all_flags, flags));
    return (struct seen){over, _mm512_mask_test_epi64_mask(near, flags, _mm512_set1_epi64(FACE_WRONG))};
#else
    int64_t over[OVERLAY_LANES], wrong[OVERLAY_LANES];

    for (int i = 0; i < OVERLAY_LANES; i++) {
        int64_t near = near_mask(base, block, i), flags = near & block->flags[i];
        all->flags[i] |= flags;
        all->cosine_sq[i] = lesser(all->cosine_sq[i], near ? block->cosine_sq[i] : 1);
        over[i] = near & mask_of(block->low[0][i] <= base->most_x)
                  & mask_of(block->high[0][i] >= base->least_x) & mask_of(block->low[1][i] <= base->most_y)
                  & mask_of(block->high[1][i] >= base->least_y);
        wrong[i] = flags & FACE_WRONG;
    }
    return (struct seen){bits_of(over), bits_of(wrong)};
#endif
}

/* The places of those faces of a block whose bits are set, next to each other. */
static inline void pack_places(size_t b, unsigned lanes, int64_t *to)
{
#ifdef OVERLAY_PACKS /* written one by one, they would be slow to read together */
    const __m512i places = _mm512_add_epi64(_mm512_set1_epi64(PLACE_OF(b)), _mm512_loadu_si512(lane_numbers));

    _mm512_storeu_si512(to, _mm512_maskz_compress_epi64((__mmask8)lanes, places));
#else
    int64_t places[OVERLAY_LANES];

    for (int i = 0; i < OVERLAY_LANES; i++)
        places[i] = PLACE_OF(b) + lane_numbers[i];
    pack(places, lanes, to);
#endif
}

/* By boxes. False where too many faces are over the triangle, or wrong. */
static inline bool see_block(const struct base *base, const struct overlay_faces *faces, size_t b,
                             struct all_near *all, struct sight *sight, int64_t *places, size_t *count)
{
    const struct seen seen = look_over(base, &faces->blocks[b], all);

    if (seen.wrong && !list_wrong(base, faces, b, seen.wrong, sight))
        return false;
    pack_places(b, seen.over, &places[*count]);
    *count += (size_t)__builtin_popcount(seen.over);
    return *count < OVER_MAX;
}

static inline bool see(const struct base *base, const struct overlay_faces *faces,
                       const struct near_blocks *near, size_t lane, struct sight *sight, struct met *met)
{
    struct all_near all;
    int64_t flags = 0;
    size_t count = 0;

    for (int i = 0; i < OVERLAY_LANES; i++) {
        all.cosine_sq[i] = 1;
        all.flags[i] = 0;
    }
    sight->wrong_count = 0;
    for (size_t w = 0; w < BLOCK_WORDS; w++)
        for (uint64_t bits = near->bits[w][lane]; bits; bits &= bits - 1)
            if (!see_block(base, faces, 64 * w + (size_t)__builtin_ctzll(bits), &all, sight, met->places,
                           &count))
                return false;
    for (int i = 0; i < OVERLAY_LANES; i++)
        flags |= all.flags[i];
    met->count = count;
    sight->cosine_sq = least_of_lanes(all.cosine_sq);
    return (flags & FACE_SIDES) != FACE_SIDES;
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
    struct overlay_found *found;      /* [lane] */
    double cosines_sq[OVERLAY_LANES]; /* the least that each sees */
    size_t first, most;               /* pieces: of those cut together */
    bool failed;                      /* there may be too many */
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

/* Of the pieces of each triangle: what is found, by lane. */
struct heights {
    double area[OVERLAY_LANES], low[OVERLAY_LANES], high[OVERLAY_LANES];
};

/* Adds `count` of OVERLAY_LANES pieces in a row. */
static inline void add_heights(const int64_t *lanes, const double *area, const double *low,
                               const double *high, size_t count, struct heights *heights)
{
#ifdef OVERLAY_PACKS
    const __m512i numbers = _mm512_loadu_si512(lane_numbers);
    __m512d areas = _mm512_loadu_pd(heights->area), lows = _mm512_loadu_pd(heights->low),
            highs = _mm512_loadu_pd(heights->high);

    for (size_t i = 0; i < count; i++) {
        const __mmask8 lane = _mm512_cmpeq_epi64_mask(numbers, _mm512_set1_epi64(lanes[i]));
        areas = _mm512_mask_add_pd(areas, lane, areas, _mm512_set1_pd(area[i]));
        lows = _mm512_mask_min_pd(lows, lane, lows, _mm512_set1_pd(low[i]));
        highs = _mm512_mask_max_pd(highs, lane, highs, _mm512_set1_pd(high[i]));
    }
    _mm512_storeu_pd(heights->area, areas);
    _mm512_storeu_pd(heights->low, lows);
    _mm512_storeu_pd(heights->high, highs);
#else
    for (size_t i = 0; i < count; i++) {
        const int64_t lane = lanes[i];
        heights->area[lane] += area[i];
        heights->low[lane] = lesser(heights->low[lane], low[i]);
        heights->high[lane] = greater(heights->high[lane], high[i]);
    }
#endif
}

/* Of the pieces from number `first` on. */
static inline void find_heights(const struct overlay_pieces *pieces, size_t first, struct heights *heights)
{
    for (int i = 0; i < OVERLAY_LANES; i++) {
        heights->area[i] = heights->high[i] = 0;
        heights->low[i] = INFINITY;
    }
    for (size_t begin = first; begin < pieces->count; begin += OVERLAY_LANES) {
        const size_t left = pieces->count - begin;
        double low[OVERLAY_LANES], high[OVERLAY_LANES];
        for (size_t i = 0; i < OVERLAY_LANES; i++) {
            const double of_one[3] = {pieces->heights[0][begin + i], pieces->heights[1][begin + i],
                                      pieces->heights[2][begin + i]};
            double least = least_of(of_one), most = most_of(of_one);
            low[i] = greater(0, greater(least, -most));
            high[i] = greater(most, -least);
        }
        add_heights(&pieces->lanes[begin], &pieces->area[begin], low, high,
                    left < OVERLAY_LANES ? left : OVERLAY_LANES, heights);
    }
}

/* Whether nothing within `reach` is wrong. */
static inline bool is_nothing_wrong(const struct base *base, const struct overlay_faces *faces,
                                    const struct sight *sight, double reach)
{
    for (size_t i = 0; i < sight->wrong_count; i++)
        if (!beyond_mask(base, &faces->blocks[sight->wrong[i] / OVERLAY_LANES],
                         sight->wrong[i] % OVERLAY_LANES, reach))
            return false;
    return true;
}

/* The bits of those triangles which the faces over them, cut, cover once, with no other that may be nearer.
 */
static inline unsigned find_told(const struct cutting *cutting, unsigned lanes, const struct heights *heights,
                                 const double *cosines)
{
    const struct overlay_bases *bases = cutting->bases;
    double reach[OVERLAY_LANES];
    int64_t covered[OVERLAY_LANES];

    for (int i = 0; i < OVERLAY_LANES; i++) {
        reach[i] = heights->high[i] / cosines[i] + OVERLAY_BOX_SLACK;
        covered[i] = mask_of(heights->high[i] <= bases->limit[i]) & mask_of(reach[i] <= bases->reach[i])
                     & mask_of(fabs(heights->area[i] - bases->area[i]) <= AREA_SLACK * bases->area[i]);
    }
    lanes &= bits_of(covered);
    for (unsigned left = lanes; left; left &= left - 1) {
        const unsigned lane = (unsigned)__builtin_ctz(left);
        const struct sight *sight = &cutting->sights[lane];
        if (sight->wrong_count == 0)
            continue;
        const struct base base = base_of(bases, lane);
        if (!is_nothing_wrong(&base, cutting->faces, sight, reach[lane]))
            lanes &= ~(1u << lane);
    }
    return lanes;
}

/* Areas of the pieces from number `first` on as they are, and the scales of their heights. */
static inline void scale_pieces(const struct overlay_bases *bases, const double *cosines, size_t first,
                                struct overlay_pieces *pieces)
{
#ifdef OVERLAY_PACKS
    const __m512d times = _mm512_loadu_pd(bases->times), scales = _mm512_loadu_pd(cosines);

    for (size_t i = first; i < pieces->count; i += OVERLAY_LANES) {
        const __m512i lanes = _mm512_loadu_si512(&pieces->lanes[i]);
        _mm512_storeu_pd(&pieces->area[i], _mm512_mul_pd(_mm512_loadu_pd(&pieces->area[i]),
                                                         _mm512_permutexvar_pd(lanes, times)));
        _mm512_storeu_pd(&pieces->scale[i], _mm512_permutexvar_pd(lanes, scales));
    }
#else
    for (size_t i = first; i < pieces->count; i++) {
        pieces->area[i] *= bases->times[pieces->lanes[i]];
        pieces->scale[i] = cosines[pieces->lanes[i]];
    }
#endif
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
    struct heights heights;
    double cosines[OVERLAY_LANES];

    while (cutting->waiting.begin < cutting->waiting.count && !cutting->failed)
        cut_first(cutting);
    if (cutting->failed) {
        pieces->count = cutting->first;
        return 0;
    }
    find_heights(pieces, cutting->first, &heights);
    for (int i = 0; i < OVERLAY_LANES; i++)
        cosines[i] = sqrt(cutting->cosines_sq[i]) * (1 - BIN_SLACK);
    const unsigned told = find_told(cutting, lanes, &heights, cosines);
    for (unsigned left = told; left; left &= left - 1) {
        const unsigned lane = (unsigned)__builtin_ctz(left);
        cutting->found[lane] = (struct overlay_found){cosines[lane], heights.low[lane], heights.high[lane]};
    }
    if (told != lanes)
        leave_out(cutting->first, told, pieces);
    scale_pieces(cutting->bases, cosines, cutting->first, pieces);
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
    for (int i = 0; i < OVERLAY_LANES; i++)
        cutting.cosines_sq[i] = 1;
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
        cutting.cosines_sq[lane] = sights[lane].cosine_sq;
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

const struct overlay_kernels OVERLAY_KERNELS = {OVERLAY_KERNELS_NAME, take, place, view, cut, sum_up};
