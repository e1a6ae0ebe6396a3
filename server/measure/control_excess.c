/* control_excess.c - differences of intervals, rounded outwards. */
#include "measure/control_excess.h"

#include <math.h>

static struct interval less(struct interval a, struct interval b)
{
    return (struct interval){nextafter(a.lower - b.upper, -INFINITY), nextafter(a.upper - b.lower, INFINITY)};
}

static struct interval mean_of(const struct one_sided_deviation *side)
{
    return (struct interval){nextafter(side->mean - side->halfwidth.mean, -INFINITY),
                             nextafter(side->mean + side->halfwidth.mean, INFINITY)};
}

struct control_excess control_excess_of(const struct deviation *control, const struct deviation *limit)
{
    const struct one_sided_deviation *lost = &control->reference_to_subject,
                                     *lost_limit = &limit->reference_to_subject,
                                     *invented = &control->subject_to_reference,
                                     *invented_limit = &limit->subject_to_reference;

    return (struct control_excess){
        less(control->hausdorff, limit->hausdorff), less(lost->max.distance, lost_limit->max.distance),
        less(mean_of(lost), mean_of(lost_limit)), less(invented->max.distance, invented_limit->max.distance),
        less(mean_of(invented), mean_of(invented_limit))};
}
