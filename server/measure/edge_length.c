/* edge_length.c - statistics of edge lengths. */
#include "measure/edge_length.h"

#include "measure/exact_sum.h"
#include "measure/face_geometry.h"
#include "measure/quantiles.h"

bool edge_length_build(const struct measure_input *input, struct edge_length_report *report,
                       struct arena scratch, struct error *err)
{
    static const double half[] = {0.5};
    size_t count = input->edges.count;
    double unit = input->unit, least = INFINITY, largest = 0, median;
    struct exact_sum sum = {0, 0};
    double *lengths = ARENA_NEW(&scratch, double, count); /* in units */
    *report = (struct edge_length_report){NAN, NAN, NAN, NAN, NAN};
    if (scratch.failed)
        return arena_error(err);
    if (count == 0)
        return true;
    for (size_t e = 0; e < count; e++) {
        if (e + AHEAD < count)
            ahead_ask(&input->mesh->positions[input->edges.high[e + AHEAD]]);
        lengths[e] = unit_distance(input, input->edges.low[e], input->edges.high[e]);
        least = smaller(least, lengths[e]);
        largest = larger(largest, lengths[e]);
        exact_sum_add(&sum, lengths[e]);
    }
    if (!quantiles(lengths, count, half, 1, &median, scratch, err))
        return false;
    report->min = finite_or_nan(least * unit);
    report->mean = finite_or_nan(exact_sum_value(sum) / (double)count * unit);
    report->median = finite_or_nan(median * unit);
    report->max = finite_or_nan(largest * unit);
    if (input->diagonal > 0)
        report->relative_median = finite_or_nan(report->median / input->diagonal);
    return true;
}
