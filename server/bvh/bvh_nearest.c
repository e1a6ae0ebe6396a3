/* bvh_nearest.c - depth first, nearest child first, cut by float box distances with an outward slack.
 *
 * The answer is the least of the computed triangle distances, ties by number, whatever the order of the walk:
 * a box is left out only where its distance exceeds the best one by more than all rounding. Float arithmetic
 * on coordinates in [-1, 1] errs by less than BOX_SLACK plus BOX_SLACK_REL of the distance. */
#include "bvh/bvh.h"
#include "geom/point_triangle.h"

#include <float.h>
#include <string.h>

#define BOX_SLACK 2e-7
#define BOX_SLACK_REL 1e-6
#define STACK_SIZE (BVH_WIDTH * BVH_LEVELS_MAX)

/* A node or, at level -1, a triangle still to be looked at. */
struct visit {
    float distance_sq;
    int level;
    uint32_t index;
};

static float cut_distance_sq(double best_sq)
{
    double cut = (sqrt(best_sq) + BOX_SLACK) * (1 + BOX_SLACK_REL);

    return (float)(cut * cut * (1 + BOX_SLACK_REL));
}

double bvh_distance_sq(const struct bvh *bvh, vec3 p, uint32_t slot)
{
    const uint32_t *corner = bvh->corners[slot];

    return triangle_distance_sq(p, bvh->points[corner[0]], bvh->points[corner[1]], bvh->points[corner[2]]);
}

aabb bvh_child_box(const struct bvh_node *node, unsigned c)
{
    return (aabb){{(double)node->min[0][c], (double)node->min[1][c], (double)node->min[2][c]},
                  {(double)node->max[0][c], (double)node->max[1][c], (double)node->max[2][c]}};
}

/* Four lanes at once: what SSE and NEON both have. */
#define LANES 4
typedef float lanes __attribute__((vector_size(LANES * sizeof(float))));
typedef int32_t lane_masks __attribute__((vector_size(LANES * sizeof(float))));

/* Squared distance of p to each box; infinite for an empty one. Along an axis p is beyond at most one end. */
static void box_distances(const struct bvh_node *node, const float *p, float *distance_sq)
{
    for (int c = 0; c < BVH_WIDTH; c += LANES) {
        lanes sum = {0};
        for (int axis = 0; axis < 3; axis++) {
            lanes low, high;
            memcpy(&low, node->min[axis] + c, sizeof low);
            memcpy(&high, node->max[axis] + c, sizeof high);
            lanes below = low - p[axis], above = p[axis] - high;
            lanes outside =
                (lanes)((lane_masks)below & (below > 0)) + (lanes)((lane_masks)above & (above > 0));
            sum += outside * outside;
        }
        memcpy(distance_sq + c, &sum, sizeof sum);
    }
}

/* Pushes the children within cut, the nearest last. */
static size_t push_children(const struct bvh_node *node, const struct visit *parent, const float *p,
                            float cut, struct visit *stack, size_t top)
{
    float distance_sq[BVH_WIDTH];
    size_t bottom = top;

    box_distances(node, p, distance_sq);
    for (unsigned c = 0; c < BVH_WIDTH; c++) {
        if (!(distance_sq[c] <= cut))
            continue;
        size_t at = top++;
        for (; at > bottom && stack[at - 1].distance_sq < distance_sq[c]; at--)
            stack[at] = stack[at - 1];
        stack[at] = (struct visit){distance_sq[c], parent->level - 1, parent->index * BVH_WIDTH + c};
    }
    return top;
}

struct bvh_hit bvh_nearest(const struct bvh *bvh, vec3 p, uint32_t first, size_t *work)
{
    struct bvh_hit hit = {INFINITY, BVH_NONE};
    struct visit stack[STACK_SIZE];
    size_t top = 1, looked = 0;
    float at[3] = {(float)p.x, (float)p.y, (float)p.z}, cut = FLT_MAX; /* leaves out empty places */

    if (first != BVH_NONE) {
        hit = (struct bvh_hit){bvh_distance_sq(bvh, p, first), first};
        cut = cut_distance_sq(hit.distance_sq);
        looked++;
    }
    stack[0] = (struct visit){0, (int)bvh->level_count - 1, 0};
    while (top > 0) {
        struct visit visit = stack[--top];
        if (visit.distance_sq > cut)
            continue;
        looked++;
        if (visit.level >= 0) {
            top = push_children(&bvh->levels[visit.level][visit.index], &visit, at, cut, stack, top);
            continue;
        }
        double distance_sq = bvh_distance_sq(bvh, p, visit.index);
        if (distance_sq < hit.distance_sq
            || (distance_sq == hit.distance_sq && bvh->triangles[visit.index] < bvh->triangles[hit.slot])) {
            hit = (struct bvh_hit){distance_sq, visit.index};
            cut = cut_distance_sq(distance_sq);
        }
    }
    *work += looked;
    return hit;
}
