/* counts.h - how many vertices, faces and edges, and which of them are doubtful. */
#ifndef MEASURE_COUNTS_H
#define MEASURE_COUNTS_H

#include "measure/measure_input.h"
#include "measure/mesh_report.h"

/* dropped_faces stays 0: only the reader knows it. */
bool counts_build(const struct measure_input *input, struct mesh_counts *counts, struct arena scratch,
                  struct error *err);

/* Histogram of count small numbers, value 0 included when keep_zero; bins come from keep. */
bool integer_histogram_build(const uint32_t *values, size_t count, bool keep_zero,
                             struct integer_histogram *histogram, struct arena *keep, struct arena scratch,
                             struct error *err);

#endif
