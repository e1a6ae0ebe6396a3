/* deviation_distribution.h - how the distance is spread over the area, from bounds on all parts.
 *
 * With F(t) the share of the area within t of the other surface, the shares of the two bounds of every part
 * give F_high(t) <= F(t) <= F_low(t); the p-th percentile, the smallest t with F(t) >= p, is then between the
 * smallest with F_low(t) >= p and the smallest with F_high(t) >= p. Mean and mean square are monotone in the
 * distance. Mean, RMS and percentiles hold up to DEVIATION_SLACK and a share DISTRIBUTION_SLACK_REL of
 * themselves, for rounding, which are left to the caller; shares hold as they are. Lengths are in the frame.
 */
#ifndef MEASURE_DEVIATION_DISTRIBUTION_H
#define MEASURE_DEVIATION_DISTRIBUTION_H

#include "measure/deviation.h"
#include "measure/deviation_part.h"

#define DISTRIBUTION_SLACK_REL 0x1p-42 /* of sums and closed forms */
#define DISTRIBUTION_PERCENTILES 4     /* the median, 95, 99 and 99.9 % */
#define DISTRIBUTION_LIMITS_MAX (DEVIATION_TOLERANCES_MAX + DISTRIBUTION_PERCENTILES)

extern const double distribution_percentile_shares[DISTRIBUTION_PERCENTILES];

struct distribution {
    double area;
    struct interval mean, rms;
    struct interval percentiles[DISTRIBUTION_PERCENTILES];
    const struct distance_classes *classes;         /* set by the caller; NULL: not wanted */
    struct interval within[DEVIATION_CLASS_LIMITS]; /* shares of the area within their limits */
};

/* precision: a length; percentiles need not be found closer than
 * that; INFINITY: not closer than the bins of a histogram, a sixty-fourth of themselves, which is quick. area
 * > 0 is wanted: with none, nothing but area is set. ERROR_LIMIT when memory ends. */
bool distribution_find(const struct part *parts, size_t count, double precision, size_t threads,
                       struct distribution *distribution, struct arena scratch, struct error *err);

/* The shares of the area within each limit, ascending or not; at most DISTRIBUTION_LIMITS_MAX of them. */
bool distribution_shares(const struct part *parts, size_t count, const double *limits, size_t limit_count,
                         size_t threads, struct interval *shares, struct arena scratch, struct error *err);

/* The same within each limit of the classes: a part is looked at for those alone that lie between its bounds.
 */
bool distribution_classes(const struct part *parts, size_t count, const struct distance_classes *classes,
                          size_t threads, struct interval *within, struct arena scratch, struct error *err);

#endif
