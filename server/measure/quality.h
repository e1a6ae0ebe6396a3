/* quality.h - quality metrics of all quads and all triangles of a mesh.
 *
 * Faces that repeat an index or have an area of exactly 0 are left out and counted; faces of more than four
 * corners have no metrics. */
#ifndef MEASURE_QUALITY_H
#define MEASURE_QUALITY_H

#include "measure/measure_input.h"
#include "measure/mesh_report.h"

/* A triangle or quad whose aspect ratio exceeds this is a needle: common practice, no source. */
#define QUALITY_NEEDLE_ASPECT 1e6

/* Verdict's aspect ratio of face f, of its corners (quality_triangle.h, quality_quad.h); NaN where it is not
 * defined: of a degenerate face and one of more than four corners. */
double quality_aspect_ratio(const struct measure_input *input, size_t f);

/* needle_faces counts those beyond QUALITY_NEEDLE_ASPECT. Tells stage "quality". */
bool quality_build(const struct measure_input *input, const struct progress *progress,
                   struct quality_report *report, size_t *needle_faces, struct arena *keep,
                   struct arena scratch, struct error *err);

#endif
