/* edge_length.h - lengths of the distinct edges, each counted once whatever its incidence. */
#ifndef MEASURE_EDGE_LENGTH_H
#define MEASURE_EDGE_LENGTH_H

#include "measure/measure_input.h"
#include "measure/mesh_report.h"

/* All NaN where there is no edge; an edge between two vertices at one place has length 0 and counts. */
bool edge_length_build(const struct measure_input *input, struct edge_length_report *report,
                       struct arena scratch, struct error *err);

#endif
