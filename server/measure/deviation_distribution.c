/* deviation_distribution.c - sums chunk by chunk; percentiles by a histogram, then by halving a bracket. */
#include "measure/deviation_distribution.h"

#include "base/tasks.h"
#include "measure/deviation_surface.h"
#include "measure/exact_sum.h"
#include "measure/overlay_kernels.h"

#include <math.h>
#include <string.h>

#define CHUNK ((size_t)1 << 13)
#define BINS OVERLAY_BINS
#define PRECISION_REL 0x1p-24 /* of floats */
#define STEPS_MAX 200

const double distribution_percentile_shares[DISTRIBUTION_PERCENTILES] = {0.5, 0.95, 0.99, 0.999};

/* --- sums --- */

struct chunk_sums {
    double area, low, high, low_sq, high_sq;
};

struct summing {
    const struct part *parts;
    size_t count;
    struct chunk_sums *sums; /* [chunk] */
    const double *limits;
    size_t limit_count;
    double margin;           /* of the classes */
    struct interval *shares; /* [chunk][limit]: areas */
};

static void sum_chunk(void *context, size_t chunk)
{
    struct summing *summing = context;
    struct exact_sum area = {0, 0}, low = {0, 0}, high = {0, 0}, low_sq = {0, 0}, high_sq = {0, 0};

    for (size_t i = chunk * CHUNK; i < tasks_chunk_end(chunk, CHUNK, summing->count); i++) {
        const struct part *part = &summing->parts[i];
        if (!(part->area > 0))
            continue;
        struct part_moments moments = part_moments(part);
        exact_sum_add(&area, part->area);
        exact_sum_add(&low, part->area * moments.low);
        exact_sum_add(&high, part->area * moments.high);
        exact_sum_add(&low_sq, part->area * moments.low_sq);
        exact_sum_add(&high_sq, part->area * moments.high_sq);
    }
    summing->sums[chunk] =
        (struct chunk_sums){exact_sum_value(area), exact_sum_value(low), exact_sum_value(high),
                            exact_sum_value(low_sq), exact_sum_value(high_sq)};
}

static void add_sums(const struct summing *summing, struct distribution *distribution)
{
    struct chunk_sums all = {0, 0, 0, 0, 0};

    for (size_t chunk = 0; chunk < tasks_chunks(summing->count, CHUNK); chunk++) {
        const struct chunk_sums *sums = &summing->sums[chunk];
        all.area += sums->area;
        all.low += sums->low;
        all.high += sums->high;
        all.low_sq += sums->low_sq;
        all.high_sq += sums->high_sq;
    }
    distribution->area = all.area;
    distribution->mean = (struct interval){all.low / all.area, all.high / all.area};
    distribution->rms = (struct interval){sqrt(fmax(0, all.low_sq / all.area)), sqrt(all.high_sq / all.area)};
}

/* --- percentiles --- */

/* Of one of the two bounds of a part. */
static struct part_range range_at(const struct part *part, bool upper)
{
    return upper ? part_range_high(part) : part_range_low(part);
}

static double share_at(const struct part *part, bool upper, double t)
{
    return upper ? part_share_high(part, t) : part_share_low(part, t);
}

struct seeking {
    const struct part *parts;
    size_t count;
    bool upper; /* which bound */
    double precision;
    double targets[DISTRIBUTION_PERCENTILES]; /* areas */
    struct interval found[DISTRIBUTION_PERCENTILES];
    double *until_min, *until_max; /* [BINS] area of the parts whose range begins, ends in a bin */
    uint32_t *active;              /* [count] parts whose range the bracket meets */
};

/* Also of -0. */
static size_t bin_of(double value)
{
    return value > 0 ? overlay_bin(value) : 0;
}

static void fill_bins(struct seeking *seeking)
{
    memset(seeking->until_min, 0, BINS * sizeof(double));
    memset(seeking->until_max, 0, BINS * sizeof(double));
    for (size_t i = 0; i < seeking->count; i++) {
        const struct part *part = &seeking->parts[i];
        if (!(part->area > 0))
            continue;
        struct part_range range = range_at(part, seeking->upper);
        seeking->until_min[bin_of(range.min)] += part->area;
        seeking->until_max[bin_of(range.max)] += part->area;
    }
}

/* The first bins up to which lies as much area as each target, ascending; the last one where there is never
 * so much. */
static void find_bins(const double *areas, const double *targets, size_t *bins)
{
    double sum = 0;
    size_t bin = 0;

    for (size_t p = 0; p < DISTRIBUTION_PERCENTILES; p++) {
        for (; bin < BINS - 1 && sum + areas[bin] < targets[p]; bin++)
            sum += areas[bin];
        bins[p] = bin;
    }
}

struct bracket {
    double low, high; /* the value sought is in it */
    double below;     /* area of the parts that end at or below low */
    size_t active;
};

/* Narrows to what the active parts and the bracket have in common. */
static void sift(struct seeking *seeking, struct bracket *bracket)
{
    size_t kept = 0;

    for (size_t k = 0; k < bracket->active; k++) {
        const struct part *part = &seeking->parts[seeking->active[k]];
        struct part_range range = range_at(part, seeking->upper);
        if (!(part->area > 0))
            continue;
        if (range.max <= bracket->low)
            bracket->below += part->area;
        else if (range.min < bracket->high)
            seeking->active[kept++] = seeking->active[k];
    }
    bracket->active = kept;
}

/* From the bins that begin and end it, narrowed to where parts begin and end unless the bins will do. */
static struct bracket open_bracket(struct seeking *seeking, double target, size_t first, size_t last)
{
    struct bracket bracket = {.low = first > 0 ? overlay_bin_start(first - 1) : 0,
                              .high = last + 2 < BINS ? overlay_bin_start(last + 2) : INFINITY};
    double least = bracket.high, most = bracket.low;

    if (isinf(seeking->precision))
        return bracket;
    for (size_t i = 0; i < seeking->count; i++)
        seeking->active[i] = (uint32_t)i;
    bracket.active = seeking->count;
    sift(seeking, &bracket);
    if (bracket.below >= target) { /* of parts that end at 0: no bin is below that */
        bracket.high = bracket.low;
        return bracket;
    }
    for (size_t k = 0; k < bracket.active; k++) {
        struct part_range range = range_at(&seeking->parts[seeking->active[k]], seeking->upper);
        least = range.min < least ? range.min : least;
        most = range.max > most ? range.max : most;
    }
    /* the value sought is no end of the bins, but of parts or between theirs */
    bracket.low = fmax(bracket.low, nextafter(least, -1));
    bracket.high = fmin(bracket.high, most);
    return bracket;
}

/* An interval that holds the smallest t up to which the curve has that much area. */
static struct interval seek(struct seeking *seeking, double target, size_t first, size_t last)
{
    struct bracket bracket = open_bracket(seeking, target, first, last);

    for (int step = 0; step < STEPS_MAX; step++) {
        double width = bracket.high - bracket.low, area = bracket.below, middle = bracket.low + 0.5 * width;
        if (width <= fmax(seeking->precision, PRECISION_REL * bracket.high) || !(middle > bracket.low)
            || !(middle < bracket.high))
            break;
        for (size_t k = 0; k < bracket.active; k++) {
            const struct part *part = &seeking->parts[seeking->active[k]];
            area += part->area * share_at(part, seeking->upper, middle);
        }
        *(area >= target ? &bracket.high : &bracket.low) = middle;
        sift(seeking, &bracket);
    }
    return (struct interval){bracket.low, bracket.high};
}

/* At one of the two bounds. */
static void seek_all(void *context, size_t end)
{
    struct seeking *seeking = (struct seeking *)context + end;
    size_t first[DISTRIBUTION_PERCENTILES], last[DISTRIBUTION_PERCENTILES];

    fill_bins(seeking);
    find_bins(seeking->until_min, seeking->targets, first);
    find_bins(seeking->until_max, seeking->targets, last);
    for (size_t p = 0; p < DISTRIBUTION_PERCENTILES; p++)
        seeking->found[p] = seek(seeking, seeking->targets[p], first[p], last[p]);
}

static void find_percentiles(struct seeking *seeking, size_t threads, struct distribution *distribution)
{
    const double slack = distribution->area * DISTRIBUTION_SLACK_REL;

    for (size_t p = 0; p < DISTRIBUTION_PERCENTILES; p++) {
        double target = distribution->area * distribution_percentile_shares[p];
        seeking[0].targets[p] = target - slack;
        seeking[1].targets[p] = target + slack;
    }
    tasks_run(threads, 2, seek_all, seeking);
    for (size_t p = 0; p < DISTRIBUTION_PERCENTILES; p++)
        distribution->percentiles[p] = (struct interval){
            fmax(0, seeking[0].found[p].lower), fmax(seeking[0].found[p].lower, seeking[1].found[p].upper)};
}

bool distribution_find(const struct part *parts, size_t count, double precision, size_t threads,
                       struct distribution *distribution, struct arena scratch, struct error *err)
{
    size_t chunks = tasks_chunks(count, CHUNK);
    struct summing summing = {
        .parts = parts, .count = count, .sums = ARENA_NEW(&scratch, struct chunk_sums, chunks)};
    struct seeking seeking[2]; /* below and above */

    if (!summing.sums)
        return arena_error(err);
    for (int end = 0; end < 2; end++) {
        seeking[end] = (struct seeking){.parts = parts,
                                        .count = count,
                                        .upper = end == 1,
                                        .precision = precision,
                                        .until_min = ARENA_NEW(&scratch, double, BINS),
                                        .until_max = ARENA_NEW(&scratch, double, BINS),
                                        .active = ARENA_NEW(&scratch, uint32_t, count)};
        if (!seeking[end].until_min || !seeking[end].until_max || !seeking[end].active)
            return arena_error(err);
    }
    tasks_run(threads, chunks, sum_chunk, &summing);
    add_sums(&summing, distribution);
    if (distribution->area > 0)
        find_percentiles(seeking, threads, distribution);
    return true;
}

/* --- shares --- */

static void share_chunk(void *context, size_t chunk)
{
    struct summing *summing = context;
    struct interval *shares = summing->shares + chunk * summing->limit_count;

    memset(shares, 0, summing->limit_count * sizeof *shares);
    for (size_t i = chunk * CHUNK; i < tasks_chunk_end(chunk, CHUNK, summing->count); i++) {
        const struct part *part = &summing->parts[i];
        if (!(part->area > 0))
            continue;
        struct part_range low = part_range_low(part), high = part_range_high(part);
        for (size_t t = 0; t < summing->limit_count; t++) {
            double surely = summing->limits[t] - DEVIATION_SLACK,
                   possibly = summing->limits[t] + DEVIATION_SLACK;
            if (surely >= 0 && high.min <= surely)
                shares[t].lower += part->area * (high.max <= surely ? 1 : part_share_high(part, surely));
            if (low.min <= possibly)
                shares[t].upper += part->area * (low.max <= possibly ? 1 : part_share_low(part, possibly));
        }
    }
}

static void classes_chunk(void *context, size_t chunk)
{
    struct summing *summing = context;
    const double *limits = summing->limits, slack = summing->margin + DEVIATION_SLACK;
    size_t count = summing->limit_count;
    struct interval *shares = summing->shares + chunk * count, whole = {0, 0};
    struct interval wholes[DEVIATION_CLASS_LIMITS + 1] = {
        {0, 0}}; /* parts within that limit, not the one before */

    memset(shares, 0, count * sizeof *shares);
    for (size_t i = chunk * CHUNK; i < tasks_chunk_end(chunk, CHUNK, summing->count); i++) {
        const struct part *part = &summing->parts[i];
        if (!(part->area > 0))
            continue;
        struct part_range low = part_range_low(part), high = part_range_high(part);
        size_t t = 0;
        while (t < count && limits[t] + slack < low.min)
            t++;
        for (; t < count && limits[t] + slack < low.max; t++)
            shares[t].upper += part->area * part_share_low(part, limits[t] + slack);
        wholes[t].upper += part->area;
        for (t = 0; t < count && limits[t] - slack < fmax(0, high.min);)
            t++;
        for (; t < count && limits[t] - slack < high.max; t++)
            shares[t].lower += part->area * part_share_high(part, limits[t] - slack);
        wholes[t].lower += part->area;
    }
    for (size_t t = 0; t < count; t++) {
        whole = (struct interval){whole.lower + wholes[t].lower, whole.upper + wholes[t].upper};
        shares[t] = (struct interval){shares[t].lower + whole.lower, shares[t].upper + whole.upper};
    }
}

/* Runs one of the two over all chunks and adds up. */
static bool find_shares(struct summing *summing, void (*of_chunk)(void *context, size_t chunk),
                        size_t threads, struct interval *shares, struct arena scratch, struct error *err)
{
    size_t chunks = tasks_chunks(summing->count, CHUNK), limit_count = summing->limit_count;
    double area = 0;

    summing->shares = ARENA_NEW(&scratch, struct interval, chunks * limit_count);
    if (!summing->shares)
        return arena_error(err);
    tasks_run(threads, chunks, of_chunk, summing);
    for (size_t i = 0; i < summing->count; i++)
        area += summing->parts[i].area;
    for (size_t t = 0; t < limit_count; t++) {
        struct interval sum = {0, 0};
        for (size_t chunk = 0; chunk < chunks; chunk++) {
            sum.lower += summing->shares[chunk * limit_count + t].lower;
            sum.upper += summing->shares[chunk * limit_count + t].upper;
        }
        shares[t] = (struct interval){fmax(0, sum.lower / area - DISTRIBUTION_SLACK_REL),
                                      fmin(1, sum.upper / area + DISTRIBUTION_SLACK_REL)};
    }
    return true;
}

bool distribution_shares(const struct part *parts, size_t count, const double *limits, size_t limit_count,
                         size_t threads, struct interval *shares, struct arena scratch, struct error *err)
{
    struct summing summing = {.parts = parts, .count = count, .limits = limits, .limit_count = limit_count};

    return find_shares(&summing, share_chunk, threads, shares, scratch, err);
}

bool distribution_classes(const struct part *parts, size_t count, const struct distance_classes *classes,
                          size_t threads, struct interval *within, struct arena scratch, struct error *err)
{
    struct summing summing = {.parts = parts,
                              .count = count,
                              .limits = classes->limits,
                              .limit_count = classes->limit_count,
                              .margin = classes->margin};

    return classes->limit_count == 0 || find_shares(&summing, classes_chunk, threads, within, scratch, err);
}
