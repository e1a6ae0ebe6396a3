/* deviation_samples.c - draws the samples, asks for what is nearest, and reduces them in order. */
#include "measure/deviation_samples.h"

#include "base/mix64.h"
#include "base/tasks.h"
#include "measure/exact_sum.h"

#include <math.h>
#include <stdlib.h>

#define PILOT 64 /* samples that tell what one costs */
#define CHUNK 256
#define AREAS_CHUNK ((size_t)1 << 13) /* triangles */
#define SLICE_CHUNKS 64               /* chunks between two words to the listener */
#define STANDARD_ERRORS 4.0

struct sampling {
    const struct deviation_surface *from, *to;
    const struct deviation_side *side;
    const double *area_until; /* [triangle_count + 1] by slot, ascending from 0 */
    const uint32_t *near;
    size_t count, first_chunk;
    double *angles, *signed_; /* [count] */
    double *distances;        /* [count] */
    bool wants_distances;
    size_t *work; /* [chunk] */
};

/* Uniform in [0, 1), a function of sample and dimension alone. */
static double random_unit(size_t sample, unsigned dimension)
{
    return (double)(mix64(((uint64_t)SAMPLES_SEED << 32) + sample * 4 + dimension) >> 11) * 0x1p-53;
}

/* The slot whose part of the area holds `area`. */
static uint32_t slot_at(const struct sampling *sampling, double area)
{
    size_t low = 0, high = sampling->from->bvh.triangle_count;

    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        if (sampling->area_until[middle] <= area)
            low = middle;
        else
            high = middle;
    }
    return (uint32_t)low;
}

/* Sample i: a slot and a point on it, uniform over stratum i. */
static vec3 draw(const struct sampling *sampling, size_t i, uint32_t *slot)
{
    double total = sampling->area_until[sampling->from->bvh.triangle_count];
    double root = sqrt(random_unit(i, 1)), v = random_unit(i, 2) * root, u = 1 - root;

    *slot = slot_at(sampling, ((double)i + random_unit(i, 0)) / (double)sampling->count * total);
    vec3 a = deviation_surface_corner(sampling->from, *slot, 0),
         b = deviation_surface_corner(sampling->from, *slot, 1),
         c = deviation_surface_corner(sampling->from, *slot, 2);
    return vec3_add(a, vec3_add(vec3_scale(vec3_sub(b, a), u), vec3_scale(vec3_sub(c, a), v)));
}

static void fill_sample(const struct sampling *sampling, size_t i, vec3 p, uint32_t slot, struct bvh_hit hit)
{
    double distance = sqrt(hit.distance_sq);

    sampling->distances[i] = distance;
    sampling->angles[i] = deviation_side_angle_deg(deviation_side_face_normal(sampling->from, slot),
                                                   deviation_side_face_normal(sampling->to, hit.slot));
    if (sampling->side)
        sampling->signed_[i] = distance > 0 ? distance * deviation_side_of(sampling->side, p, hit.slot) : 0;
}

static void sample_chunk(void *context, size_t number)
{
    struct sampling *sampling = context;
    size_t chunk = sampling->first_chunk + number, work = 0;
    uint32_t first = BVH_NONE;

    for (size_t i = chunk * CHUNK; i < (chunk + 1) * CHUNK && i < sampling->count; i++) {
        uint32_t slot;
        vec3 p = draw(sampling, i, &slot);
        if (sampling->from->twins && sampling->from->twins[slot] != BVH_NONE) {
            fill_sample(sampling, i, p, slot, (struct bvh_hit){0, sampling->from->twins[slot]});
            continue;
        }
        if (sampling->near)
            first = sampling->near[sampling->from->bvh.corners[slot][0]];
        struct bvh_hit hit = bvh_nearest(&sampling->to->bvh, p, first, &work);
        first = hit.slot;
        fill_sample(sampling, i, p, slot, hit);
    }
    sampling->work[chunk] = work;
}

static bool take_samples(struct sampling *sampling, const struct samples_settings *settings,
                         struct error *err)
{
    size_t chunks = (sampling->count + CHUNK - 1) / CHUNK;

    for (sampling->first_chunk = 0; sampling->first_chunk < chunks; sampling->first_chunk += SLICE_CHUNKS) {
        size_t left = chunks - sampling->first_chunk;
        double done = (double)sampling->first_chunk / (double)chunks;
        if (!progress_tell(settings->progress, "statistics",
                           settings->progress_from
                               + (settings->progress_to - settings->progress_from) * done))
            return error_set(err, ERROR_CANCELLED, "measuring was stopped");
        tasks_run(settings->threads, left < SLICE_CHUNKS ? left : SLICE_CHUNKS, sample_chunk, sampling);
    }
    return true;
}

/* As many samples as the budget pays for, told from a few. */
static size_t choose_count(struct sampling *sampling, bool sparse)
{
    size_t triangles = sampling->from->bvh.triangle_count + sampling->to->bvh.triangle_count,
           times = sampling->wants_distances ? SAMPLES_OF_DISTANCE : 1,
           count = times * (triangles < 8 * SAMPLES_MAX ? SAMPLES_MIN : SAMPLES_MAX);

    sampling->count = PILOT;
    sampling->first_chunk = 0;
    sample_chunk(sampling, 0);
    while (count > SAMPLES_LEAST
           && (sampling->work[0] / PILOT * count > times * SAMPLES_BUDGET
               || (sparse && !sampling->wants_distances && SAMPLES_SPARSE * count > triangles)))
        count /= 2;
    return count;
}

static int compare_doubles(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Smallest value within which at least that share of the sorted ones lies. */
static double percentile(const double *sorted, size_t count, double share)
{
    size_t rank = (size_t)ceil(share * (double)count);

    return sorted[rank ? (rank < count ? rank : count) - 1 : 0];
}

/* No value is less than 0 or more than most. */
static double percentile_halfwidth(const double *sorted, size_t count, double share, double most)
{
    double n = (double)count, spread = STANDARD_ERRORS * sqrt(n * share * (1 - share)) + 1;
    double at = percentile(sorted, count, share), low = floor(share * n - spread),
           high = ceil(share * n + spread);
    double below = low >= 1 ? sorted[(size_t)low - 1] : 0,
           above = high <= n ? sorted[(size_t)high - 1] : most;

    return fmax(at - below, above - at);
}

/* Four standard errors of the mean of values (or of their squares). */
static double mean_error(const double *values, size_t count, bool squared, double *mean)
{
    struct exact_sum sum = {0, 0}, squares = {0, 0};
    double n = (double)count;

    for (size_t i = 0; i < count; i++)
        exact_sum_add(&sum, squared ? values[i] * values[i] : values[i]);
    *mean = exact_sum_value(sum) / n;
    for (size_t i = 0; i < count; i++) {
        double off = (squared ? values[i] * values[i] : values[i]) - *mean;
        exact_sum_add(&squares, off * off);
    }
    return STANDARD_ERRORS * sqrt(exact_sum_value(squares) / (n - 1) / n);
}

static struct interval wilson(double hits, double count)
{
    double z_sq = STANDARD_ERRORS * STANDARD_ERRORS, share = hits / count;
    double middle = (share + z_sq / (2 * count)) / (1 + z_sq / count);
    double half =
        STANDARD_ERRORS / (1 + z_sq / count) * sqrt(share * (1 - share) / count + z_sq / (4 * count * count));

    return (struct interval){fmax(0, middle - half), fmin(1, middle + half)};
}

static size_t count_within(const double *sorted, size_t count, double limit)
{
    size_t low = 0, high = count;

    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (sorted[middle] <= limit)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* Where that is narrower than what is certified. */
static void fill_coverage(const double *sorted, size_t count, const struct samples_settings *settings,
                          struct interval *coverage)
{
    for (size_t t = 0; t < settings->tolerance_count; t++) {
        double tolerance = settings->tolerances[t];
        size_t surely = count_within(sorted, count, tolerance - DEVIATION_SLACK),
               possibly = count_within(sorted, count, tolerance + DEVIATION_SLACK);
        struct interval share = {wilson((double)surely, (double)count).lower,
                                 wilson((double)possibly, (double)count).upper};
        if (share.upper - share.lower < coverage[t].upper - coverage[t].lower)
            coverage[t] = share;
    }
}

/* Sorts the distances. Certified values that are the narrower ones stay. */
static void fill_distances(struct sampling *sampling, const struct samples_settings *settings,
                           struct one_sided_deviation *deviation)
{
    double *sorted = sampling->distances, mean, mean_square, reach = settings->reach;
    size_t count = sampling->count;
    double mean_halfwidth = mean_error(sorted, count, false, &mean) + DEVIATION_SLACK;

    if (mean_halfwidth >= deviation->halfwidth.mean)
        return;
    deviation->mean = mean;
    deviation->halfwidth.mean = mean_halfwidth;
    double error = mean_error(sorted, count, true, &mean_square);
    deviation->rms = sqrt(mean_square);
    deviation->halfwidth.rms =
        fmax(sqrt(mean_square + error) - deviation->rms, deviation->rms - sqrt(fmax(0, mean_square - error)))
        + DEVIATION_SLACK;
    qsort(sorted, count, sizeof *sorted, compare_doubles);
    const struct {
        double share, *value, *halfwidth;
    } percentiles[] = {{0.5, &deviation->median, &deviation->halfwidth.median},
                       {0.95, &deviation->p95, &deviation->halfwidth.p95},
                       {0.99, &deviation->p99, &deviation->halfwidth.p99},
                       {0.999, &deviation->p999, &deviation->halfwidth.p999}};
    for (size_t i = 0; i < sizeof percentiles / sizeof *percentiles; i++) {
        *percentiles[i].value = percentile(sorted, count, percentiles[i].share);
        *percentiles[i].halfwidth =
            percentile_halfwidth(sorted, count, percentiles[i].share, reach) + DEVIATION_SLACK;
    }
    fill_coverage(sorted, count, settings, deviation->coverage);
    deviation->sample_count = count;
    deviation->seed = SAMPLES_SEED;
}

static bool is_sorted(const double *values, size_t count)
{
    for (size_t i = 1; i < count; i++)
        if (values[i] < values[i - 1])
            return false;
    return true;
}

static size_t count_between(const double *sorted, size_t count, double above, double up_to)
{
    size_t below = count_within(sorted, count, above), within = count_within(sorted, count, up_to);

    return within > below ? within - below : 0;
}

/* By what is in a class certainly and what may be in it, where that is narrower than what is certified. Sorts
 * the distances. */
static void fill_classes(struct sampling *sampling, const struct distance_classes *classes,
                         struct one_sided_deviation *deviation)
{
    double *sorted = sampling->distances, slack = classes->margin + DEVIATION_SLACK;
    size_t count = sampling->count, last = classes->limit_count;

    if (!is_sorted(sorted, count)) /* by fill_distances */
        qsort(sorted, count, sizeof *sorted, compare_doubles);
    for (size_t c = 0; c <= last; c++) {
        double above = c > 0 ? classes->limits[c - 1] : -INFINITY,
               up_to = c < last ? classes->limits[c] : INFINITY;
        size_t surely = count_between(sorted, count, above + slack, up_to - slack),
               possibly = count_between(sorted, count, above - slack, up_to + slack);
        struct interval share = {wilson((double)surely, (double)count).lower,
                                 wilson((double)possibly, (double)count).upper},
                        *known = &deviation->class_shares[c];
        deviation->class_is_sampled[c] = share.upper - share.lower < known->upper - known->lower;
        if (!deviation->class_is_sampled[c])
            continue;
        *known = share;
        deviation->class_sample_count = count;
    }
}

/* Sorts the angles; samples on or near triangles without area have none. */
static void fill_angles(struct sampling *sampling, struct one_sided_deviation *deviation)
{
    double *angles = sampling->angles;
    size_t count = 0;

    for (size_t i = 0; i < sampling->count; i++)
        if (!isnan(angles[i]))
            angles[count++] = angles[i];
    deviation->normal_angle.sample_count = count;
    if (count < 2)
        return;
    deviation->normal_angle.halfwidth.mean = mean_error(angles, count, false, &deviation->normal_angle.mean);
    qsort(angles, count, sizeof *angles, compare_doubles);
    deviation->normal_angle.halfwidth.p95 = percentile_halfwidth(angles, count, 0.95, 180);
    deviation->normal_angle.p95 = percentile(angles, count, 0.95);
    deviation->normal_angle.max = angles[count - 1];
}

static void fill_signed(struct sampling *sampling, struct signed_deviation *signed_)
{
    double *values = sampling->signed_;

    mean_error(values, sampling->count, false, &signed_->mean);
    qsort(values, sampling->count, sizeof *values, compare_doubles);
    signed_->min = values[0];
    signed_->max = values[sampling->count - 1];
    signed_->p05 = percentile(values, sampling->count, 0.05);
    signed_->p95 = percentile(values, sampling->count, 0.95);
    signed_->defined = true;
}

/* What is told of the angles, the distances and the signed ones: each is sorted by itself. */
struct filling {
    struct sampling *sampling;
    const struct samples_settings *settings;
    struct one_sided_deviation *deviation;
    struct signed_deviation *signed_; /* or NULL */
};
#define FILLINGS 3

static void fill_one(void *context, size_t which)
{
    const struct filling *filling = context;
    const struct samples_settings *settings = filling->settings;

    if (which == 0)
        fill_angles(filling->sampling, filling->deviation);
    if (which == 1 && settings->want_distances)
        fill_distances(filling->sampling, settings, filling->deviation);
    if (which == 1 && settings->classes && settings->classes->limit_count > 0)
        fill_classes(filling->sampling, settings->classes, filling->deviation);
    if (which == 2 && filling->signed_)
        fill_signed(filling->sampling, filling->signed_);
}

struct areas {
    const struct deviation_surface *from;
    double *areas; /* [triangle_count] */
};

static void find_areas(void *context, size_t chunk)
{
    const struct areas *areas = context;
    const struct deviation_surface *from = areas->from;

    for (size_t slot = chunk * AREAS_CHUNK;
         slot < (chunk + 1) * AREAS_CHUNK && slot < from->bvh.triangle_count; slot++)
        areas->areas[slot] = triangle_area(deviation_surface_corner(from, (uint32_t)slot, 0),
                                           deviation_surface_corner(from, (uint32_t)slot, 1),
                                           deviation_surface_corner(from, (uint32_t)slot, 2));
}

static void add_up_areas(const struct deviation_surface *from, size_t threads, double *area_until)
{
    struct areas areas = {from, area_until + 1};

    tasks_run(threads, tasks_chunks(from->bvh.triangle_count, AREAS_CHUNK), find_areas, &areas);
    area_until[0] = 0;
    for (size_t slot = 0; slot < from->bvh.triangle_count; slot++)
        area_until[slot + 1] += area_until[slot];
}

bool samples_measure(const struct deviation_surface *from, const struct deviation_surface *to,
                     const struct deviation_side *side, const struct samples_settings *settings,
                     struct one_sided_deviation *deviation, struct signed_deviation *signed_,
                     struct arena scratch, struct error *err)
{
    size_t triangle_count = from->bvh.triangle_count;
    double *area_until = ARENA_NEW(&scratch, double, triangle_count + 1);
    struct sampling sampling = {.from = from,
                                .to = to,
                                .side = side,
                                .area_until = area_until,
                                .near = settings->near,
                                .wants_distances = settings->want_distances};

    const size_t most = settings->want_distances ? SAMPLES_OF_DISTANCE * SAMPLES_MAX : SAMPLES_MAX;

    sampling.angles = ARENA_NEW(&scratch, double, most);
    sampling.signed_ = ARENA_NEW(&scratch, double, most);
    sampling.work = ARENA_NEW(&scratch, size_t, most / CHUNK);
    sampling.distances = ARENA_NEW(&scratch, double, most);
    if (!area_until || !sampling.angles || !sampling.signed_ || !sampling.work || !sampling.distances)
        return arena_error(err);
    add_up_areas(from, settings->threads, area_until);
    deviation->normal_angle.mean = deviation->normal_angle.p95 = deviation->normal_angle.max = NAN;
    deviation->normal_angle.halfwidth.mean = deviation->normal_angle.halfwidth.p95 = NAN;
    deviation->normal_angle.sample_count = 0;
    deviation->normal_angle.seed = SAMPLES_SEED;
    deviation->class_sample_count = 0;
    if (!(area_until[triangle_count] > 0))
        return true;
    sampling.count = choose_count(&sampling, settings->sparse);
    if (!take_samples(&sampling, settings, err))
        return false;
    struct filling filling = {&sampling, settings, deviation, side ? signed_ : NULL};
    tasks_run(settings->threads, FILLINGS, fill_one, &filling);
    return true;
}
