/* quantiles.h - order statistics of many doubles without sorting them.
 *
 * A quantile is the linear interpolation between order statistics at h = (n - 1) p, counted from 0 (type 7 of
 * R. J. Hyndman, Y. Fan, "Sample quantiles in statistical packages", The American Statistician 50, 1996). The
 * two order statistics are found by counting the leading bits of every value, then those that follow within
 * one bucket: linear whatever the values. */
#ifndef MEASURE_QUANTILES_H
#define MEASURE_QUANTILES_H

#include <stddef.h>

#include "base/arena.h"

#define ORDER_STATISTICS_MAX 32
#define QUANTILES_SCRATCH(count) ((size_t)(count)*16 + 512 * 1024) /* bytes that suffice */

/* Fills out[i] with the value of rank ranks[i], counted from 0 and below count; at most ORDER_STATISTICS_MAX
 * of them. The values hold no NaN. */
bool order_statistics(const double *values, size_t count, const size_t *ranks, size_t rank_count, double *out,
                      struct arena scratch, struct error *err);

/* Fills out[i] with the quantile at shares[i] (0..1; at most 16 of them) of the values, which hold no NaN;
 * NaN where count is 0.
 */
bool quantiles(const double *values, size_t count, const double *shares, size_t share_count, double *out,
               struct arena scratch, struct error *err);

#endif
