/* ranking.h - indices sorted by a number, largest first; NaN counts as largest, equals keep their order. */
#ifndef MEASURE_RANKING_H
#define MEASURE_RANKING_H

#include <stddef.h>

struct ranked {
    double key;
    size_t index;
};

void ranking_sort(struct ranked *ranking, size_t count);

#endif
