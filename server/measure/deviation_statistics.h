/* deviation_statistics.h - certified mean, RMS, percentiles and coverage of the one-sided distance.
 *
 * Of few triangles all parts of the surface are bounded (deviation_parts.h) and summed up
 * (deviation_distribution.h); then, in rounds, the parts that keep a value from being as narrow as wanted are
 * cut up: those with the most area times gap for mean and RMS, those that straddle a tolerance or a
 * percentile. It ends when all are narrow enough or the budget of work is spent. Of many triangles what lies
 * over them (deviation_overlay.h) tells the values, mostly within a tenth to a fifth of themselves; where
 * mean, RMS or coverage are wider than wanted then, and a trial leaves hope, parts are cut up likewise, and
 * at once where the trial tells that they are narrow from the start. A value is the middle of its interval,
 * its half-width half of it with rounding. Results do not depend on the number of threads. Lengths are in the
 * frame. */
#ifndef MEASURE_DEVIATION_STATISTICS_H
#define MEASURE_DEVIATION_STATISTICS_H

#include "measure/deviation_distribution.h"
#include "measure/deviation_parts.h"

/* Of work in each direction: some 40 ns each, so that both directions take less than 1 us of one core for
 * each triangle; more for few triangles, where a fraction of a second does not matter. The triangles may take
 * twice as much where little else will do; refining has what they leave, and a little in any case. */
#define STATISTICS_FEW ((size_t)1 << 14)
#define STATISTICS_BUDGET(from_count, to_count)                                                              \
    ((from_count) + (to_count) < STATISTICS_FEW ? (size_t)1 << 22 : (size_t)10 * ((from_count) + (to_count)))
/* A trial that leaves mean half-widths of so many times what is wanted leaves no hope of getting there within
 * the budget: bounds are found quickly then. Measured: rough pairs begin at 5 to 140 times and end at no less
 * than a half of it. */
#define STATISTICS_HOPE 2
/* One that leaves so small a part of it: bounds alone will do, in less time than what lies over, as measured
 * on pierced and needle pairs. Of surfaces that are a little off they would leave more, and tell no more than
 * that the distance is far less than wanted. */
#define STATISTICS_SURE 0.01
#define STATISTICS_COVERAGE_WIDTH 0.001 /* wanted: upper less lower share */

struct statistics_settings {
    double halfwidth; /* wanted of mean and RMS; percentiles are refined to it where that can be had soon */
    double reach;     /* certified upper bound of the distance */
    bool frugal;      /* where few triangles of `to` meet along their sides, so that what lies over a triangle
                       * cannot tell, mean and RMS are left to samples: only those that are farthest, or of
                       * which it is of use for these, are bounded more narrowly than quickly */
    bool all_vertices; /* whatever they cost: they are wanted anyway, and asked once */
    size_t budget;     /* of work; 0: STATISTICS_BUDGET of both surfaces */
    size_t tolerance_count;
    double tolerances[DEVIATION_TOLERANCES_MAX];
    const struct distance_classes *classes; /* NULL: none; nothing is cut up for their sake */
    size_t threads;
    const struct deviation_side *side;   /* of `to`, or NULL: built where it is needed */
    struct deviation_vertices *vertices; /* room for those of `from`; found where a trial leaves no hope */
    const struct progress *progress;
    double progress_from, progress_to; /* this part of the stage "statistics" */
};

struct statistics_wide { /* wider than wanted when the budget ended */
    bool means;          /* mean or RMS */
    bool vague;          /* likewise, by more than PARTS_VAGUE_SHARE of itself */
    bool coverage;
};

/* Fills mean, RMS, percentiles, their half-widths, coverage and class shares of deviation: NaN, and shares
 * [0, 1], where `from` has no area. parts: from arena, with the last bounds; the rest of arena is scratch. */
bool statistics_measure(const struct deviation_surface *from, const struct deviation_surface *to,
                        const struct statistics_settings *settings, struct one_sided_deviation *deviation,
                        struct surface_parts *parts, struct statistics_wide *wide, struct arena *arena,
                        struct error *err);

#endif
