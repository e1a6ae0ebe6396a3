/* topology_report.h - shells, open loops, Euler characteristic and genus as the record tells them.
 *
 * How they are defined stands in topology/: edges.h, fans.h, shells.h, open_loops.h, genus.h. */
#ifndef MEASURE_TOPOLOGY_REPORT_H
#define MEASURE_TOPOLOGY_REPORT_H

#include "measure/measure_input.h"
#include "measure/mesh_report.h"

bool topology_report_build(const struct measure_input *input, struct topology_report *report,
                           struct arena *keep, struct arena scratch, struct error *err);

/* Length, edges, centre, shell and first vertex of open loop i (struct open_loops). Length and centre are NaN
 * where they exceed a double. */
struct open_loop_report open_loop_report(const struct measure_input *input, size_t i);

#endif
