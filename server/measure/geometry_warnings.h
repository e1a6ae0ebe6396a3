/* geometry_warnings.h - remarks about the size, place and proportions of a mesh. */
#ifndef MEASURE_GEOMETRY_WARNINGS_H
#define MEASURE_GEOMETRY_WARNINGS_H

#include "measure/measure_input.h"
#include "measure/mesh_report.h"

/* The limits below are common practice, no source. */
#define FAR_FROM_ORIGIN_RATIO                                                                                \
    1e4 /* largest coordinate against the diagonal: single precision then leaves                             \
         * fewer than 2,000 steps across the object */
#define ANISOTROPIC_EXTENT_RATIO 1e6 /* largest against smallest extent that is not 0 */
#define EXTREME_DIAGONAL 1e15        /* beyond it, or below 1 / it */
#define NONPLANAR_POLYGON 0.05       /* farthest corner from the mean plane against the longest side */

void geometry_warnings(const struct measure_input *input, const struct mesh_report *report,
                       size_t needle_faces, struct warning_list *warnings);

#endif
