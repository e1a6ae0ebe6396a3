/* ranking.c - sorting indices by a number. */
#include "measure/ranking.h"

#include <math.h>
#include <stdlib.h>

static int compare(const void *a, const void *b)
{
    const struct ranked *p = a, *q = b;
    double key_p = isnan(p->key) ? INFINITY : p->key, key_q = isnan(q->key) ? INFINITY : q->key;
    if (key_p != key_q)
        return key_p > key_q ? -1 : 1;
    return p->index < q->index ? -1 : p->index > q->index;
}

void ranking_sort(struct ranked *ranking, size_t count)
{
    if (count > 1)
        qsort(ranking, count, sizeof *ranking, compare);
}
