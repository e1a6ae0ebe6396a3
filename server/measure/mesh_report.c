/* mesh_report.c - calls the measures of one mesh in turn. */
#include "measure/mesh_report.h"

#include <string.h>

#include "measure/counts.h"
#include "measure/edge_length.h"
#include "measure/face_geometry.h"
#include "measure/geometry_warnings.h"
#include "measure/quality.h"
#include "measure/topology_report.h"
#include "measure/valence.h"

bool mesh_report_begin(const struct measure_input *input, struct mesh_report *report, struct arena *keep,
                       struct arena scratch, struct error *err)
{
    double unit = input->unit;
    memset(report, 0, sizeof *report);
    report->bounds = input->bounds;
    report->diagonal = finite_or_nan(input->diagonal);
    report->area = finite_or_nan(input->area * unit * unit);
    if (!counts_build(input, &report->counts, scratch, err)
        || !edge_length_build(input, &report->edge_length, scratch, err)
        || !topology_report_build(input, &report->topology, keep, scratch, err)
        || !valence_build(input, &report->valence, keep, scratch, err))
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
