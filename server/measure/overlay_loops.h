/* overlay_loops.h - the inner loops themselves; included once by each overlay_kernels_*.c, and by nothing
 * else.
 *
 * Loops over lanes have no branches, so that the compiler makes vectors of them. */
#include "measure/overlay_kernels.h"

#define OVER_MAX ((size_t)OVERLAY_PIECES_OF_ONE)
#define TOGETHER_MAX ((size_t)32) /* faces over triangles that are cut together */
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
    block->slope_x[i] = -sides.normal.x / up;
    block->slope_y[i] = -sides.normal.y / up;
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
    return base;
}

enum sight_flag {
    SIGHT_OVER = 8,      /* it may be over the triangle */
    SIGHT_LARGER = 16,   /* than the triangle, and no needle */
    SIGHT_OUT_0 = 64,    /* << i: some of it is beyond side i of the triangle */
    SIGHT_UNDER_0 = 512, /* << i: some of the triangle is beyond its side i */
};
#define SIGHT_OUT (7 * SIGHT_OUT_0)
#define SIGHT_UNDER (7 * SIGHT_UNDER_0)

/* What a triangle sees of all faces, by lane; and those that may be over it. */
struct sight {
    double cosine_sq[OVERLAY_LANES];
    int64_t flags[OVERLAY_LANES]; /* of a block */
    int64_t all_flags;            /* of all blocks */
    size_t over_count, wrong_count;
    uint16_t over[OVER_MAX], over_flags[OVER_MAX];
    uint16_t wrong[WRONG_MAX + OVERLAY_LANES]; /* beside it, and not far enough to be left out at once */
};

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

/* The way that a face is over the triangle, by the triangle's sides. */
static inline void see_lane(const struct base *base, const struct overlay_block *block, int i,
                            struct sight *restrict sight)
{
    double farthest = INFINITY; /* of the sides: where the face is least inwards */
    int64_t flags = 0;

    for (int side = 0; side < 3; side++) {
        double inside[3];
        for (int k = 0; k < 3; k++)
            inside[k] = base->inward_x[side] * (block->x[k][i] - base->x[side])
                        + base->inward_y[side] * (block->y[k][i] - base->y[side]);
        farthest = lesser(farthest, most_of(inside));
        flags |= mask_of(least_of(inside) < 0) & (SIGHT_OUT_0 << side);
    }
    int64_t here = near_mask(base, block, i) & ~mask_of(farthest < -base->reach),
            larger = mask_of(block->twice[i] > 2 * base->area) & SIGHT_LARGER;
    flags |= (mask_of(farthest > 0) & SIGHT_OVER) | (larger & (block->flags[i] * (SIGHT_LARGER / FACE_ROUND)))
             | (block->flags[i] & (FACE_WRONG | FACE_SIDES));
    sight->flags[i] = here & flags;
    sight->cosine_sq[i] = lesser(sight->cosine_sq[i], here ? block->cosine_sq[i] : 1);
}

/* And by its own sides. */
static inline void see_sides(const struct base *base, const struct overlay_block *block, int i,
                             struct sight *restrict sight)
{
    int64_t flags = sight->flags[i], under = 0, over = mask_of((flags & SIGHT_OVER) != 0);

    for (int side = 0; side < 3; side++) {
        const int to = side < 2 ? side + 1 : 0;
        double inside[3], x = block->x[side][i], y = block->y[side][i], along_x = block->x[to][i] - x,
                          along_y = block->y[to][i] - y;
        for (int k = 0; k < 3; k++)
            inside[k] = along_x * (base->y[k] - y) - along_y * (base->x[k] - x);
        under |= mask_of(least_of(inside) < 0) & (SIGHT_UNDER_0 << side);
        over &= mask_of(most_of(inside) > 0);
    }
    sight->flags[i] = over & (flags | under);
}

/* Whether some box of a block may come within reach; without branches, which nothing foretells. */
static inline bool is_near(const struct base *base, const struct overlay_block *block)
{
    return (block->all_low[0] <= base->high[0]) & (block->all_high[0] >= base->low[0])
           & (block->all_low[1] <= base->high[1]) & (block->all_high[1] >= base->low[1])
           & (block->all_low[2] <= base->high[2]) & (block->all_high[2] >= base->low[2]);
}

static inline void list_over(size_t b, struct sight *sight)
{
    for (size_t i = 0; i < OVERLAY_LANES && sight->over_count < OVER_MAX; i++) {
        sight->over[sight->over_count] = (uint16_t)(b * OVERLAY_LANES + i);
        sight->over_flags[sight->over_count] = (uint16_t)sight->flags[i];
        sight->over_count += (sight->flags[i] & SIGHT_OVER) != 0;
    }
}

static inline bool list_wrong(size_t b, struct sight *sight)
{
    int64_t over = 0;

    for (size_t i = 0; i < OVERLAY_LANES; i++) {
        bool wrong = sight->flags[i] & FACE_WRONG;
        over |= wrong ? sight->flags[i] & SIGHT_OVER : 0;
        sight->wrong[sight->wrong_count] = (uint16_t)(b * OVERLAY_LANES + i);
        sight->wrong_count += wrong;
    }
    return !over && sight->wrong_count < WRONG_MAX;
}

/* False where a face over the triangle is wrong, or too many are. */
static inline bool see_block(const struct base *base, const struct overlay_faces *faces, size_t b,
                             struct sight *sight)
{
    const struct overlay_block *block = &faces->blocks[b];
    int64_t half[OVERLAY_LANES / 2];

    if (!is_near(base, block))
        return true;
    for (int i = 0; i < OVERLAY_LANES; i++)
        see_lane(base, block, i, sight);
    for (int i = 0; i < OVERLAY_LANES / 2; i++)
        half[i] = sight->flags[i] | sight->flags[i + OVERLAY_LANES / 2];
    const int64_t all = half[0] | half[1] | half[2] | half[3];
    sight->all_flags |= all;
    if ((all & FACE_WRONG) && !list_wrong(b, sight))
        return false;
    if (!(all & SIGHT_OVER))
        return true;
    if (all & SIGHT_LARGER)
        for (int i = 0; i < OVERLAY_LANES; i++)
            see_sides(base, block, i, sight);
    list_over(b, sight);
    return sight->over_count < OVER_MAX;
}

static inline bool see(const struct base *base, const struct overlay_faces *faces, struct sight *sight)
{
    for (int i = 0; i < OVERLAY_LANES; i++)
        sight->cosine_sq[i] = 1;
    sight->over_count = sight->wrong_count = 0;
    sight->all_flags = 0;
    for (size_t b = 0; b * OVERLAY_LANES < faces->count; b++)
        if (!see_block(base, faces, b, sight))
            return false;
    return (sight->all_flags & FACE_SIDES) != FACE_SIDES;
}

/* --- cutting --- */

/* What is on one side of the line through x, y. */
struct half {
    double x, y, inward_x, inward_y;
};

static inline struct half half_of_side(const struct overlay_bases *bases, size_t lane, int side)
{
    return (struct half){bases->x[side][lane], bases->y[side][lane], bases->inward_x[side][lane],
                         bases->inward_y[side][lane]};
}

static inline struct half half_of_face(const struct overlay_block *block, size_t lane, int side)
{
    const int to = side < 2 ? side + 1 : 0;
    double x = block->x[side][lane], y = block->y[side][lane];

    return (struct half){x, y, y - block->y[to][lane], block->x[to][lane] - x};
}

/* How high the plane of a face is over corner k. */
static inline double height_over(const struct base *base, const struct overlay_block *block, size_t lane,
                                 int k)
{
    return block->z[0][lane] + block->slope_x[lane] * (base->x[k] - block->x[0][lane])
           + block->slope_y[lane] * (base->y[k] - block->y[0][lane]) - base->z[k];
}

/* How high a corner of a face is over the plane of the triangle. */
static inline double height_at(const struct base *base, const double *slope,
                               const struct overlay_block *block, size_t lane, int k)
{
    return block->z[k][lane] - base->z[0] - slope[0] * (block->x[k][lane] - base->x[0])
           - slope[1] * (block->y[k][lane] - base->y[0]);
}

/* Corners of triangles, and their heights over the triangle looked at. */
struct spots {
    double x[OVERLAY_LANES], y[OVERLAY_LANES], h[OVERLAY_LANES];
};

/* A stack of triangles, each to be cut by a line and then by its other lines. OVERLAY_LANES of it are cut at
 * once, each into two at most, which wait on top for their other lines, two at most: no more are ever in
 * it. */
#define WAITING_MAX (4 * OVERLAY_LANES)
struct waiting {
    size_t count;
    double x[3][WAITING_MAX], y[3][WAITING_MAX], h[3][WAITING_MAX];
    double line_x[WAITING_MAX], line_y[WAITING_MAX], inward_x[WAITING_MAX], inward_y[WAITING_MAX];
    uint16_t over[WAITING_MAX];       /* of its sight: the face */
    unsigned char lanes[WAITING_MAX]; /* the triangle looked at */
    unsigned char lines[WAITING_MAX]; /* left after this one: bit i, side i of the larger of both */
};

/* What a line leaves of triangles: up to two of each, as corners; 0 or all bits. And what of |h| is least and
 * most there. */
struct clipped {
    struct spots corners[2][3];
    double area[2][OVERLAY_LANES], low[2][OVERLAY_LANES], high[2][OVERLAY_LANES];
    int64_t there[2][OVERLAY_LANES];
};

/* The pieces that triangles looked at and all faces over them have in common, and what is found of them. */
struct cutting {
    const struct overlay_bases *bases;
    const struct overlay_faces *faces;
    const struct sight *sights; /* [lane] */
    struct overlay_pieces *pieces;
    struct overlay_found *found; /* [lane] */
    size_t most;                 /* pieces */
    struct waiting waiting;
};

static inline void open_waiting(struct waiting *waiting)
{
    waiting->count = 0;
    for (int i = 0; i < OVERLAY_LANES; i++) {
        for (int k = 0; k < 3; k++)
            waiting->x[k][i] = waiting->y[k][i] = waiting->h[k][i] = 0;
        waiting->line_x[i] = waiting->line_y[i] = waiting->inward_x[i] = waiting->inward_y[i] = 0;
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
    return 0.5 * fabs((x[1] - x[0]) * (y[2] - y[0]) - (y[1] - y[0]) * (x[2] - x[0]));
}

/* The triangles from number `begin` on, each by its line. */
static inline void clip_lane(const struct waiting *waiting, size_t begin, int i, struct clipped *restrict out)
{
    const size_t at = begin + (size_t)i;
    double inside[3], in[3][3], left[2][3][3];

    for (int k = 0; k < 3; k++) {
        in[0][k] = waiting->x[k][at];
        in[1][k] = waiting->y[k][at];
        in[2][k] = waiting->h[k][at];
        inside[k] = waiting->inward_x[at] * (in[0][k] - waiting->line_x[at])
                    + waiting->inward_y[at] * (in[1][k] - waiting->line_y[at]);
    }
    int64_t beyond[3] = {mask_of(inside[0] < 0), mask_of(inside[1] < 0), mask_of(inside[2] < 0)};
    struct line_cut cut = {.second = (beyond[1] ^ beyond[0]) & (beyond[1] ^ beyond[2]),
                           .third = (beyond[2] ^ beyond[0]) & (beyond[2] ^ beyond[1]),
                           .whole = !(beyond[0] | beyond[1] | beyond[2])};
    double alone = chosen(&cut, inside[0], inside[1], inside[2]);
    cut.goes = alone < 0;
    cut.to_next = alone / (alone - chosen(&cut, inside[1], inside[2], inside[0]));
    cut.to_last = alone / (alone - chosen(&cut, inside[2], inside[0], inside[1]));
    for (int axis = 0; axis < 3; axis++)
        cut_coordinate(&cut, in[axis], left[0][axis], left[1][axis]);
    for (int part = 0; part < 2; part++) {
        for (int k = 0; k < 3; k++) {
            out->corners[part][k].x[i] = left[part][0][k];
            out->corners[part][k].y[i] = left[part][1][k];
            out->corners[part][k].h[i] = left[part][2][k];
        }
        out->area[part][i] = area_within(left[part][0], left[part][1]);
        double low = least_of(left[part][2]), high = most_of(left[part][2]);
        out->low[part][i] = greater(0, greater(low, -high));
        out->high[part][i] = greater(high, -low);
    }
    out->there[0][i] = ~(beyond[0] & beyond[1] & beyond[2]);
    out->there[1][i] = mask_of(cut.goes) & out->there[0][i];
}

/* Puts a triangle, all of whose corners are set, on top, with its first line. */
static inline void push(const struct cutting *cutting, size_t lane, unsigned over, unsigned lines,
                        struct waiting *waiting)
{
    const struct sight *sight = &cutting->sights[lane];
    const unsigned face = sight->over[over];
    const int side = __builtin_ctz(lines);
    const struct half half =
        sight->over_flags[over] & SIGHT_LARGER
            ? half_of_face(&cutting->faces->blocks[face / OVERLAY_LANES], face % OVERLAY_LANES, side)
            : half_of_side(cutting->bases, lane, side);
    const size_t at = waiting->count++;

    waiting->line_x[at] = half.x;
    waiting->line_y[at] = half.y;
    waiting->inward_x[at] = half.inward_x;
    waiting->inward_y[at] = half.inward_y;
    waiting->over[at] = (uint16_t)over;
    waiting->lanes[at] = (unsigned char)lane;
    waiting->lines[at] = (unsigned char)(lines & (lines - 1));
}

/* A piece of a triangle, of which nothing is to be cut off any more. */
static inline void put_piece(struct cutting *cutting, size_t lane, const double *heights, double area,
                             double low, double high)
{
    struct overlay_pieces *pieces = cutting->pieces;
    struct overlay_found *found = &cutting->found[lane];
    const size_t at = pieces->count++;

    for (int k = 0; k < 3; k++)
        pieces->heights[k][at] = heights[k];
    pieces->area[at] = area * cutting->bases->times[lane];
    pieces->lanes[at] = (unsigned char)lane;
    found->area += area;
    found->low = lesser(found->low, low);
    found->high = greater(found->high, high);
}

/* What is left of lane i: a piece, or to be cut once more. */
static inline void pass_on(struct cutting *cutting, const struct clipped *clipped, int part, int i,
                           size_t lane, unsigned over, unsigned lines)
{
    struct waiting *waiting = &cutting->waiting;
    const struct spots *corners = clipped->corners[part];

    if (!clipped->there[part][i])
        return;
    if (lines) {
        for (int k = 0; k < 3; k++) {
            waiting->x[k][waiting->count] = corners[k].x[i];
            waiting->y[k][waiting->count] = corners[k].y[i];
            waiting->h[k][waiting->count] = corners[k].h[i];
        }
        push(cutting, lane, over, lines, waiting);
        return;
    }
    const double heights[3] = {corners[0].h[i], corners[1].h[i], corners[2].h[i]};
    put_piece(cutting, lane, heights, clipped->area[part][i], clipped->low[part][i], clipped->high[part][i]);
}

/* Cuts the topmost. False where there may be too many pieces. */
static inline bool cut_top(struct cutting *cutting)
{
    struct waiting *waiting = &cutting->waiting;
    size_t count = waiting->count < OVERLAY_LANES ? waiting->count : OVERLAY_LANES,
           begin = waiting->count - count;
    uint16_t over[OVERLAY_LANES];
    unsigned char lanes[OVERLAY_LANES], lines[OVERLAY_LANES];
    struct clipped clipped;

    if (cutting->pieces->count + 2 * OVERLAY_LANES > cutting->most)
        return false;
    for (size_t i = 0; i < count; i++) {
        over[i] = waiting->over[begin + i];
        lanes[i] = waiting->lanes[begin + i];
        lines[i] = waiting->lines[begin + i];
    }
    for (int i = 0; i < OVERLAY_LANES; i++)
        clip_lane(waiting, begin, i, &clipped);
    waiting->count = begin;
    for (size_t i = 0; i < count; i++) {
        pass_on(cutting, &clipped, 0, (int)i, lanes[i], over[i], lines[i]);
        pass_on(cutting, &clipped, 1, (int)i, lanes[i], over[i], lines[i]);
    }
    return true;
}

/* What a triangle and a face have in common: the larger of them cuts the other. */
static inline void add_over(struct cutting *cutting, const struct base *base, size_t lane,
                            const double *slope, size_t over)
{
    const struct sight *sight = &cutting->sights[lane];
    const unsigned face = sight->over[over], flags = sight->over_flags[over];
    const struct overlay_block *block = &cutting->faces->blocks[face / OVERLAY_LANES];
    const size_t at_block = face % OVERLAY_LANES;
    const bool larger = flags & SIGHT_LARGER;
    const unsigned lines = larger ? (flags & SIGHT_UNDER) / SIGHT_UNDER_0 : (flags & SIGHT_OUT) / SIGHT_OUT_0;
    struct waiting *waiting = &cutting->waiting;
    const size_t at = waiting->count;
    double heights[3];

    for (int k = 0; k < 3; k++) {
        heights[k] =
            larger ? height_over(base, block, at_block, k) : height_at(base, slope, block, at_block, k);
        waiting->x[k][at] = larger ? base->x[k] : block->x[k][at_block];
        waiting->y[k][at] = larger ? base->y[k] : block->y[k][at_block];
        waiting->h[k][at] = heights[k];
    }
    if (lines) {
        push(cutting, lane, (unsigned)over, lines, waiting);
        return;
    }
    const double low = least_of(heights), high = most_of(heights);
    put_piece(cutting, lane, heights, larger ? base->area : 0.5 * block->twice[at_block],
              greater(0, greater(low, -high)), greater(high, -low));
}

/* All faces over a triangle. False where there may be too many pieces. */
static inline bool cut_lane(struct cutting *cutting, size_t lane)
{
    const struct base base = base_of(cutting->bases, lane);
    const struct sides sides = sides_of(base.x, base.y, base.z);
    const double slope[2] = {-sides.normal.x / sides.normal.z, -sides.normal.y / sides.normal.z};

    cutting->found[lane] = (struct overlay_found){1, 0, INFINITY, 0};
    for (size_t i = 0; i < cutting->sights[lane].over_count; i++) {
        if (cutting->pieces->count == cutting->most)
            return false;
        add_over(cutting, &base, lane, slope, i);
        while (cutting->waiting.count >= OVERLAY_LANES)
            if (!cut_top(cutting))
                return false;
    }
    return true;
}

/* Those whose bits are set, together. */
static inline bool cut_lanes(struct cutting *cutting, unsigned lanes)
{
    open_waiting(&cutting->waiting);
    for (; lanes; lanes &= lanes - 1)
        if (!cut_lane(cutting, (unsigned)__builtin_ctz(lanes)))
            return false;
    while (cutting->waiting.count > 0)
        if (!cut_top(cutting))
            return false;
    return true;
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
static inline void keep_pieces(size_t first, unsigned lanes, const struct overlay_found *found,
                               struct overlay_pieces *pieces)
{
    size_t kept = first;

    for (size_t i = first; i < pieces->count; i++) {
        const unsigned lane = pieces->lanes[i];
        for (int k = 0; k < 3; k++)
            pieces->heights[k][kept] = pieces->heights[k][i];
        pieces->area[kept] = pieces->area[i];
        pieces->lanes[kept] = (unsigned char)lane;
        pieces->scale[kept] = found[lane].cosine;
        kept += lanes >> lane & 1;
    }
    pieces->count = kept;
}

/* Cuts those whose bits are set, together. Returns the bits of those that are told: none where they make too
 * many pieces. */
static unsigned cut_together(struct cutting *cutting, unsigned lanes)
{
    const size_t first = cutting->pieces->count;
    unsigned told = 0;

    cutting->most = first + (size_t)__builtin_popcount(lanes) * OVERLAY_PIECES_OF_ONE;
    if (!cut_lanes(cutting, lanes)) {
        cutting->pieces->count = first;
        return 0;
    }
    for (unsigned left = lanes; left; left &= left - 1)
        if (is_told(cutting, (unsigned)__builtin_ctz(left)))
            told |= left & -left;
    keep_pieces(first, told, cutting->found, cutting->pieces);
    return told;
}

static unsigned cut(const struct overlay_bases *bases, unsigned lanes, const struct overlay_faces *faces,
                    struct overlay_pieces *pieces, struct overlay_found *found)
{
    struct sight sights[OVERLAY_LANES];
    struct cutting cutting; /* large: what waits is not cleared */
    unsigned together = 0, told = 0;
    size_t over_count = 0;

    cutting.bases = bases;
    cutting.faces = faces;
    cutting.sights = sights;
    cutting.pieces = pieces;
    cutting.found = found;
    for (; lanes; lanes &= lanes - 1) {
        const size_t lane = (unsigned)__builtin_ctz(lanes);
        const struct base base = base_of(bases, lane);
        if (!(base.area > 0) || !see(&base, faces, &sights[lane]))
            continue;
        if (over_count + sights[lane].over_count > TOGETHER_MAX && together) {
            told |= cut_together(&cutting, together);
            together = 0;
            over_count = 0;
        }
        together |= lanes & -lanes;
        over_count += sights[lane].over_count;
    }
    return together ? told | cut_together(&cutting, together) : told;
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
