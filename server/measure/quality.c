/* quality.c - every metric of every quad and triangle, gathered metric by metric. */
#include "measure/quality.h"

#include "base/tasks.h"
#include "measure/face_geometry.h"
#include "measure/quality_kernels.h"
#include "measure/quality_quad.h"
#include "measure/quality_triangle.h"
#include "measure/quantiles.h"

#include <stdatomic.h>
#include <string.h>

#define GATHER_CHUNK ((size_t)1 << 14)

/* The faces of one size that are measured, and their values: values[metric * count + i] of face faces[i]. */
struct sample {
    size_t corner_count, metric_count;
    size_t count;
    atomic_size_t degenerate;
    uint32_t *faces;
    double *values;
};

/* Faces of one size in chunks: how many of them are measured, then their places. */
struct gathering {
    const struct measure_input *input;
    struct sample *sample;
    size_t *starts; /* [chunk + 1] */
};

static bool is_measured(const struct gathering *gathering, size_t f)
{
    return mesh_face_size(gathering->input->mesh, f) == gathering->sample->corner_count
           && !(gathering->input->face_class[f] & FACE_DEGENERATE);
}

static void count_faces(void *context, size_t chunk)
{
    const struct gathering *gathering = context;
    size_t count = 0, degenerate = 0;
    for (size_t f = chunk * GATHER_CHUNK;
         f < tasks_chunk_end(chunk, GATHER_CHUNK, gathering->input->mesh->face_count); f++)
        if (mesh_face_size(gathering->input->mesh, f) == gathering->sample->corner_count) {
            count += is_measured(gathering, f);
            degenerate += !is_measured(gathering, f);
        }
    gathering->starts[chunk + 1] = count;
    atomic_fetch_add(&gathering->sample->degenerate, degenerate);
}

static void place_faces(void *context, size_t chunk)
{
    const struct gathering *gathering = context;
    size_t next = gathering->starts[chunk];
    for (size_t f = chunk * GATHER_CHUNK;
         f < tasks_chunk_end(chunk, GATHER_CHUNK, gathering->input->mesh->face_count); f++)
        if (is_measured(gathering, f))
            gathering->sample->faces[next++] = (uint32_t)f;
}

static bool gather_faces(const struct measure_input *input, struct sample *sample, struct arena *scratch,
                         struct error *err)
{
    size_t chunks = tasks_chunks(input->mesh->face_count, GATHER_CHUNK);
    struct gathering gathering = {input, sample, ARENA_NEW(scratch, size_t, chunks + 1)};
    if (!gathering.starts)
        return arena_error(err);
    gathering.starts[0] = 0;
    tasks_run(input->threads, chunks, count_faces, &gathering);
    for (size_t chunk = 0; chunk < chunks; chunk++)
        gathering.starts[chunk + 1] += gathering.starts[chunk];
    sample->count = gathering.starts[chunks];
    sample->faces = ARENA_NEW(scratch, uint32_t, sample->count);
    sample->values = ARENA_NEW(scratch, double, sample->count * sample->metric_count);
    if (scratch->failed)
        return arena_error(err);
    tasks_run(input->threads, chunks, place_faces, &gathering);
    return true;
}

double quality_aspect_ratio(const struct measure_input *input, size_t f)
{
    const uint32_t *face = mesh_face(input->mesh, f);
    size_t size = mesh_face_size(input->mesh, f);
    double values[QUAD_METRIC_COUNT];
    vec3 corners[4];

    if (size > 4 || input->face_class[f] & FACE_DEGENERATE)
        return NAN;
    for (size_t k = 0; k < size; k++)
        corners[k] = input->mesh->positions[face[k]];
    if (size == 3) {
        triangle_quality(corners, input->guard, values);
        return values[TRIANGLE_ASPECT_RATIO];
    }
    quad_quality(corners, input->guard, values);
    return values[QUAD_ASPECT_RATIO];
}

static bool tell(const struct progress *progress, double fraction, struct error *err)
{
    return progress_tell(progress, "quality", fraction)
           || error_set(err, ERROR_CANCELLED, "the measurement was stopped");
}

/* Faces in one chunk, and chunks between two looks at the listener. */
enum { CHUNK = 4096, CHUNKS_AT_ONCE = 32, QUALITY_THREADS_MAX = 64 };

#define METRICS_OF_PART 3 /* on average, between two looks: no thread waits long for another */

/* What one chunk finds, of which the sums are wanted. */
struct found {
    size_t concave, needles;
};

struct measuring {
    const struct measure_input *input;
    const struct sample *sample;
    const struct quality_kernels *kernels;
    size_t begin; /* of the first chunk */
    struct found found[CHUNKS_AT_ONCE];
};

static void read_corners(const struct measuring *measuring, size_t i, vec3 *corners)
{
    const struct mesh *mesh = measuring->input->mesh;
    const uint32_t *face = mesh_face(mesh, measuring->sample->faces[i]);

    for (size_t k = 0; k < measuring->sample->corner_count; k++)
        corners[k] = mesh->positions[face[k]];
}

static void measure_one(const struct measuring *measuring, size_t i, struct found *found)
{
    const struct sample *sample = measuring->sample;
    const bool is_quad = sample->corner_count == 4;
    double values[QUAD_METRIC_COUNT], guard = measuring->input->guard;
    vec3 corners[4];

    read_corners(measuring, i, corners);
    if (is_quad)
        found->concave += quad_quality(corners, guard, values);
    else
        triangle_quality(corners, guard, values);
    found->needles +=
        values[is_quad ? (size_t)QUAD_ASPECT_RATIO : (size_t)TRIANGLE_ASPECT_RATIO] > QUALITY_NEEDLE_ASPECT;
    for (size_t m = 0; m < sample->metric_count; m++)
        sample->values[m * sample->count + i] = values[m];
}

/* QUALITY_LANES triangles from number i on, together. False, and nothing done, where that cannot be. */
static bool measure_lanes(const struct measuring *measuring, size_t i, struct found *found)
{
    const struct sample *sample = measuring->sample;
    struct quality_corners corners;
    double values[TRIANGLE_METRIC_COUNT][QUALITY_LANES];

    for (size_t lane = 0; lane < QUALITY_LANES; lane++) {
        vec3 corner[3];
        read_corners(measuring, i + lane, corner);
        for (size_t k = 0; k < 3; k++) {
            corners.x[k][lane] = corner[k].x;
            corners.y[k][lane] = corner[k].y;
            corners.z[k][lane] = corner[k].z;
        }
    }
    if (measuring->input->guard != 1 || !measuring->kernels->triangles(&corners, values))
        return false;
    for (size_t lane = 0; lane < QUALITY_LANES; lane++)
        found->needles += values[TRIANGLE_ASPECT_RATIO][lane] > QUALITY_NEEDLE_ASPECT;
    for (size_t m = 0; m < TRIANGLE_METRIC_COUNT; m++)
        memcpy(&sample->values[m * sample->count + i], values[m], sizeof values[m]);
    return true;
}

static void measure_chunk(void *context, size_t chunk)
{
    struct measuring *measuring = context;
    const struct sample *sample = measuring->sample;
    const size_t begin = measuring->begin + chunk * CHUNK,
                 end = sample->count - begin < CHUNK ? sample->count : begin + CHUNK;
    struct found found = {0, 0};

    for (size_t i = begin, count; i < end; i += count) {
        count = end - i < QUALITY_LANES ? end - i : QUALITY_LANES;
        for (size_t k = i + AHEAD; k < i + AHEAD + count && k < end; k++)
            face_geometry_ask(measuring->input, sample->faces[k]);
        if (sample->corner_count == 3 && count == QUALITY_LANES && measure_lanes(measuring, i, &found))
            continue;
        for (size_t k = i; k < i + count; k++)
            measure_one(measuring, k, &found);
    }
    measuring->found[chunk] = found;
}

static bool measure_faces(const struct measure_input *input, const struct sample *sample,
                          const struct progress *progress, double progress_begin, struct found *sums,
                          struct error *err)
{
    struct measuring measuring = {.input = input, .sample = sample, .kernels = quality_kernels_best()};
    while (measuring.begin < sample->count) {
        size_t chunks = tasks_chunks(sample->count - measuring.begin, CHUNK);
        chunks = chunks < CHUNKS_AT_ONCE ? chunks : CHUNKS_AT_ONCE;
        tasks_run(input->threads, chunks, measure_chunk, &measuring);
        for (size_t i = 0; i < chunks; i++) {
            sums->concave += measuring.found[i].concave;
            sums->needles += measuring.found[i].needles;
        }
        measuring.begin += chunks * CHUNK;
        if (!tell(progress, progress_begin + 0.25 * fmin(1, (double)measuring.begin / (double)sample->count),
                  err))
            return false;
    }
    return true;
}

/* Metrics are reported each by one thread, in its own part of scratch. */
struct reporting {
    const struct sample *sample;
    const struct quality_metric *metrics;
    struct metric_report *reports;
    size_t first, part_count;
    struct arena parts[QUALITY_THREADS_MAX];
    atomic_bool taken[QUALITY_THREADS_MAX];
    bool failed[QUAD_METRIC_COUNT];
    struct error errors[QUAD_METRIC_COUNT];
};

/* There is one: no more threads than parts are at work. */
static size_t take_part(struct reporting *reporting)
{
    size_t part = 0;

    while (atomic_exchange(&reporting->taken[part], true))
        part = part + 1 < reporting->part_count ? part + 1 : 0;
    return part;
}

static void report_metric(void *context, size_t i)
{
    struct reporting *reporting = context;
    const struct sample *sample = reporting->sample;
    size_t m = reporting->first + i, part = take_part(reporting);

    reporting->failed[m] = !quality_metric_report(&reporting->metrics[m], sample->values + m * sample->count,
                                                  sample->faces, sample->count, &reporting->reports[m],
                                                  reporting->parts[part], &reporting->errors[m]);
    atomic_store(&reporting->taken[part], false);
}

/* As many parts as threads, fewer where scratch has no room for that. */
static bool split_scratch(const struct sample *sample, size_t threads, struct reporting *reporting,
                          struct arena *scratch)
{
    size_t most = threads < sample->metric_count ? threads : sample->metric_count;
    size_t room = QUANTILES_SCRATCH(sample->count);
    most = most < QUALITY_THREADS_MAX ? most : QUALITY_THREADS_MAX;
    while (reporting->part_count < most
           && arena_split(scratch, room, &reporting->parts[reporting->part_count]))
        reporting->part_count++;
    return reporting->part_count > 0;
}

static bool report_metrics(const struct measure_input *input, const struct sample *sample,
                           const struct quality_metric *metrics, const struct progress *progress,
                           double progress_begin, struct metric_report *reports, struct arena *keep,
                           struct arena scratch, struct error *err)
{
    struct reporting *reporting = ARENA_ZERO(&scratch, struct reporting, 1);
    if (!reporting)
        return arena_error(err);
    reporting->sample = sample;
    reporting->metrics = metrics;
    reporting->reports = reports;
    if (!split_scratch(sample, input->threads, reporting, &scratch))
        return arena_error(err);
    for (size_t m = 0; m < sample->metric_count; m++)
        if (!quality_metric_begin(&metrics[m], sample->degenerate, &reports[m], keep, err))
            return false;
    for (; reporting->first < sample->metric_count;
         reporting->first += METRICS_OF_PART * reporting->part_count) {
        size_t left = sample->metric_count - reporting->first, most = METRICS_OF_PART * reporting->part_count,
               count = left < most ? left : most;
        tasks_run(reporting->part_count, count, report_metric, reporting);
        for (size_t m = reporting->first; m < reporting->first + count; m++)
            if (reporting->failed[m]) {
                *err = reporting->errors[m];
                return false;
            }
        if (!tell(progress,
                  progress_begin + 0.25
                      + 0.25 * (double)(reporting->first + count) / (double)sample->metric_count,
                  err))
            return false;
    }
    return true;
}

/* One kind of face: measured in chunks, then reported metric by metric. */
static bool report_sample(const struct measure_input *input, struct sample sample,
                          const struct quality_metric *metrics, const struct progress *progress,
                          double progress_begin, struct metric_report *reports, struct found *sums,
                          struct arena *keep, struct arena scratch, struct error *err)
{
    return gather_faces(input, &sample, &scratch, err)
           && measure_faces(input, &sample, progress, progress_begin, sums, err)
           && report_metrics(input, &sample, metrics, progress, progress_begin, reports, keep, scratch, err);
}

bool quality_build(const struct measure_input *input, const struct progress *progress,
                   struct quality_report *report, size_t *needle_faces, struct arena *keep,
                   struct arena scratch, struct error *err)
{
    const struct sample quads = {.corner_count = 4, .metric_count = QUAD_METRIC_COUNT};
    const struct sample triangles = {.corner_count = 3, .metric_count = TRIANGLE_METRIC_COUNT};
    struct found of_quads = {0, 0}, of_triangles = {0, 0};
    bool ok =
        tell(progress, 0, err)
        && report_sample(input, quads, quad_metrics, progress, 0, report->quad, &of_quads, keep, scratch, err)
        && report_sample(input, triangles, triangle_metrics, progress, 0.5, report->triangle, &of_triangles,
                         keep, scratch, err);
    report->concave_quads = of_quads.concave;
    *needle_faces = of_quads.needles + of_triangles.needles;
    return ok;
}
