/* finding_places.h - places far from the other surface as findings: what the subject lost, and what it
 * invented. */
#ifndef MEASURE_FINDING_PLACES_H
#define MEASURE_FINDING_PLACES_H

#include "measure/finding.h"
#include "measure/places.h"

/* Appends the worst findings of FINDING_LOST (faces of the reference) or FINDING_INVENTED (of the subject) to
 * found, at most FINDING_PER_KIND_MAX; the totals count them all. */
bool finding_places(const struct finding_distances *distances, enum finding_kind kind, struct finding *found,
                    size_t *found_count, struct finding_list *totals, struct arena scratch,
                    struct error *err);

#endif
