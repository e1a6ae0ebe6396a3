/* quality.c - every metric of every quad and triangle, gathered metric by metric. */
#include "measure/quality.h"

#include "measure/quality_quad.h"
#include "measure/quality_triangle.h"

/* The faces of one size that are measured, and their values: values[metric * capacity + i] of face faces[i].
 */
struct sample {
    size_t corner_count, metric_count;
    size_t capacity, count, degenerate;
    uint32_t *faces;
    double *values;
};

static bool gather_faces(const struct measure_input *input, struct sample *sample, struct arena *scratch,
                         struct error *err)
{
    const struct mesh *mesh = input->mesh;
    for (size_t f = 0; f < mesh->face_count; f++)
        sample->capacity += mesh_face_size(mesh, f) == sample->corner_count;
    sample->faces = ARENA_NEW(scratch, uint32_t, sample->capacity);
    sample->values = ARENA_NEW(scratch, double, sample->capacity * sample->metric_count);
    if (scratch->failed)
        return arena_error(err);
    for (size_t f = 0; f < mesh->face_count; f++) {
        if (mesh_face_size(mesh, f) != sample->corner_count)
            continue;
        if (input->face_class[f] & FACE_DEGENERATE)
            sample->degenerate++;
        else
            sample->faces[sample->count++] = (uint32_t)f;
    }
    return true;
}

/* Fills the values of faces[begin .. end); returns how many quads among them are concave. */
static size_t measure_chunk(const struct measure_input *input, const struct sample *sample, size_t begin,
                            size_t end, size_t *needle_faces)
{
    size_t concave = 0;
    size_t aspect = sample->corner_count == 4 ? (size_t)QUAD_ASPECT_RATIO : (size_t)TRIANGLE_ASPECT_RATIO;
    for (size_t i = begin; i < end; i++) {
        const uint32_t *face = mesh_face(input->mesh, sample->faces[i]);
        vec3 corners[4];
        double values[QUAD_METRIC_COUNT];
        for (size_t k = 0; k < sample->corner_count; k++)
            corners[k] = input->mesh->positions[face[k]];
        if (sample->corner_count == 4)
            concave += quad_quality(corners, input->guard, values);
        else
            triangle_quality(corners, input->guard, values);
        *needle_faces += values[aspect] > QUALITY_NEEDLE_ASPECT;
        for (size_t m = 0; m < sample->metric_count; m++)
            sample->values[m * sample->capacity + i] = values[m];
    }
    return concave;
}

static bool tell(const struct progress *progress, double fraction, struct error *err)
{
    return progress_tell(progress, "quality", fraction)
           || error_set(err, ERROR_CANCELLED, "the measurement was stopped");
}

/* One kind of face: measured in chunks, then reported metric by metric; concave may be NULL. */
static bool report_sample(const struct measure_input *input, struct sample sample,
                          const struct quality_metric *metrics, const struct progress *progress,
                          double progress_begin, struct metric_report *reports, size_t *concave,
                          size_t *needle_faces, struct arena *keep, struct arena scratch, struct error *err)
{
    const size_t chunk = 65536;
    if (!gather_faces(input, &sample, &scratch, err))
        return false;
    for (size_t begin = 0; begin < sample.count; begin += chunk) {
        size_t end = sample.count - begin < chunk ? sample.count : begin + chunk;
        size_t found = measure_chunk(input, &sample, begin, end, needle_faces);
        if (concave)
            *concave += found;
        if (!tell(progress, progress_begin + 0.25 * (double)end / (double)sample.count, err))
            return false;
    }
    for (size_t m = 0; m < sample.metric_count; m++)
        if (!quality_metric_report(&metrics[m], sample.values + m * sample.capacity, sample.faces,
                                   sample.count, sample.degenerate, &reports[m], keep, scratch, err)
            || !tell(progress, progress_begin + 0.25 + 0.25 * (double)(m + 1) / (double)sample.metric_count,
                     err))
            return false;
    return true;
}

bool quality_build(const struct measure_input *input, const struct progress *progress,
                   struct quality_report *report, size_t *needle_faces, struct arena *keep,
                   struct arena scratch, struct error *err)
{
    const struct sample quads = {.corner_count = 4, .metric_count = QUAD_METRIC_COUNT};
    const struct sample triangles = {.corner_count = 3, .metric_count = TRIANGLE_METRIC_COUNT};
    report->concave_quads = 0;
    *needle_faces = 0;
    return tell(progress, 0, err)
           && report_sample(input, quads, quad_metrics, progress, 0, report->quad, &report->concave_quads,
                            needle_faces, keep, scratch, err)
           && report_sample(input, triangles, triangle_metrics, progress, 0.5, report->triangle, NULL,
                            needle_faces, keep, scratch, err);
}
