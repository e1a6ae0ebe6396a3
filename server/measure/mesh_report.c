/* mesh_report.c - calls the measures of one mesh in turn. */
#include "measure/mesh_report.h"

#include <math.h>
#include <string.h>

#include "base/tasks.h"
#include "measure/counts.h"
#include "measure/edge_length.h"
#include "measure/face_geometry.h"
#include "measure/geometry_warnings.h"
#include "measure/quality.h"
#include "measure/topology_report.h"
#include "measure/valence.h"

/* What is measured of a mesh falls into two parts of about the same length, which two threads can do. */
struct part {
    const struct measure_input *input;
    struct mesh_report *report;
    struct arena *keep;
    struct arena scratch;
    struct error *err;
};

static bool measure_part(const struct part *part, size_t i)
{
    const struct measure_input *input = part->input;
    struct mesh_report *report = part->report;
    if (i == 0)
        return edge_length_build(input, &report->edge_length, part->scratch, part->err)
               && valence_build(input, &report->valence, part->keep, part->scratch, part->err);
    return counts_build(input, &report->counts, part->scratch, part->err)
           && topology_report_build(input, &report->topology, part->keep, part->scratch, part->err);
}

struct parts {
    struct part part[2];
    bool ok[2];
};

static void run_part(void *context, size_t i)
{
    struct parts *parts = context;
    parts->ok[i] = measure_part(&parts->part[i], i);
}

/* What valence_build keeps is no more: n different valences at least sum up to n (n - 1) / 2, and all of them
 * to twice the edges. */
static size_t valence_bytes(const struct measure_input *input)
{
    size_t most = 2 * (size_t)sqrt((double)input->edges.count) + 2;

    return 2 * (most * sizeof(struct integer_bin) + 64);
}

/* False where half of scratch was too little, or there is one thread. */
static bool measure_parts_at_once(const struct measure_input *input, struct mesh_report *report,
                                  struct arena *keep, struct arena scratch)
{
    struct arena before = *keep, valences;
    struct error errors[2];
    struct parts parts = {
        .part = {{input, report, &valences, {0}, &errors[0]}, {input, report, keep, {0}, &errors[1]}}};
    if (input->threads < 2 || !arena_split(&scratch, arena_left(&scratch) / 2, &parts.part[0].scratch)
        || !arena_split(keep, valence_bytes(input), &valences)) {
        *keep = before;
        return false;
    }
    parts.part[1].scratch = scratch;
    tasks_run(2, 2, run_part, &parts);
    if (parts.ok[0] && parts.ok[1])
        return true;
    *keep = before;
    return false;
}

bool mesh_report_begin(const struct measure_input *input, struct mesh_report *report, struct arena *keep,
                       struct arena scratch, struct error *err)
{
    double unit = input->unit;
    memset(report, 0, sizeof *report);
    report->bounds = input->bounds;
    report->diagonal = finite_or_nan(input->diagonal);
    report->area = finite_or_nan(input->area * unit * unit);
    if (!measure_parts_at_once(input, report, keep, scratch)
        && !(measure_part(&(struct part){input, report, keep, scratch, err}, 0)
             && measure_part(&(struct part){input, report, keep, scratch, err}, 1)))
        return false;
    report->volume = report->topology.closed && report->topology.oriented
                         ? finite_or_nan(input->volume * unit * unit * unit)
                         : NAN;
    return true;
}

bool mesh_report_finish(const struct measure_input *input, const struct progress *progress,
                        struct mesh_report *report, struct warning_list *warnings, struct arena *keep,
                        struct arena scratch, struct error *err)
{
    size_t needle_faces = 0;
    if (!quality_build(input, progress, &report->quality, &needle_faces, keep, scratch, err))
        return false;
    geometry_warnings(input, report, needle_faces, warnings);
    return true;
}

bool mesh_report_build(const struct measure_input *input, const struct progress *progress,
                       struct mesh_report *report, struct warning_list *warnings, struct arena *keep,
                       struct arena scratch, struct error *err)
{
    return mesh_report_begin(input, report, keep, scratch, err)
           && mesh_report_finish(input, progress, report, warnings, keep, scratch, err);
}
