/* quality_metric.c - statistics and histogram of one metric. */
#include "measure/quality_metric.h"

#include <string.h>

#include "measure/exact_sum.h"
#include "measure/quantiles.h"

/* 10^(i/60), correctly rounded: from a table, so that no library's pow reaches a record. */
static const double ratio_edges[] = {
    1.0,
    1.0391223038351691,
    1.0797751623277096,
    1.1220184543019633,
    1.1659144011798317,
    1.2115276586285884,
    1.2589254117941673,
    1.3081774742601942,
    1.3593563908785256,
    1.4125375446227544,
    1.4677992676220695,
    1.525222956539019,
    1.5848931924611134,
    1.6468978654828685,
    1.7113283041617808,
    1.7782794100389228,
    1.847849797422291,
    1.9201419386388017,
    1.9952623149688795,
    2.073321573485955,
    2.154434690031884,
    2.2387211385683394,
    2.3263050671536263,
    2.417315480804104,
    2.51188643150958,
    2.610157215682537,
    2.712272579332028,
    2.8183829312644537,
    2.9286445646252366,
    3.0432198871077216,
    3.1622776601683795,
    3.2859932476006546,
    3.414548873833602,
    3.5481338923357546,
    3.6869450645195756,
    3.831186849557288,
    3.9810717055349727,
    4.136820402388507,
    4.298662347082277,
    4.466835921509631,
    4.641588833612779,
    4.823178482239307,
    5.011872336272723,
    5.207948328595464,
    5.411695265464637,
    5.623413251903491,
    5.843414133735176,
    6.072021956909885,
    6.3095734448019325,
    6.5564184941797885,
    6.812920690579613,
    7.0794578438413795,
    7.3564225445964135,
    7.6442227425260025,
    7.943282347242815,
    8.254041852680185,
    8.576958985908941,
    8.912509381337456,
    9.261187281287935,
    9.623506263980886,
    10.0,
};

static size_t bin_count_of(enum quality_scale scale)
{
    static const size_t counts[] = {
        [SCALE_RATIO] = 60, [SCALE_SHARE] = 50, [SCALE_SIGNED] = 50, [SCALE_ANGLE] = 72, [SCALE_NONE] = 0};
    return counts[scale];
}

static double edge_of(enum quality_scale scale, size_t i)
{
    switch (scale) {
    case SCALE_RATIO:
        return ratio_edges[i];
    case SCALE_SHARE:
        return (double)i / 50;
    case SCALE_SIGNED:
        return ((double)i - 25) / 25;
    default:
        return 5 * (double)i;
    }
}

/* The last edge that is not above value, by bisection, but not the very last; edges[0] <= value. */
static size_t bin_by_bisection(const double *edges, size_t bin_count, double value)
{
    size_t low = 0, width = bin_count;
    while (width > 1) {
        size_t half = width / 2;
        low += edges[low + half] <= value ? half : 0;
        width -= half;
    }
    return low;
}

/* The same where the edges are evenly spaced: a guess, set right by the edges themselves. */
static size_t bin_by_place(const double *edges, size_t bin_count, double bins_per_unit, double value)
{
    size_t bin = (size_t)((value - edges[0]) * bins_per_unit);
    bin = bin < bin_count ? bin : bin_count - 1;
    bin -= edges[bin] > value;
    bin += bin + 1 < bin_count && edges[bin + 1] <= value;
    return bin;
}

/* Ratios from 1 to 16 by their leading bits. Those of one cell are less than 0.8 % apart, and edges 3.9 %: no
 * cell has more than one edge inside. */
enum { CELL_BITS = 7, CELL_COUNT = 4 << CELL_BITS, CELL_OF_ONE = 1023 << CELL_BITS };

static size_t cell_of(double ratio)
{
    uint64_t bits;
    memcpy(&bits, &ratio, sizeof bits);
    return (size_t)(bits >> (52 - CELL_BITS)) - CELL_OF_ONE;
}

/* The bin of the smallest ratio of each cell; beyond the last edge that is the last bin. */
static void fill_cells(const double *edges, size_t bin_count, uint8_t *cells)
{
    for (size_t cell = 0; cell < CELL_COUNT; cell++) {
        uint64_t bits = (uint64_t)(cell + CELL_OF_ONE) << (52 - CELL_BITS);
        double least;
        memcpy(&least, &bits, sizeof least);
        cells[cell] = (uint8_t)bin_by_bisection(edges, bin_count, least);
    }
}

static size_t bin_by_cell(const double *edges, size_t bin_count, const uint8_t *cells, double ratio)
{
    size_t bin = cells[cell_of(ratio)];
    return bin + (bin + 1 < bin_count && edges[bin + 1] <= ratio);
}

/* Where a value goes in the histogram of its metric. */
struct binning {
    enum quality_scale scale;
    size_t bin_count;
    const double *edges;
    double bins_per_unit;
    uint8_t cells[CELL_COUNT];
};

static void binning_begin(enum quality_scale scale, const struct metric_report *report,
                          struct binning *binning)
{
    binning->scale = scale;
    binning->bin_count = report->bin_count;
    binning->edges = report->histogram_edges;
    if (report->bin_count == 0)
        return;
    binning->bins_per_unit =
        (double)report->bin_count / (binning->edges[report->bin_count] - binning->edges[0]);
    if (scale == SCALE_RATIO)
        fill_cells(binning->edges, binning->bin_count, binning->cells);
}

static inline void count_value(const struct binning *binning, double value, struct metric_report *report)
{
    const double *edges = binning->edges;
    size_t bin_count = binning->bin_count;
    if (bin_count == 0)
        return;
    if (value < edges[0])
        report->below++;
    else if (value > edges[bin_count])
        report->above++;
    else
        report->histogram_counts[binning->scale == SCALE_RATIO
                                     ? bin_by_cell(edges, bin_count, binning->cells, value)
                                     : bin_by_place(edges, bin_count, binning->bins_per_unit, value)]++;
}

/* Moves the defined values to the front, keeping their order, and finds extremes, worst face, mean and
 * histogram: all in one pass, as a sum waits for itself. */
static void scan_values(const struct quality_metric *metric, double *values, const uint32_t *faces,
                        size_t count, struct metric_report *report)
{
    struct exact_sum sum = {0, 0};
    struct metric_report found = *report; /* of its own, that values may not be thought part of */
    struct binning binning;
    binning_begin(metric->scale, report, &binning);
    for (size_t i = 0; i < count; i++) {
        double value = values[i];
        if (!isfinite(value)) {
            found.undefined++;
            continue;
        }
        bool first = found.count == 0;
        bool is_worst = first || (metric->worst_is_largest ? value > found.max : value < found.min);
        if (is_worst)
            found.worst_face = faces[i];
        found.min = first || value < found.min ? value : found.min;
        found.max = first || value > found.max ? value : found.max;
        exact_sum_add(&sum, value);
        count_value(&binning, value, &found);
        if (found.undefined > 0)
            values[found.count] = value;
        found.count++;
    }
    if (found.count > 0) {
        double mean = exact_sum_value(sum) / (double)found.count;
        found.mean = isfinite(mean) ? mean : NAN;
    }
    *report = found;
}

bool quality_metric_begin(const struct quality_metric *metric, size_t degenerate,
                          struct metric_report *report, struct arena *keep, struct error *err)
{
    size_t bin_count = bin_count_of(metric->scale);
    *report = (struct metric_report){.name = metric->name,
                                     .degenerate = degenerate,
                                     .min = NAN,
                                     .mean = NAN,
                                     .max = NAN,
                                     .worst_face = MEASURE_UNDEFINED,
                                     .bin_count = bin_count};
    if (bin_count == 0)
        return true;
    double *edges = ARENA_NEW(keep, double, bin_count + 1);
    report->histogram_edges = edges;
    report->histogram_counts = ARENA_ZERO(keep, size_t, bin_count);
    if (keep->failed)
        return arena_error(err);
    for (size_t i = 0; i <= bin_count; i++)
        edges[i] = edge_of(metric->scale, i);
    return true;
}

bool quality_metric_report(const struct quality_metric *metric, double *values, const uint32_t *faces,
                           size_t count, struct metric_report *report, struct arena scratch,
                           struct error *err)
{
    static const double shares[] = {0.05, 0.5, 0.95, 0.99};
    double at_share[4];
    scan_values(metric, values, faces, count, report);
    if (!quantiles(values, report->count, shares, 4, at_share, scratch, err))
        return false;
    report->p05 = at_share[0];
    report->median = at_share[1];
    report->p95 = at_share[2];
    report->p99 = at_share[3];
    return true;
}
