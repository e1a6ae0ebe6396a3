/* deviation_parts.c - room for parts, and four children at a time. */
#include "measure/deviation_parts.h"

#include "base/tasks.h"
#include "geom/point_triangle.h"

#include <math.h>
#include <string.h>

#define CHUNK 64  /* parts that are put where they belong */
#define FLAT 0.35 /* of the squared longest side is twice the area: cut in two */

uint32_t surface_parts_slot(const struct surface_parts *parts, size_t part)
{
    size_t triangles = parts->from->bvh.triangle_count;

    return part < triangles ? (uint32_t)part : parts->places[part - triangles].slot;
}

vec3 surface_parts_corner(const struct surface_parts *parts, size_t part, int i)
{
    size_t triangles = parts->from->bvh.triangle_count;

    return part < triangles ? deviation_surface_corner(parts->from, (uint32_t)part, i)
                            : parts->places[part - triangles].corners[i];
}

bool surface_parts_open(struct surface_parts *parts, size_t more, struct arena *keep, struct error *err)
{
    size_t triangles = parts->from->bvh.triangle_count;

    parts->vertices = NULL;
    parts->middles = NULL;
    parts->bounds = NULL;
    parts->count = triangles;
    parts->capacity = triangles + more;
    parts->parts = ARENA_NEW(keep, struct part, parts->capacity);
    parts->places = ARENA_NEW(keep, struct part_place, more);
    return (parts->parts && parts->places) || arena_error(err);
}

bool surface_parts_open_bounds(struct surface_parts *parts, struct arena *keep, struct error *err)
{
    parts->vertices = NULL;
    parts->middles = NULL;
    parts->parts = NULL;
    parts->places = NULL;
    parts->leaf_count = parts->count = parts->capacity = 0;
    parts->bounds = ARENA_NEW(keep, struct part_bounds, parts->from->bvh.triangle_count);
    return parts->bounds || arena_error(err);
}

const struct leaf_parts *surface_parts_leaf(const struct surface_parts *parts, size_t leaf)
{
    size_t low = 0, high = parts->leaf_count;

    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (parts->leaves[middle].leaf < leaf)
            low = middle + 1;
        else
            high = middle;
    }
    return low < parts->leaf_count && parts->leaves[low].leaf == leaf ? &parts->leaves[low] : NULL;
}

struct bracketing surface_parts_begin(const struct surface_parts *parts, uint32_t near)
{
    return (struct bracketing){.to = &parts->to->bvh,
                               .reach = parts->reach,
                               .wanted = parts->wanted,
                               .near = near,
                               .asked_distance = -1};
}

struct child {
    struct part part;
    vec3 corners[3];
};

struct refining {
    const struct surface_parts *parts;
    const uint32_t *list;
    size_t count;
    struct child (*children)[PARTS_OF_ONE]; /* [item] */
    unsigned char *counts;                  /* [item] */
    size_t *work;                           /* [item] */
    size_t *next; /* [item] where its children go but for one that takes its place */
};

/* Corners of a child, as the ends of the sides of the parent whose middles they are: both ends are the same
 * where it is a corner. */
typedef unsigned char child_corners[3][2];

/* A child has the bounds of its parent where it is. */
static void add_child(struct bracket_group *group, const struct part *parent, const vec3 *corners,
                      const child_corners ends, double share)
{
    struct part *part = &group->parts[group->count];
    double low[3], high[3];

    for (int i = 0; i < 3; i++) {
        unsigned a = ends[i][0], b = ends[i][1];
        group->corners[group->count][i] = a == b ? corners[a] : vec3_lerp(corners[a], corners[b], 0.5);
        low[i] = 0.5 * (double)parent->low[a] + 0.5 * (double)parent->low[b];
        high[i] = 0.5 * (double)parent->high[a] + 0.5 * (double)parent->high[b];
    }
    *part = *parent;
    part_set(part, low, high, (double)parent->scale);
    part->scale = parent->scale;
    part->area = parent->area * share;
    group->count++;
}

static void cut(const struct part *parent, const vec3 *corners, struct bracket_group *group)
{
    static const child_corners in_four[4] = {{{0, 0}, {0, 1}, {2, 0}},
                                             {{0, 1}, {1, 1}, {1, 2}},
                                             {{2, 0}, {1, 2}, {2, 2}},
                                             {{0, 1}, {1, 2}, {2, 0}}};
    const unsigned a = triangle_longest_first(corners[0], corners[1], corners[2]);
    const unsigned char from = (unsigned char)a, to = (unsigned char)((a + 1) % 3),
                        far = (unsigned char)((a + 2) % 3);
    double side = vec3_distance(corners[from], corners[to]);

    group->count = 0;
    if (2 * triangle_area(corners[from], corners[to], corners[far]) < FLAT * side * side) {
        const child_corners in_two[2] = {{{from, from}, {from, to}, {far, far}},
                                         {{from, to}, {to, to}, {far, far}}};
        for (int k = 0; k < 2; k++)
            add_child(group, parent, corners, in_two[k], 0.5);
        return;
    }
    for (int k = 0; k < 4; k++)
        add_child(group, parent, corners, in_four[k], 0.25);
}

static void refine_item(void *context, size_t item)
{
    struct refining *refining = context;
    const struct surface_parts *parts = refining->parts;
    size_t at = refining->list[item];
    const struct part *parent = &parts->parts[at];
    struct bracketing bracketing = surface_parts_begin(parts, parent->near);
    struct bracket_group group;
    vec3 corners[3];

    for (int i = 0; i < 3; i++)
        corners[i] = surface_parts_corner(parts, at, i);
    cut(parent, corners, &group);
    bracket_bound(&bracketing, &group);
    refining->counts[item] = (unsigned char)group.count;
    refining->work[item] = bracketing.work;
    for (size_t k = 0; k < group.count; k++) {
        refining->children[item][k].part = group.parts[k];
        memcpy(refining->children[item][k].corners, group.corners[k], sizeof corners);
    }
}

static void put_child(const struct surface_parts *parts, size_t at, const struct child *child, uint32_t slot)
{
    struct part_place *place = &parts->places[at - parts->from->bvh.triangle_count];

    parts->parts[at] = child->part;
    memcpy(place->corners, child->corners, sizeof place->corners);
    place->slot = slot;
}

/* Whether one child takes its parent's place: that of a triangle is kept, and has no part. */
static size_t stays_of(const struct refining *refining, size_t item)
{
    return refining->list[item] >= refining->parts->from->bvh.triangle_count;
}

static void put_items(void *context, size_t chunk)
{
    const struct refining *refining = context;
    const struct surface_parts *parts = refining->parts;

    for (size_t item = chunk * CHUNK; item < tasks_chunk_end(chunk, CHUNK, refining->count); item++) {
        const size_t at = refining->list[item], stays = stays_of(refining, item);
        const uint32_t slot = surface_parts_slot(parts, at);
        if (stays)
            put_child(parts, at, &refining->children[item][0], slot);
        else
            parts->parts[at] = (struct part){.scale = -1};
        for (size_t k = stays; k < refining->counts[item]; k++)
            put_child(parts, refining->next[item] + k - stays, &refining->children[item][k], slot);
    }
}

bool surface_parts_refine(struct surface_parts *parts, const uint32_t *list, size_t count,
                          struct arena scratch, struct error *err)
{
    struct refining refining = {
        .parts = parts,
        .list = list,
        .count = count,
        .children = arena_alloc(&scratch, count, sizeof *refining.children, 64),
        .counts = ARENA_NEW(&scratch, unsigned char, count),
        .work = ARENA_NEW(&scratch, size_t, count),
        .next = ARENA_NEW(&scratch, size_t, count),
    };

    if (!refining.children || !refining.counts || !refining.work || !refining.next)
        return arena_error(err);
    tasks_run(parts->threads, count, refine_item, &refining);
    for (size_t item = 0; item < count; item++) {
        refining.next[item] = parts->count;
        parts->count += refining.counts[item] - stays_of(&refining, item);
        parts->work += refining.work[item];
    }
    tasks_run(parts->threads, tasks_chunks(count, CHUNK), put_items, &refining);
    return true;
}
