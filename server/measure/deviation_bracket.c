/* deviation_bracket.c - one face, then the faces near, then the faces over each triangle. */
#include "measure/deviation_bracket.h"

#include "geom/point_triangle.h"
#include "measure/deviation_heights.h"

#include <math.h>
#include <string.h>

#define NEAR_FACES_MAX 192   /* of a group; where they are more, the index is asked for each triangle */
#define FAR_ALLOWANCE 1500   /* of work, for that */
#define FAR_SHARE 0.5        /* of the gap wanted, for that */
#define LISTED_FACES_MAX 24  /* of a group: so few are sifted for each triangle without another search */
#define SMALL_FACE 0.5       /* a face this small beside a triangle suggests that many lie over it */
#define SERVED_SHARE 0.5     /* of the group's radius: a face whose bound is that near serves the group */
#define BOX_SLACK 1e-6       /* of float boxes */
#define RIM_SHARE 0.02       /* of the gap wanted: what a cover may leave out, and SAME be at most */
#define GROUP_WORK 16        /* in units of a box looked at: of a group, */
#define LANES_WORK 6         /* of a face against all lanes from below, */
#define FACE_WORK 8          /* and from above */
#define SAME 0x1p-30         /* so near a surface is the other, but for the rounding of a file's floats */
#define COVER_HEIGHT_MAX 2.0 /* of the longest side: farther off, covers bound no better than faces */

struct lanes {
    struct bracketing *bracketing;
    struct bracket_group *group;
    struct bvh_lanes points;
    struct bvh_points corners[3];
    vec3 middles[BVH_LANES];
    double low[BVH_LANES][3], high[BVH_LANES][3]; /* linear bounds so far */
    uint32_t tried[2 * BVH_LANES];                /* faces that gave upper bounds */
    size_t tried_count;
    aabb box;
};

static void put_point(struct bvh_points *points, size_t lane, vec3 p)
{
    points->x[lane] = p.x;
    points->y[lane] = p.y;
    points->z[lane] = p.z;
}

static vec3 centroid_of(const vec3 *p)
{
    return vec3_scale(vec3_add(vec3_add(p[0], p[1]), p[2]), 1.0 / 3);
}

static void open_lanes(struct bracketing *bracketing, struct bracket_group *group, struct lanes *lanes)
{
    lanes->bracketing = bracketing;
    lanes->group = group;
    lanes->tried_count = 0;
    lanes->box = aabb_empty();
    for (size_t lane = 0; lane < BVH_LANES; lane++) {
        const vec3 *p = group->corners[lane < group->count ? lane : 0];
        vec3 middle = centroid_of(p);
        lanes->middles[lane] = middle;
        put_point(&lanes->points.middles, lane, middle);
        for (int i = 0; i < 3; i++) {
            lanes->box = aabb_include(lanes->box, p[i]);
            put_point(&lanes->corners[i], lane, p[i]);
            put_point(&lanes->points.ways[i], lane, vec3_sub(p[i], middle));
            lanes->low[lane][i] = 0;
            lanes->high[lane][i] = bracketing->reach;
        }
    }
}

static double most_of(const double *values)
{
    double most = values[0] > values[1] ? values[0] : values[1];

    return values[2] > most ? values[2] : most;
}

/* Bounds all lanes by the distances of their corners to one face. */
static void try_face(struct lanes *lanes, uint32_t face)
{
    double distances_sq[3][BVH_LANES];

    for (size_t i = 0; i < lanes->tried_count; i++)
        if (lanes->tried[i] == face)
            return;
    if (lanes->tried_count == sizeof lanes->tried / sizeof *lanes->tried)
        return;
    lanes->tried[lanes->tried_count++] = face;
    for (int i = 0; i < 3; i++)
        bvh_distances_sq(lanes->bracketing->to, face, &lanes->corners[i], distances_sq[i]);
    lanes->bracketing->work += FACE_WORK;
    for (size_t lane = 0; lane < lanes->group->count; lane++) {
        const double high[3] = {sqrt(distances_sq[0][lane]), sqrt(distances_sq[1][lane]),
                                sqrt(distances_sq[2][lane])};
        part_sink_high(lanes->high[lane], high);
    }
}

/* d grows and sinks by at most the way. */
static void bound_by_way(struct lanes *lanes, size_t lane, vec3 p, double distance)
{
    double low[3], high[3];

    for (int i = 0; i < 3; i++) {
        double way = vec3_distance(p, lanes->group->corners[lane][i]);
        low[i] = distance - way;
        high[i] = distance + way;
    }
    part_raise_low(lanes->low[lane], low);
    part_sink_high(lanes->high[lane], high);
}

/* The nearest face to the centroid of each lane. */
static void ask_lanes(struct lanes *lanes)
{
    struct bracketing *bracketing = lanes->bracketing;

    for (size_t lane = 0; lane < lanes->group->count; lane++) {
        struct bvh_hit hit =
            bvh_nearest(bracketing->to, lanes->middles[lane], bracketing->near, &bracketing->work);
        bracketing->near = lanes->group->parts[lane].near = hit.slot;
        bound_by_way(lanes, lane, lanes->middles[lane], sqrt(hit.distance_sq));
        try_face(lanes, hit.slot);
    }
}

static double radius_of(aabb box)
{
    return 0.5 * vec3_length(vec3_sub(box.max, box.min));
}

/* All faces within `reach` of a box. */
static size_t collect(struct lanes *lanes, aabb box, double reach, uint32_t *slots)
{
    const double grown = reach + BOX_SLACK;
    const struct bvh_region region = {
        .min = {(float)(box.min.x - grown), (float)(box.min.y - grown), (float)(box.min.z - grown)},
        .max = {(float)(box.max.x + grown), (float)(box.max.y + grown), (float)(box.max.z + grown)}};

    return bvh_collect(lanes->bracketing->to, &region, slots, NEAR_FACES_MAX, &lanes->bracketing->work);
}

/* Bounds from below the lanes that are set in `which`, by faces among which are all that can be nearest. */
static void bound_below(struct lanes *lanes, unsigned which, const uint32_t *slots, size_t count)
{
    struct bvh_lows lows;

    if (count == 0)
        return;
    for (size_t lane = 0; lane < BVH_LANES; lane++)
        for (int i = 0; i < 3; i++)
            lows.low[i][lane] = lanes->high[lane < lanes->group->count ? lane : 0][i];
    bvh_bound_lanes(lanes->bracketing->to, &lanes->points, slots, count, &lows);
    lanes->bracketing->work += LANES_WORK * count;
    for (size_t lane = 0; lane < lanes->group->count; lane++) {
        const double low[3] = {lows.low[0][lane], lows.low[1][lane], lows.low[2][lane]};
        if (!(which >> lane & 1))
            continue;
        part_raise_low(lanes->low[lane], low);
        lanes->group->parts[lane].near = lows.nearest[lane];
        try_face(lanes, lows.nearest[lane]);
    }
}

static double gap_of(const struct part *part)
{
    struct part_moments moments = part_moments(part);

    return moments.high - moments.low;
}

/* Where it is better than what is known already. */
static void offer(struct part *part, const double *low, const double *high, double scale)
{
    struct part offered = *part;

    part_set(&offered, low, high, scale);
    if (part->scale < 0 || gap_of(&offered) < gap_of(part))
        *part = offered;
}

/* Returns whether the faces there cover the triangle. */
static bool try_cover(struct lanes *lanes, size_t lane, double limit, const uint32_t *listed, size_t count)
{
    struct bracketing *bracketing = lanes->bracketing;
    const vec3 *corners = lanes->group->corners[lane];
    uint32_t slots[HEIGHTS_FACES_MAX];
    struct heights heights;

    if (count == 0 || count > LISTED_FACES_MAX) {
        count = heights_collect(bracketing->to, corners, limit, slots, HEIGHTS_FACES_MAX, &bracketing->work);
        listed = slots;
    }
    if (!heights_fit(bracketing->to, corners, limit, RIM_SHARE * bracketing->wanted, listed, count, &heights,
                     &bracketing->work))
        return false;
    offer(&lanes->group->parts[lane], heights.low, heights.high, heights.scale);
    return true;
}

static double longest_side(const vec3 *p)
{
    double ab = vec3_length_sq(vec3_sub(p[1], p[0])), bc = vec3_length_sq(vec3_sub(p[2], p[1])),
           ca = vec3_length_sq(vec3_sub(p[0], p[2])), longest = ab > bc ? ab : bc;

    return sqrt(ca > longest ? ca : longest);
}

static double area_of(const vec3 *p)
{
    return triangle_area(p[0], p[1], p[2]);
}

static bool is_good(const struct bracketing *bracketing, const struct part *part)
{
    return part->scale >= 0 && gap_of(part) <= bracketing->wanted;
}

/* Covers the lanes set in `which` over many small faces; returns those that are. */
static unsigned cover_lanes(struct lanes *lanes, unsigned which)
{
    unsigned done = 0;

    for (size_t lane = 0; lane < lanes->group->count; lane++) {
        struct bracketing *bracketing = lanes->bracketing;
        if (!(which >> lane & 1))
            continue;
        struct part *part = &lanes->group->parts[lane];
        double side = longest_side(lanes->group->corners[lane]);
        struct bvh_hit hit =
            bvh_nearest(bracketing->to, lanes->middles[lane], bracketing->near, &bracketing->work);
        double distance = sqrt(hit.distance_sq), limit = distance + 0.25 * side;
        bracketing->near = part->near = hit.slot;
        limit = limit < bracketing->reach ? limit : bracketing->reach;
        bound_by_way(lanes, lane, lanes->middles[lane], distance);
        done |= (unsigned)try_cover(lanes, lane, limit, NULL, 0) << lane;
    }
    return done;
}

/* Bounds one lane from below by the whole index, as near to what is above as is wanted. */
static void bound_far_lane(struct lanes *lanes, size_t lane)
{
    double low[3];

    for (int i = 0; i < 3; i++)
        low[i] = lanes->high[lane][i] - FAR_SHARE * lanes->bracketing->wanted;
    bvh_bound_below(lanes->bracketing->to, lanes->group->corners[lane], FAR_ALLOWANCE, low,
                    &lanes->bracketing->work);
    part_raise_low(lanes->low[lane], low);
}

/* Bounds from below the lanes that are set in `which`: all by one list of the faces near, or, where those are
 * too many, each by the index. Returns the length of the list. */
static size_t bound_lanes_below(struct lanes *lanes, unsigned which, uint32_t *slots)
{
    aabb box = aabb_empty();
    double reach = 0;

    for (size_t lane = 0; lane < lanes->group->count; lane++)
        if (which >> lane & 1) {
            for (int i = 0; i < 3; i++)
                box = aabb_include(box, lanes->group->corners[lane][i]);
            reach = fmax(reach, most_of(lanes->high[lane]));
        }
    reach = fmin(reach, lanes->bracketing->reach);
    size_t count = collect(lanes, box, reach, slots);
    if (count <= NEAR_FACES_MAX) {
        bound_below(lanes, which, slots, count);
        return count;
    }
    for (size_t lane = 0; lane < lanes->group->count; lane++)
        if (which >> lane & 1)
            bound_far_lane(lanes, lane);
    return NEAR_FACES_MAX + 1;
}

/* Bounds the lanes by single faces, and by covers where they fail and were not tried. */
static void bound_by_faces_near(struct lanes *lanes, unsigned which, bool covered)
{
    struct bracketing *bracketing = lanes->bracketing;
    double radius = radius_of(lanes->box), reach = 0;
    uint32_t slots[NEAR_FACES_MAX];

    for (size_t lane = 0; lane < lanes->group->count; lane++)
        reach = fmax(reach, most_of(lanes->high[lane]));
    double distance = sqrt(bvh_distance_sq(bracketing->to, aabb_centre(lanes->box), bracketing->near));
    if (fmin(reach, bracketing->reach) > distance + SERVED_SHARE * radius)
        ask_lanes(lanes);
    size_t count = bound_lanes_below(lanes, which, slots);
    for (size_t lane = 0; lane < lanes->group->count; lane++) {
        struct part *part = &lanes->group->parts[lane];
        if (!(which >> lane & 1))
            continue;
        offer(part, lanes->low[lane], lanes->high[lane], 0);
        double limit = fmin(most_of(lanes->high[lane]), bracketing->reach);
        if (!covered && !is_good(bracketing, part)
            && limit < COVER_HEIGHT_MAX * longest_side(lanes->group->corners[lane]))
            try_cover(lanes, lane, limit, slots, count <= NEAR_FACES_MAX ? count : 0);
    }
}

/* The lanes set in `which` that are known to be the same as the other surface, which no lower bound tells
 * more of: they are bounded by that. */
static unsigned take_same(struct lanes *lanes, unsigned which)
{
    const double same = fmin(SAME, RIM_SHARE * lanes->bracketing->wanted);
    unsigned taken = 0;

    for (size_t lane = 0; lane < lanes->group->count; lane++) {
        if (!(which >> lane & 1) || most_of(lanes->high[lane]) > same)
            continue;
        offer(&lanes->group->parts[lane], lanes->low[lane], lanes->high[lane], 0);
        taken |= 1u << lane;
    }
    return taken;
}

void bracket_bound(struct bracketing *bracketing, struct bracket_group *group)
{
    struct lanes lanes;
    unsigned all = (1u << group->count) - 1, done = 0;
    double area = 0;

    open_lanes(bracketing, group, &lanes);
    bracketing->work += GROUP_WORK;
    vec3 centre = aabb_centre(lanes.box);
    struct bvh_hit hit = bvh_nearest(bracketing->to, centre, bracketing->near, &bracketing->work);
    bracketing->near = hit.slot;
    bracketing->asked = centre;
    bracketing->asked_distance = sqrt(hit.distance_sq);
    for (size_t lane = 0; lane < group->count; lane++) {
        group->parts[lane].near = hit.slot;
        area += area_of(group->corners[lane]);
        bound_by_way(&lanes, lane, centre, bracketing->asked_distance);
    }
    const vec3 face[3] = {bracketing->to->points[bracketing->to->corners[hit.slot][0]],
                          bracketing->to->points[bracketing->to->corners[hit.slot][1]],
                          bracketing->to->points[bracketing->to->corners[hit.slot][2]]};
    bool small_faces = area_of(face) < SMALL_FACE * area / (double)group->count;
    done = take_same(&lanes, all);
    if (small_faces && done != all)
        done |= cover_lanes(&lanes, all & ~done);
    if (done == all)
        return;
    try_face(&lanes, hit.slot);
    done |= take_same(&lanes, all & ~done);
    if (done == all)
        return;
    bound_by_faces_near(&lanes, all & ~done, small_faces);
}

void bracket_bound_by_way(const struct bracketing *bracketing, struct bracket_group *group)
{
    for (size_t lane = 0; lane < group->count; lane++) {
        const vec3 *p = group->corners[lane];
        double low[3], high[3];
        for (int i = 0; i < 3; i++) {
            double way = vec3_distance(bracketing->asked, p[i]);
            low[i] = bracketing->asked_distance - way;
            high[i] = bracketing->asked_distance + way;
        }
        const double all[3] = {bracketing->reach, bracketing->reach, bracketing->reach};
        group->parts[lane].near = bracketing->near;
        offer(&group->parts[lane], low, part_sum(high) < part_sum(all) ? high : all, 0);
    }
}
