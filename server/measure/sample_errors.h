/* sample_errors.h - what stratified samples tell, and how far off that may be.
 *
 * There is one value from each of N strata of equal weight, in an order in which strata next to each other
 * are alike. Errors are of four standard errors each:
 *   - mean: the variance is that of collapsed strata, sum (x_i - x_j)^2 / N^2 over pairs of strata next to
 *     each other, which is too large rather than too small (Cochran 1977, "Sampling Techniques", section
 *     5A.12: one unit per stratum);
 *   - mean beside another one: where the mean of a second value over all is known, that of the first is told
 *     from how both go together, by the regression estimator (Cochran, chapter 7); slope and variance are
 *     those of the differences in the pairs, the variance with four standard errors of itself, as what is
 *     left may be far off in few pairs;
 *   - shares: likewise, where (x_i - x_j)^2 is 1 for each pair that a limit splits. How many it splits is a
 *     count, of which the upper end of the score interval is taken (Brown, Cai and DasGupta 2003, "Interval
 *     estimation in exponential families"), so that few pairs, or none, do not tell too little;
 *   - percentiles: the order statistics as far away as the share of what is below is uncertain (Woodruff
 *     1952, "Confidence intervals for medians and other position measures").
 * Where they are smaller, the errors of independent draws are told of shares and percentiles, which
 * stratifying only makes smaller (Cochran, section 5.6): Wilson's interval (Wilson 1927, "Probable inference,
 * the law of succession, and statistical inference"), and four binomial standard errors of the rank (Conover
 * 1999, "Practical Nonparametric Statistics", section 3.2).
 */
#ifndef MEASURE_SAMPLE_ERRORS_H
#define MEASURE_SAMPLE_ERRORS_H

#include "measure/deviation.h"
#include "measure/quantiles.h"

#define SAMPLE_STANDARD_ERRORS 4.0

/* A value and how far it may be off. */
struct sample_estimate {
    double value, halfwidth;
};

/* Of values, two at least, or of their squares. */
struct sample_estimate sample_mean(const double *values, size_t count, bool squared);

/* The same, beside values whose mean over all, or that of their squares, is known; as narrow at least. Alone
 * where too few pairs tell how both go together. */
struct sample_estimate sample_mean_beside(const double *values, const double *beside, size_t count,
                                          bool squared, double beside_mean);

/* The share of all that lies above one limit and not above the other, where every value may be off by
 * `slack`. */
struct interval sample_share(const double *values, size_t count, double above, double up_to, double slack);

#define SAMPLE_SHARES_MAX 8
#define SAMPLE_SCRATCH QUANTILES_SCRATCH /* bytes that suffice for a number of values */

/* The smallest values within which at least so large shares of them lie; at most SAMPLE_SHARES_MAX. No value
 * is less than 0 or more than `most`. */
bool sample_percentiles(const double *values, size_t count, const double *shares, size_t share_count,
                        double most, struct sample_estimate *estimates, struct arena scratch,
                        struct error *err);

#endif
