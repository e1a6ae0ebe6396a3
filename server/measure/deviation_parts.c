/* deviation_parts.c - leaf by leaf at first, then four children at a time. */
#include "measure/deviation_parts.h"

#include "base/tasks.h"
#include "geom/point_triangle.h"

#include <math.h>
#include <string.h>

#define LEAVES_OF_CHUNK 32
#define SLICE_CHUNKS 256 /* chunks between two words to the listener */
#define MORE_PARTS ((size_t)1 << 18)
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

bool surface_parts_open(struct surface_parts *parts, struct arena *keep, struct error *err)
{
    size_t triangles = parts->from->bvh.triangle_count, more = MORE_PARTS + triangles / 2;

    parts->count = triangles;
    parts->capacity = triangles + more;
    parts->parts = ARENA_NEW(keep, struct part, parts->capacity);
    parts->places = ARENA_NEW(keep, struct part_place, more);
    return (parts->parts && parts->places) || arena_error(err);
}

static struct bracketing begin(const struct surface_parts *parts, uint32_t near)
{
    return (struct bracketing){.to = &parts->to->bvh,
                               .reach = parts->reach,
                               .wanted = parts->wanted,
                               .near = near,
                               .asked_distance = -1};
}

/* --- the triangles --- */

struct bounding {
    struct surface_parts *parts;
    size_t first_chunk, chunk_count;
    size_t *work; /* [chunk] */
};

/* Triangles of a leaf that are not shared; their slots. */
static size_t gather_leaf(const struct surface_parts *parts, size_t leaf, struct bracket_group *group,
                          uint32_t *slots)
{
    const struct deviation_surface *from = parts->from;

    group->count = 0;
    for (size_t c = 0; c < BVH_WIDTH && leaf * BVH_WIDTH + c < from->bvh.triangle_count; c++) {
        uint32_t slot = (uint32_t)(leaf * BVH_WIDTH + c);
        vec3 *corners = group->corners[group->count];
        for (int i = 0; i < 3; i++)
            corners[i] = deviation_surface_corner(from, slot, i);
        struct part *part = &parts->parts[slot];
        *part = (struct part){.area = triangle_area(corners[0], corners[1], corners[2])};
        if (from->shared[slot])
            continue;
        group->parts[group->count] = (struct part){.area = part->area, .scale = -1};
        slots[group->count++] = slot;
    }
    return group->count;
}

static void bound_chunk(void *context, size_t number)
{
    struct bounding *bounding = context;
    const struct surface_parts *parts = bounding->parts;
    size_t chunk = bounding->first_chunk + number, leaves = parts->from->bvh.node_counts[0],
           allowance = 2 * parts->budget / bounding->chunk_count;
    struct bracketing bracketing = begin(parts, BVH_NONE);
    struct bracket_group group;
    uint32_t slots[BVH_WIDTH];

    for (size_t leaf = chunk * LEAVES_OF_CHUNK; leaf < (chunk + 1) * LEAVES_OF_CHUNK && leaf < leaves;
         leaf++) {
        if (gather_leaf(parts, leaf, &group, slots) == 0)
            continue;
        if (bracketing.asked_distance >= 0 && bracketing.work > allowance)
            bracket_bound_by_way(&bracketing, &group);
        else
            bracket_bound(&bracketing, &group);
        for (size_t i = 0; i < group.count; i++)
            parts->parts[slots[i]] = group.parts[i];
    }
    bounding->work[chunk] = bracketing.work;
}

bool surface_parts_bound(struct surface_parts *parts, const struct progress *progress, double from, double to,
                         struct arena scratch, struct error *err)
{
    size_t chunks = tasks_chunks(parts->from->bvh.node_counts[0], LEAVES_OF_CHUNK);
    struct bounding bounding = {parts, 0, chunks, ARENA_NEW(&scratch, size_t, chunks)};

    if (!bounding.work)
        return arena_error(err);
    for (; bounding.first_chunk < chunks; bounding.first_chunk += SLICE_CHUNKS) {
        size_t left = chunks - bounding.first_chunk;
        if (!progress_tell(progress, "statistics",
                           from + (to - from) * (double)bounding.first_chunk / (double)chunks))
            return error_set(err, ERROR_CANCELLED, "measuring was stopped");
        tasks_run(parts->threads, left < SLICE_CHUNKS ? left : SLICE_CHUNKS, bound_chunk, &bounding);
    }
    for (size_t chunk = 0; chunk < chunks; chunk++)
        parts->work += bounding.work[chunk];
    return true;
}

/* --- refining --- */

struct child {
    struct part part;
    vec3 corners[3];
};

struct refining {
    const struct surface_parts *parts;
    const uint32_t *list;
    struct child (*children)[PARTS_OF_ONE]; /* [item] */
    unsigned char *counts;                  /* [item] */
    size_t *work;                           /* [item] */
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
    struct bracketing bracketing = begin(parts, parent->near);
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

static void put_child(struct surface_parts *parts, size_t at, const struct child *child, uint32_t slot)
{
    struct part_place *place = &parts->places[at - parts->from->bvh.triangle_count];

    parts->parts[at] = child->part;
    memcpy(place->corners, child->corners, sizeof place->corners);
    place->slot = slot;
}

bool surface_parts_refine(struct surface_parts *parts, const uint32_t *list, size_t count,
                          struct arena scratch, struct error *err)
{
    size_t triangles = parts->from->bvh.triangle_count;
    struct refining refining = {
        .parts = parts,
        .list = list,
        .children = arena_alloc(&scratch, count, sizeof *refining.children, 64),
        .counts = ARENA_NEW(&scratch, unsigned char, count),
        .work = ARENA_NEW(&scratch, size_t, count),
    };

    if (!refining.children || !refining.counts || !refining.work)
        return arena_error(err);
    tasks_run(parts->threads, count, refine_item, &refining);
    for (size_t item = 0; item < count; item++) {
        size_t at = list[item], next = 0;
        uint32_t slot = surface_parts_slot(parts, at);
        if (at < triangles)
            parts->parts[at] = (struct part){.scale = -1};
        else
            put_child(parts, at, &refining.children[item][next++], slot);
        for (; next < refining.counts[item]; next++)
            put_child(parts, parts->count++, &refining.children[item][next], slot);
        parts->work += refining.work[item];
    }
    return true;
}
