/* api_compare.h - runs side by side: aligned measures, their change against a baseline, and what can be said.
 *
 * A change is told only where it is certain: for exact measures when the difference is not 0, for measures
 * known within an interval when the two intervals have no point in common. Else it is "not told apart". Of
 * what is not counted but computed, COMPARE_ROUNDING of the value counts as an interval about it. Nothing is
 * certain about a value that rests on samples and has no half-width, nor between two counts of places that
 * were counted from other levels: these are not told apart either.
 * "better" and "worse" follow the measure's direction; without one a change "differs". Nothing is said, and
 * no difference is given, between runs with other definitions, settings, kind or unit of length, or, for
 * deviations, against a reference with other bytes, or, for findings, with other tolerances. Another certify
 * is no other setting here: the ends of an interval are certain whatever its width, and what is exact does
 * not depend on it. Only what counts as far, where no tolerance says, depends on the width that was wanted
 * (measure/places.h): findings are not compared then. A measure that stands once for each tolerance has a row
 * for each tolerance of any run. */
#ifndef JSON_API_COMPARE_H
#define JSON_API_COMPARE_H

#include "store/runs.h"
#include "json/api_text.h"
#include "json/measures.h"

/* A sum of n terms in double is off by at most n u of the sum of their sizes, u = 2^-53 (N. J. Higham,
 * "Accuracy and Stability of Numerical Algorithms", 2nd edition, 2002, section 4.2): this is n = 10^7. */
#define COMPARE_ROUNDING 1e-9

struct compared_run {
    const struct store_run *run;
    double face_size;
    const char *record; /* JSON */
    size_t record_size;
};

/* baseline: an index into runs. ERROR_STORE when a record cannot be read. */
bool api_compare_write(const struct compared_run *runs, size_t run_count, size_t baseline,
                       const struct measure_list *measures, struct api_text *text, struct error *err);

/* The words of a verdict, by the rules above; intervals of exact measures have lower == upper. */
const char *compare_verdict(enum measure_direction direction, bool exact, double value, double lower,
                            double upper, double base, double base_lower, double base_upper);

#endif
