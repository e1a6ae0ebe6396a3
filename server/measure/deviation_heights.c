/* deviation_heights.c - fits a plane to the triangles over a piece, and widens it by those near. */
#include "measure/deviation_heights.h"

#include "geom/point_triangle.h"
#include "measure/deviation_prism.h"

#include <math.h>

#define FIT_WORK 24 /* in units of a box looked at */
#define FIT_FACE_WORK 4

/* Heights are those of a plane over the piece, plus between -below and above. */
struct fit {
    double at_middle, slope_x, slope_y, middle_x, middle_y;
    double below, above;
};

static double height_of_fit(const struct fit *fit, double x, double y)
{
    return fit->at_middle + fit->slope_x * (x - fit->middle_x) + fit->slope_y * (y - fit->middle_y);
}

/* Moments of the corners that a plane is fitted to, about the middle of the piece. */
struct fit_sums {
    double n, x, y, xx, xy, yy, h, xh, yh;
};

static void add_to_sums(struct fit_sums *sums, double x, double y, double h)
{
    sums->n++;
    sums->x += x;
    sums->y += y;
    sums->h += h;
    sums->xx += x * x;
    sums->xy += x * y;
    sums->yy += y * y;
    sums->xh += x * h;
    sums->yh += y * h;
}

/* Least squares; level where the corners tell no slope. Any plane serves: this one fits well. */
static void solve_fit(const struct fit_sums *s, struct fit *fit)
{
    double xx = s->xx - s->x * s->x / s->n, xy = s->xy - s->x * s->y / s->n, yy = s->yy - s->y * s->y / s->n,
           xh = s->xh - s->x * s->h / s->n, yh = s->yh - s->y * s->h / s->n, det = xx * yy - xy * xy;

    if (det > 1e-9 * xx * yy) {
        fit->slope_x = (xh * yy - yh * xy) / det;
        fit->slope_y = (yh * xx - xh * xy) / det;
    }
    fit->at_middle = (s->h - fit->slope_x * s->x - fit->slope_y * s->y) / s->n;
}

static void widen_fit(struct fit *fit, const struct seen *corners, size_t count)
{
    for (size_t k = 0; k < count; k++) {
        double off = corners[k].height - height_of_fit(fit, corners[k].x, corners[k].y);
        fit->below = -off > fit->below ? -off : fit->below;
        fit->above = off > fit->above ? off : fit->above;
    }
}

static bool is_within_fit(const struct fit *fit, const struct seen *corners)
{
    for (int i = 0; i < 3; i++) {
        double off = corners[i].height - height_of_fit(fit, corners[i].x, corners[i].y);
        if (off > fit->above || -off > fit->below)
            return false;
    }
    return true;
}

/* Widens by what of a triangle is over the polygon. */
static void widen_by_cover(const struct prism *prism, const struct seen *corners, struct fit *fit)
{
    struct seen part[PRISM_PART_MAX];

    if (is_within_fit(fit, corners))
        return;
    if (corners[0].outside | corners[1].outside | corners[2].outside)
        widen_fit(fit, part, prism_cut(prism, corners, PRISM_CLIP_BESIDE, INFINITY, part));
    else
        widen_fit(fit, corners, 3);
}

/* Widens by what of a triangle may be nearer to the piece than `reach`. */
static void widen_by_near(const struct prism *prism, const struct seen *corners, double reach,
                          struct fit *fit)
{
    struct seen part[PRISM_PART_MAX];
    const double slack = reach + prism->away + PRISM_CLIP_BESIDE;

    if (is_within_fit(fit, corners))
        return;
    widen_fit(fit, part, prism_cut(prism, corners, slack, slack, part));
}

struct covering {
    struct prism prism;
    struct seen seen[HEIGHTS_FACES_MAX][3];
    bool over[HEIGHTS_FACES_MAX]; /* is in T */
    double highest;
};

/* Chooses T, and fits a plane to it; false where it does not cover the polygon. */
static bool choose_cover(const struct bvh *to, const uint32_t *slots, size_t count, struct covering *covering,
                         struct fit *fit)
{
    const struct prism *prism = &covering->prism;
    uint64_t edges[HEIGHTS_FACES_MAX * PRISM_EDGES_PER_TRIANGLE];
    struct fit_sums sums = {0};
    struct prism_memory memory;
    struct prism_edges table;
    bool odd = false;

    *fit = (struct fit){.middle_x = prism->middle_x, .middle_y = prism->middle_y};
    covering->highest = 0;
    prism_open_memory(&memory);
    prism_open_edges(count, edges, &table);
    for (size_t i = 0; i < count; i++) {
        struct seen *corners = covering->seen[i];
        prism_see(to, prism, slots[i], &memory, corners);
        enum prism_place place = prism_place(prism, corners, &covering->highest);
        if (place == PLACE_BEYOND)
            return false;
        covering->over[i] = place == PLACE_WITHIN;
        if (place == PLACE_OUT)
            continue;
        odd ^= prism_add_edges(prism, corners, &table);
        for (int k = 0; k < 3; k++)
            add_to_sums(&sums, corners[k].x - fit->middle_x, corners[k].y - fit->middle_y, corners[k].height);
    }
    if (!odd || table.odd_count > 0)
        return false;
    solve_fit(&sums, fit);
    return true;
}

/* Widens the fit by T, then by all that may be as near as T is. */
static void widen(struct covering *covering, size_t count, struct fit *fit)
{
    const struct prism *prism = &covering->prism;
    double reach = 0;

    for (size_t i = 0; i < count; i++)
        if (covering->over[i])
            widen_by_cover(prism, covering->seen[i], fit);
    for (int i = 0; i < 3; i++) {
        double height = height_of_fit(fit, prism->x[i], prism->y[i]);
        reach = fmax(reach, fmax(height + fit->above, fit->below - height));
    }
    reach = fmin(reach, covering->highest) + prism->away;
    for (size_t i = 0; i < count; i++)
        widen_by_near(prism, covering->seen[i], reach, fit);
}

size_t heights_collect(const struct bvh *to, const vec3 *corners, double limit, uint32_t *slots, size_t most,
                       size_t *work)
{
    struct bvh_region region;
    struct prism prism;

    if (!(limit < 1) || !prism_set_piece(corners, limit, 0, &prism))
        return most + 1;
    prism_set_region(&prism, limit + PRISM_REGION_SLACK, &region);
    size_t count = bvh_collect(to, &region, slots, most, work);
    *work += count;
    return count;
}

bool heights_fit(const struct bvh *to, const vec3 *corners, double limit, double rim, const uint32_t *slots,
                 size_t count, struct heights *heights, size_t *work)
{
    const unsigned turn = triangle_longest_first(corners[0], corners[1], corners[2]);
    struct covering covering;
    struct fit fit;

    if (!(limit < 1) || count == 0 || count > HEIGHTS_FACES_MAX
        || !prism_set_piece(corners, limit, 0, &covering.prism))
        return false;
    *work += FIT_WORK + FIT_FACE_WORK * count;
    if (!choose_cover(to, slots, count, &covering, &fit)
        && !(rim > 0 && prism_set_piece(corners, limit, rim, &covering.prism)
             && choose_cover(to, slots, count, &covering, &fit)))
        return false;
    widen(&covering, count, &fit);
    double slope = sqrt(fit.slope_x * fit.slope_x + fit.slope_y * fit.slope_y),
           aside =
               covering.prism.away * (1 + slope); /* d changes by no more than the way, heights by slope */
    for (unsigned i = 0; i < 3; i++) {
        double height = height_of_fit(&fit, covering.prism.x[i], covering.prism.y[i]);
        heights->low[(turn + i) % 3] = height - fit.below - aside;
        heights->high[(turn + i) % 3] = height + fit.above + aside;
    }
    heights->scale = 1 / sqrt(1 + slope * slope);
    return true;
}
