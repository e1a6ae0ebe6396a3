/* mend_move.h - how far the surface of a replaced region moved. */
#ifndef MEASURE_MEND_MOVE_H
#define MEASURE_MEND_MOVE_H

#include "measure/mend_regions.h"

/* The two-sided Hausdorff distance between what region r took out and what it put in, both of which it must
 * have: certified, as deviation_maximum.h does it; no wider than width unless the search ends first. */
bool mend_move_measure(const struct mend_regions *regions, size_t r, double width, struct mend_move *move,
                       struct arena scratch, struct error *err);

#endif
