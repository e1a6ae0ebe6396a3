/* incidence.c - range by range. */
#include "topology/incidence.h"

#include <string.h>

#include "base/range_places.h"
#include "base/tasks.h"

struct building {
    const struct incidence_faces *of;
    struct incidence *incidence;
    size_t ranges;
    uint32_t *cursors; /* [ranges][vertex_count] how many, then where the next one goes */
};

static size_t border_of(const struct building *building, size_t range)
{
    return building->of->face_count * range / building->ranges;
}

static size_t corners_until(const struct incidence_faces *of, size_t face)
{
    return of->offsets ? of->offsets[face] : 3 * face;
}

static void count_range(void *context, size_t range)
{
    const struct building *building = context;
    const struct incidence_faces *of = building->of;
    uint32_t *counts = building->cursors + range * of->vertex_count;
    const size_t begin = corners_until(of, border_of(building, range)),
                 end = corners_until(of, border_of(building, range + 1));

    memset(counts, 0, of->vertex_count * sizeof *counts);
    for (size_t c = begin; c < end; c++)
        counts[of->vertices[c]]++;
}

static void fill_range(void *context, size_t range)
{
    const struct building *building = context;
    const struct incidence_faces *of = building->of;
    uint32_t *cursors = building->cursors + range * of->vertex_count;

    for (size_t face = border_of(building, range); face < border_of(building, range + 1); face++)
        for (size_t c = corners_until(of, face); c < corners_until(of, face + 1); c++)
            building->incidence->faces[cursors[of->vertices[c]]++] = (uint32_t)face;
}

bool incidence_build(const struct incidence_faces *of, size_t threads, struct incidence *incidence,
                     struct arena *keep, struct error *err)
{
    struct building building = {of, incidence, threads < RANGE_PLACES_MAX ? threads : RANGE_PLACES_MAX, NULL};

    building.ranges = building.ranges > 0 ? building.ranges : 1;
    *incidence = (struct incidence){ARENA_NEW(keep, uint32_t, of->vertex_count + 1),
                                    ARENA_NEW(keep, uint32_t, corners_until(of, of->face_count))};
    struct arena scratch = *keep;
    building.cursors = ARENA_NEW(&scratch, uint32_t, building.ranges * of->vertex_count);
    if (!incidence->begin || !incidence->faces || !building.cursors)
        return arena_error(err);
    tasks_run(threads, building.ranges, count_range, &building);
    range_places(building.ranges, of->vertex_count, building.cursors, incidence->begin);
    tasks_run(threads, building.ranges, fill_range, &building);
    return true;
}
