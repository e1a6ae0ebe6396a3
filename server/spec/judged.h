/* judged.h - the one rounding between what was computed and what is shown and judged.
 *
 * A value is rounded once, to JUDGED_DIGITS significant digits; that number is shown and is the one that is
 * compared with the limit, so that nobody sees 0.4 refused by a limit of 0.4. The ends of an interval are
 * rounded away from each other, so that it keeps what it promises. A value within JUDGED_ROUNDING of itself
 * of such a number is taken to be that number: a change of unit must not push an end by a whole digit. */
#ifndef SPEC_JUDGED_H
#define SPEC_JUDGED_H

enum { JUDGED_DIGITS = 6 };
/* Sums of n terms in double are off by at most n u of the sum of their sizes, u = 2^-53 (N. J. Higham,
 * "Accuracy and Stability of Numerical Algorithms", 2nd edition, 2002, section 4.2): this is n = 10^7. */
#define JUDGED_ROUNDING 1e-9

/* 0, infinities and NaN stay what they are; so do integers below 10^15. */
double judged_down(double value);
double judged_up(double value);
double judged_nearest(double value);

#endif
