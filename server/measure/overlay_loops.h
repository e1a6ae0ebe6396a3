/* overlay_loops.h - the inner loops themselves; included once by each overlay_kernels_*.c, and by nothing
 * else.
 *
 * Loops over lanes have no branches, so that the compiler makes vectors of them. */
#include "measure/overlay_kernels.h"

#define CORNERS_MAX 9      /* of a triangle clipped to another */
#define COS_MIN 0.7072     /* above that of 45 degrees */
#define ROUND 0x1p-8       /* twice the area, as a share of the squared longest side: no needle */
#define AREA_SLACK 0x1p-34 /* of the area of a triangle: what pieces may leave out or have twice */
#define TINY 0x1p-200      /* heights that are less count as 0 */
#define BIN_SLACK 0x1p-40  /* of values, on the way to a bin */

/* --- cutting --- */

enum sight_flag {
    SIGHT_OVER = 1,    /* it may be over the triangle */
    SIGHT_WRONG = 2,   /* near, and steep or not plain */
    SIGHT_LARGER = 4,  /* than the triangle, and no needle */
    SIGHT_OUT_0 = 8,   /* << i: some of it is beyond side i of the triangle */
    SIGHT_UNDER_0 = 64 /* << i: some of the triangle is beyond its side i */
};
#define SIGHT_OUT (7 * SIGHT_OUT_0)
#define SIGHT_UNDER (7 * SIGHT_UNDER_0)

/* Faces of a block as a triangle sees them. */
struct sight {
    double x[3][OVERLAY_LANES], y[3][OVERLAY_LANES], h[3][OVERLAY_LANES];
    double over[3][OVERLAY_LANES]; /* heights of its plane over the triangle's corners */
    double twice[OVERLAY_LANES];   /* the area of the projection */
    double cosine_sq[OVERLAY_LANES];
    int64_t flags[OVERLAY_LANES];
};

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

/* The least of a side's edge function over the triangle's corners, times `turn`. */
static inline double least_beside(const struct overlay_base *base, const double *x, const double *y, int a,
                                  int b, double turn)
{
    double along_x = (x[b] - x[a]) * turn, along_y = (y[b] - y[a]) * turn, least = INFINITY;

    for (int k = 0; k < 3; k++)
        least = lesser(least, along_x * (base->y[k] - y[a]) - along_y * (base->x[k] - x[a]));
    return least;
}

static inline void see_lane(const struct overlay_base *base, const struct overlay_block *block, int i,
                            struct sight *restrict sight)
{
    double x[3], y[3], h[3];

    for (int k = 0; k < 3; k++) {
        vec3 at = {block->x[k][i] - base->origin.x, block->y[k][i] - base->origin.y,
                   block->z[k][i] - base->origin.z};
        x[k] = vec3_dot(at, base->axes[0]);
        y[k] = vec3_dot(at, base->axes[1]);
        h[k] = vec3_dot(at, base->axes[2]);
        sight->x[k][i] = x[k];
        sight->y[k][i] = y[k];
        sight->h[k][i] = h[k];
    }
    double farthest = INFINITY; /* of the sides: where the face is least inwards */
    int64_t flags = 0;
    for (int side = 0; side < 3; side++) {
        double inside[3];
        for (int k = 0; k < 3; k++)
            inside[k] =
                base->inward_x[side] * (x[k] - base->x[side]) + base->inward_y[side] * (y[k] - base->y[side]);
        farthest = lesser(farthest, most_of(inside));
        flags |= least_of(inside) < 0 ? SIGHT_OUT_0 << side : 0;
    }
    vec3 ab = {block->x[1][i] - block->x[0][i], block->y[1][i] - block->y[0][i],
               block->z[1][i] - block->z[0][i]},
         ac = {block->x[2][i] - block->x[0][i], block->y[2][i] - block->y[0][i],
               block->z[2][i] - block->z[0][i]};
    vec3 normal = vec3_cross(ab, ac);
    double normal_sq = vec3_length_sq(normal), up = vec3_dot(normal, base->axes[2]),
           sides_sq = vec3_length_sq(ab) + vec3_length_sq(ac), turn = up < 0 ? -1 : 1,
           slope_x = vec3_dot(normal, base->axes[0]) / up, slope_y = vec3_dot(normal, base->axes[1]) / up;
    bool far = (least_of(h) > base->reach) | (most_of(h) < -base->reach) | (farthest < -base->reach),
         level = (up * up >= COS_MIN * COS_MIN * normal_sq) & (normal_sq > 0) & (block->plain[i] != 0),
         larger = (up * turn > 2 * base->area) & (up * turn > ROUND * sides_sq);
    flags |= (least_beside(base, x, y, 0, 1, turn) < 0 ? SIGHT_UNDER_0 : 0)
             | (least_beside(base, x, y, 1, 2, turn) < 0 ? SIGHT_UNDER_0 << 1 : 0)
             | (least_beside(base, x, y, 2, 0, turn) < 0 ? SIGHT_UNDER_0 << 2 : 0)
             | (farthest > 0 ? SIGHT_OVER : 0) | (larger ? SIGHT_LARGER : 0) | (level ? 0 : SIGHT_WRONG);
    sight->flags[i] = far ? 0 : flags;
    sight->cosine_sq[i] = far | !level ? 1 : up * up / normal_sq;
    sight->twice[i] = up * turn;
    for (int k = 0; k < 3; k++)
        sight->over[k][i] = h[0] - slope_x * (base->x[k] - x[0]) - slope_y * (base->y[k] - y[0]);
}

/* Whether the box of a lane comes within reach. */
static inline bool near_lane(const struct overlay_base *base, const struct overlay_block *block, int i)
{
    return (block->min[0][i] <= base->high[0]) & (block->max[0][i] >= base->low[0])
           & (block->min[1][i] <= base->high[1]) & (block->max[1][i] >= base->low[1])
           & (block->min[2][i] <= base->high[2]) & (block->max[2][i] >= base->low[2]);
}

static inline unsigned near_lanes(const struct overlay_base *base, const struct overlay_block *block)
{
    int near[OVERLAY_LANES];
    unsigned bits = 0;

#pragma GCC unroll 1
    for (int i = 0; i < OVERLAY_LANES; i++)
        near[i] = near_lane(base, block, i) << i;
    for (int i = 0; i < OVERLAY_LANES; i++)
        bits |= (unsigned)near[i];
    return bits;
}

struct spot {
    double x, y, h;
};

/* What is on one side of the line through x, y. */
struct half {
    double x, y, inward_x, inward_y;
};

static inline struct half half_of_side(const struct overlay_base *base, int side)
{
    return (struct half){base->x[side], base->y[side], base->inward_x[side], base->inward_y[side]};
}

static inline struct half half_of_face(const struct sight *sight, unsigned lane, int side)
{
    const int to = side < 2 ? side + 1 : 0;
    double x = sight->x[side][lane], y = sight->y[side][lane], along_x = sight->x[to][lane] - x,
           along_y = sight->y[to][lane] - y;
    bool turned = (sight->x[1][lane] - sight->x[0][lane]) * (sight->y[2][lane] - sight->y[0][lane])
                  < (sight->y[1][lane] - sight->y[0][lane]) * (sight->x[2][lane] - sight->x[0][lane]);

    return turned ? (struct half){x, y, along_y, -along_x} : (struct half){x, y, -along_y, along_x};
}

static inline double inwards(struct half half, const struct spot *spot)
{
    return half.inward_x * (spot->x - half.x) + half.inward_y * (spot->y - half.y);
}

/* Clips a polygon. */
static inline size_t clip(struct half half, const struct spot *in, size_t count, struct spot *out)
{
    const struct spot *from = &in[count - 1];
    double last = inwards(half, from);
    size_t kept = 0;

    for (size_t i = 0; i < count; i++) {
        const struct spot *to = &in[i];
        double here = inwards(half, to);
        if ((last > 0 && here < 0) || (last < 0 && here > 0)) {
            double share = last / (last - here);
            out[kept++] =
                (struct spot){from->x + share * (to->x - from->x), from->y + share * (to->y - from->y),
                              from->h + share * (to->h - from->h)};
        }
        if (here >= 0)
            out[kept++] = *to;
        from = to;
        last = here;
    }
    return kept;
}

/* False where there are too many, or where it is too high. */
static inline bool add_piece(const struct overlay_base *base, double a, double b, double c, double area,
                             struct overlay_pieces *pieces, size_t most, struct overlay_found *found)
{
    const double heights[3] = {a, b, c};
    double low = least_of(heights), high = most_of(heights);

    if (!(low >= -base->limit) || !(high <= base->limit) || pieces->count == most)
        return false;
    for (int k = 0; k < 3; k++)
        pieces->heights[k][pieces->count] = heights[k];
    pieces->area[pieces->count++] = area;
    found->area += area;
    found->low = lesser(found->low, greater(0, greater(low, -high)));
    found->high = greater(found->high, greater(high, -low));
    return true;
}

/* What the triangle and a face have in common: the larger of them cuts the other. */
static inline bool add_lane(const struct overlay_base *base, const struct sight *sight, unsigned lane,
                            struct overlay_pieces *pieces, size_t most, struct overlay_found *found)
{
    const int64_t flags = sight->flags[lane];
    const bool larger = flags & SIGHT_LARGER;
    struct spot spots[2][CORNERS_MAX];
    size_t count = 3;
    int at = 0;

    if (larger && !(flags & SIGHT_UNDER))
        return add_piece(base, sight->over[0][lane], sight->over[1][lane], sight->over[2][lane], base->area,
                         pieces, most, found);
    if (!(flags & SIGHT_OUT))
        return add_piece(base, sight->h[0][lane], sight->h[1][lane], sight->h[2][lane],
                         0.5 * sight->twice[lane], pieces, most, found);
    for (int k = 0; k < 3; k++)
        spots[0][k] = larger ? (struct spot){base->x[k], base->y[k], sight->over[k][lane]}
                             : (struct spot){sight->x[k][lane], sight->y[k][lane], sight->h[k][lane]};
    for (int side = 0; side < 3 && count > 0; side++) {
        if (!(flags & (larger ? SIGHT_UNDER_0 : SIGHT_OUT_0) << side))
            continue;
        count = clip(larger ? half_of_face(sight, lane, side) : half_of_side(base, side), spots[at], count,
                     spots[1 - at]);
        at = 1 - at;
    }
    const struct spot *a = &spots[at][0];
    for (size_t i = 2; i < count; i++) {
        const struct spot *b = &spots[at][i - 1], *c = &spots[at][i];
        double area = 0.5 * fabs((b->x - a->x) * (c->y - a->y) - (b->y - a->y) * (c->x - a->x));
        if (!add_piece(base, a->h, b->h, c->h, area, pieces, most, found))
            return false;
    }
    return true;
}

static bool cut(const struct overlay_base *base, const struct overlay_faces *faces,
                struct overlay_pieces *pieces, struct overlay_found *found)
{
    const size_t most = pieces->count + OVERLAY_PIECES_OF_ONE;
    double cosine_sq = 1;
    struct sight sight;

    *found = (struct overlay_found){1, 0, INFINITY, 0};
    for (size_t b = 0; b * OVERLAY_LANES < faces->count; b++) {
        unsigned near = near_lanes(base, &faces->blocks[b]);
        if (faces->count - b * OVERLAY_LANES < OVERLAY_LANES)
            near &= (1u << (faces->count - b * OVERLAY_LANES)) - 1;
        if (!near)
            continue;
        for (int i = 0; i < OVERLAY_LANES; i++)
            see_lane(base, &faces->blocks[b], i, &sight);
        for (; near; near &= near - 1) {
            unsigned lane = (unsigned)__builtin_ctz(near);
            if (sight.flags[lane] & SIGHT_WRONG)
                return false;
            cosine_sq = lesser(cosine_sq, sight.cosine_sq[lane]);
            if ((sight.flags[lane] & SIGHT_OVER) && !add_lane(base, &sight, lane, pieces, most, found))
                return false;
        }
    }
    found->cosine = sqrt(cosine_sq) * (1 - BIN_SLACK);
    return fabs(found->area - base->area) <= AREA_SLACK * base->area;
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
    double mean = area * mean_height(&v),
           square = area * ((x * x + y * y + z * z + x * y + y * z + z * x) / 6),
           min = greater(0, greater(v.a, -v.c)), max = greater(v.c, -v.a),
           step = (max - min) * (1.0 / OVERLAY_CUTS), value = min, until = 0;

    sums->area[i] += area;
    sums->low[i] += scale * mean;
    sums->high[i] += mean;
    sums->low_sq[i] += scale * scale * square;
    sums->high_sq[i] += square;
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

const struct overlay_kernels OVERLAY_KERNELS = {OVERLAY_KERNELS_NAME, cut, sum_up};
