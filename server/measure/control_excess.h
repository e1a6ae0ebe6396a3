/* control_excess.h - how much of a cage's deviation belongs to its control polygon alone.
 *
 * The faces of a cage are not the surface it models: on a sphere of radius R, faces of length h lie up to
 * h^2 / (4 R) inside of their corners, and the limit surface about h^2 / (3 R). So one deviation is measured
 * on the faces and one on the limit surface, and here is the first less the second: positive where the faces
 * are farther from the scan than the surface they stand for. Each is an interval that holds the true
 * difference, since both of its terms do; where the means are sampled, so is theirs (four standard errors of
 * each). */
#ifndef MEASURE_CONTROL_EXCESS_H
#define MEASURE_CONTROL_EXCESS_H

#include "measure/deviation.h"

struct control_excess {
    struct interval hausdorff;
    struct interval lost_max, lost_mean;         /* from the reference to the subject */
    struct interval invented_max, invented_mean; /* from the subject to the reference */
};

struct control_excess control_excess_of(const struct deviation *control, const struct deviation *limit);

#endif
