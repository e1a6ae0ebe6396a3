/* counts.h - how many vertices, faces and edges, and which of them are doubtful. */
#ifndef MEASURE_COUNTS_H
#define MEASURE_COUNTS_H

#include "measure/measure_input.h"
#include "measure/mesh_report.h"

/* dropped_faces stays 0: only the reader knows it. */
bool counts_build(const struct measure_input *input, struct mesh_counts *counts, struct arena scratch,
                  struct error *err);

/* Histogram of small numbers: times[value_count] says how often each is there. Bins come from keep. */
bool integer_histogram_build(const size_t *times, size_t value_count, struct integer_histogram *histogram,
                             struct arena *keep, struct error *err);

#endif
