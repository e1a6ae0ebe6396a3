/* deviation_classes.h - the classes of distance by which a record tells how the area is spread.
 *
 * Their limits are the preferred numbers 1, 1.6, 2.5, 4, 6.3 times powers of ten (ISO 3:1973, "Preferred
 * numbers; series of preferred numbers", series R5, rounded): five to a decade, round lengths in the unit of
 * the file. All records take them from this one ladder, so that histograms of any two have the limits they
 * share in common, whatever their references; the reference's box diagonal D alone decides where they begin
 * and end: with the greatest that is no more than DEVIATION_CLASSES_LEAST of D, with the least that is no
 * less than D. One scan measured against by many versions gives the same limits to all. Where they begin is
 * common practice, no source: a tenth of the width that is wanted of the largest distance. */
#ifndef MEASURE_DEVIATION_CLASSES_H
#define MEASURE_DEVIATION_CLASSES_H

#include "measure/deviation.h"

#define DEVIATION_CLASSES_LEAST 1e-5

/* No limits where the diagonal is 0 or beyond 1e-200 to 1e200. */
struct distance_classes deviation_classes_make(double diagonal, double margin);

/* The share of each class from the certified shares within the limits: what is open at its two ends adds up.
 * The rounding of the difference is less than what each end allows for. */
void deviation_classes_shares(const struct interval *within, size_t limit_count, struct interval *shares);

#endif
