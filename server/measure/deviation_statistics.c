/* deviation_statistics.c - bounds, goals, and the choice of what to cut up next. */
#include "measure/deviation_statistics.h"

#include "base/tasks.h"
#include "measure/deviation_classes.h"
#include "measure/deviation_overlay.h"
#include "measure/deviation_quick.h"
#include "measure/deviation_triangles.h"
#include "measure/float_bins.h"

#include <math.h>
#include <string.h>

#define CHUNK ((size_t)1 << 13)
#define BINS FLOAT_BINS(0) /* of priorities, by their power of two */
#define ROUNDS_MAX 24
#define PERCENTILE_ROUNDS_MAX 4 /* where nothing but percentiles is too wide */
#define BATCH_SHARE 32          /* no fewer than this part of all parts are cut up in a round */
#define LOOK_WORK 8             /* of a part, summed up once more */
#define FIRST_BATCH 1024        /* until the work of cutting one part up is known, and */
#define FIRST_SHARE 32          /* such a part of the budget, told by the work of bounding them */
#define WANTED_SHARE 0.5        /* of the half-width: the gap of a part that is good enough at first */
#define LARGE ((size_t)1 << 19) /* triangles of both surfaces */
#define LEFT_SHARE 0.5          /* of what is allowed may be left to parts that are not cut up in a round */

/* What must be narrower. A part's priority is the share of a goal that its gap takes up, the largest of all
 * goals. */
struct goals {
    double mean, rms; /* weight of area times the gap of the mean, of the mean square; 0: met */
    double limits[DISTRIBUTION_LIMITS_MAX], weights[DISTRIBUTION_LIMITS_MAX];
    size_t limit_count;
    bool only_percentiles;
};

struct choosing {
    const struct surface_parts *parts;
    const struct goals *goals;
    float *priorities;    /* [part] */
    double (*sums)[BINS]; /* [chunk] */
};

struct statistics {
    const struct statistics_settings *settings;
    struct surface_parts *parts;
    struct arena start; /* before the parts */
    struct distribution distribution;
    struct interval coverage[DISTRIBUTION_LIMITS_MAX]; /* then shares at the percentiles */
    double from, to; /* of the stage "statistics", while parts are bounded and cut up */
};

static double width_of(struct interval interval)
{
    return interval.upper - interval.lower;
}

static double middle_of(struct interval interval)
{
    return interval.lower + 0.5 * width_of(interval);
}

static double halfwidth_of(struct interval interval)
{
    return 0.5 * width_of(interval) + DISTRIBUTION_SLACK_REL * interval.upper + DEVIATION_SLACK;
}

/* Sums up where the parts are now; percentiles closely, or as is enough to go on. */
static bool look(struct statistics *statistics, bool closely, struct arena scratch, struct error *err)
{
    const struct statistics_settings *settings = statistics->settings;
    const struct surface_parts *parts = statistics->parts;
    double limits[DISTRIBUTION_LIMITS_MAX];
    size_t count = settings->tolerance_count;

    if (!distribution_find(parts->parts, parts->count, closely ? settings->halfwidth / 16 : (double)INFINITY,
                           settings->threads, &statistics->distribution, scratch, err))
        return false;
    if (!(statistics->distribution.area > 0))
        return true;
    memcpy(limits, settings->tolerances, count * sizeof *limits);
    for (size_t p = 0; p < DISTRIBUTION_PERCENTILES; p++)
        limits[count++] = middle_of(statistics->distribution.percentiles[p]);
    return distribution_shares(parts->parts, parts->count, limits, count, settings->threads,
                               statistics->coverage, scratch, err);
}

static void add_limit(struct goals *goals, double limit, double area_allowed)
{
    goals->limits[goals->limit_count] = limit;
    goals->weights[goals->limit_count++] = 1 / area_allowed;
}

/* False when all is met. */
static bool set_goals(const struct statistics *statistics, struct goals *goals)
{
    const struct statistics_settings *settings = statistics->settings;
    const struct distribution *now = &statistics->distribution;
    size_t tolerances = settings->tolerance_count;

    *goals = (struct goals){.mean = 0};
    if (halfwidth_of(now->mean) > settings->halfwidth)
        goals->mean = 1 / (2 * settings->halfwidth * now->area);
    if (halfwidth_of(now->rms) > settings->halfwidth)
        goals->rms = 1 / (2 * settings->halfwidth * (now->rms.lower + now->rms.upper) * now->area);
    for (size_t t = 0; t < tolerances; t++)
        if (settings->reach > settings->tolerances[t]
            && width_of(statistics->coverage[t]) > STATISTICS_COVERAGE_WIDTH)
            add_limit(goals, settings->tolerances[t], STATISTICS_COVERAGE_WIDTH * now->area);
    goals->only_percentiles = !(goals->mean > 0) && !(goals->rms > 0) && goals->limit_count == 0;
    for (size_t p = 0; p < DISTRIBUTION_PERCENTILES; p++)
        if (halfwidth_of(now->percentiles[p]) > settings->halfwidth)
            add_limit(goals, middle_of(now->percentiles[p]),
                      0.5 * width_of(statistics->coverage[tolerances + p]) * now->area + 1e-30);
    return goals->mean > 0 || goals->rms > 0 || goals->limit_count > 0;
}

static double priority_of(const struct goals *goals, const struct part *part)
{
    double priority = 0;

    if (goals->mean > 0 || goals->rms > 0) {
        struct part_moments moments = part_moments(part);
        priority =
            fmax(goals->mean * (moments.high - moments.low), goals->rms * (moments.high_sq - moments.low_sq));
    }
    struct part_range low = part_range_low(part), high = part_range_high(part);
    for (size_t t = 0; t < goals->limit_count; t++) {
        double limit = goals->limits[t];
        if (low.min > limit || high.max <= limit)
            continue;
        double open = part_share_low(part, limit) - part_share_high(part, limit);
        priority = fmax(priority, goals->weights[t] * open);
    }
    return priority * part->area;
}

static void rank_chunk(void *context, size_t chunk)
{
    struct choosing *choosing = context;
    const struct surface_parts *parts = choosing->parts;
    size_t end = (chunk + 1) * CHUNK < parts->count ? (chunk + 1) * CHUNK : parts->count;

    memset(choosing->sums[chunk], 0, sizeof *choosing->sums);
    for (size_t i = chunk * CHUNK; i < end; i++) {
        const struct part *part = &parts->parts[i];
        double priority = part->area > 0 ? priority_of(choosing->goals, part) : 0;
        choosing->priorities[i] = (float)priority;
        if (priority > 0)
            choosing->sums[chunk][float_bin_of(choosing->priorities[i], 0)] += priority;
    }
}

/* The least bin whose parts are to be cut up: those below it have LEFT_SHARE together. */
static size_t least_bin(const struct choosing *choosing, size_t chunks)
{
    double left = 0;

    for (size_t bin = 0; bin < BINS; bin++) {
        for (size_t chunk = 0; chunk < chunks; chunk++)
            left += choosing->sums[chunk][bin];
        if (left > LEFT_SHARE)
            return bin;
    }
    return 0;
}

/* The parts to be cut up next, those that matter most first where they are too many; no more than `most`. */
static bool choose(const struct statistics *statistics, const struct goals *goals, size_t most,
                   uint32_t *list, size_t *count, struct arena scratch, struct error *err)
{
    const struct surface_parts *parts = statistics->parts;
    size_t chunks = tasks_chunks(parts->count, CHUNK);
    struct choosing choosing = {parts, goals, ARENA_NEW(&scratch, float, parts->count),
                                arena_alloc(&scratch, chunks, sizeof *choosing.sums, 64)};

    *count = 0;
    if (!choosing.priorities || !choosing.sums)
        return arena_error(err);
    tasks_run(statistics->settings->threads, chunks, rank_chunk, &choosing);
    size_t counts[BINS] = {0}, least = least_bin(&choosing, chunks), bin = BINS, sum = 0;
    for (size_t i = 0; i < parts->count; i++)
        if (choosing.priorities[i] > 0)
            counts[float_bin_of(choosing.priorities[i], 0)]++;
    while (bin > 1 && (bin > least || sum < parts->count / BATCH_SHARE)
           && (sum == 0 || sum + counts[bin - 1] <= most))
        sum += counts[--bin];
    for (size_t i = 0; i < parts->count && *count < most; i++)
        if (choosing.priorities[i] > 0 && float_bin_of(choosing.priorities[i], 0) >= bin)
            list[(*count)++] = (uint32_t)i;
    return true;
}

/* As many parts as the budget, the room and what a part has cost so far allow. The first ones have a share of
 * the budget even where it is spent: they are those that were bounded worst, when it was. */
static size_t batch_allowed(const struct surface_parts *parts, size_t budget, size_t cut, size_t work)
{
    const size_t room = parts->capacity - parts->count, left = budget > work ? budget - work : 0,
                 paid = cut > 0 ? left / (work / cut + 1)
                                : parts->budget / FIRST_SHARE / (parts->work / (parts->count + 1) + 1),
                 most = cut > 0 ? PARTS_BATCH_MAX : FIRST_BATCH, allowed = paid < most ? paid : most;

    return room / PARTS_OF_ONE < allowed ? room / PARTS_OF_ONE : allowed;
}

static bool tell(const struct statistics *statistics, double fraction, struct error *err)
{
    return progress_tell(statistics->settings->progress, "statistics",
                         statistics->from + (statistics->to - statistics->from) * fmin(fraction, 1))
           || error_set(err, ERROR_CANCELLED, "measuring was stopped");
}

static bool refine(struct statistics *statistics, struct arena scratch, struct error *err)
{
    struct surface_parts *parts = statistics->parts;
    uint32_t *list = ARENA_NEW(&scratch, uint32_t, PARTS_BATCH_MAX);
    size_t cut = 0, percentile_rounds = 0, begun = parts->work,
           budget = parts->budget > begun ? parts->budget - begun : 0;
    struct goals goals;

    if (!list)
        return arena_error(err);
    for (size_t round = 0; round < ROUNDS_MAX && set_goals(statistics, &goals); round++) {
        size_t work = parts->work - begun, count = 0, most = batch_allowed(parts, budget, cut, work);
        percentile_rounds += goals.only_percentiles;
        if (percentile_rounds > PERCENTILE_ROUNDS_MAX)
            break;
        if (!tell(statistics, 0.5 + 0.5 * (double)work / (double)(budget + 1), err)
            || (most > 0 && !choose(statistics, &goals, most, list, &count, scratch, err)))
            return false;
        if (count == 0)
            break;
        if (!surface_parts_refine(parts, list, count, scratch, err) || !look(statistics, false, scratch, err))
            return false;
        parts->work += LOOK_WORK * parts->count;
        cut += count;
    }
    return true;
}

static void fill_undefined(const struct statistics_settings *settings, struct one_sided_deviation *deviation)
{
    deviation->mean = deviation->rms = deviation->median = NAN;
    deviation->p95 = deviation->p99 = deviation->p999 = NAN;
    deviation->halfwidth.mean = deviation->halfwidth.rms = deviation->halfwidth.median = NAN;
    deviation->halfwidth.p95 = deviation->halfwidth.p99 = deviation->halfwidth.p999 = NAN;
    const struct interval none = {NAN, NAN};
    deviation->certified = (struct certified_statistics){none, none, none, none, none, none, {{0, 0}}};
    for (size_t t = 0; t < settings->tolerance_count; t++)
        deviation->coverage[t] = deviation->certified.coverage[t] = (struct interval){0, 1};
    for (size_t c = 0; settings->classes && c <= settings->classes->limit_count; c++)
        deviation->class_shares[c] = (struct interval){0, 1};
}

static void fill_value(struct interval interval, double *value, double *halfwidth, struct interval *certified)
{
    *value = middle_of(interval);
    *halfwidth = halfwidth_of(interval);
    *certified = (struct interval){fmax(0, nextafter(*value - *halfwidth, -INFINITY)),
                                   nextafter(*value + *halfwidth, INFINITY)};
}

/* No percentile is more than the certified maximum. */
static void fill_percentile(const struct statistics *statistics, size_t p, double *value, double *halfwidth,
                            struct interval *certified)
{
    struct interval interval = statistics->distribution.percentiles[p];

    interval.upper = fmax(interval.lower, fmin(interval.upper, statistics->settings->reach));
    fill_value(interval, value, halfwidth, certified);
}

/* All lies within what the reach certifies. */
static void fill_classes(const struct statistics *statistics, const struct distance_classes *classes,
                         struct one_sided_deviation *deviation)
{
    struct interval within[DEVIATION_CLASS_LIMITS];

    for (size_t c = 0; c < classes->limit_count; c++)
        within[c] = statistics->settings->reach + classes->margin <= classes->limits[c]
                        ? (struct interval){1, 1}
                        : statistics->distribution.within[c];
    deviation_classes_shares(within, classes->limit_count, deviation->class_shares);
}

static void fill(const struct statistics *statistics, struct one_sided_deviation *deviation,
                 struct statistics_wide *wide)
{
    const struct statistics_settings *settings = statistics->settings;
    struct certified_statistics *certified = &deviation->certified;

    fill_value(statistics->distribution.mean, &deviation->mean, &deviation->halfwidth.mean, &certified->mean);
    fill_value(statistics->distribution.rms, &deviation->rms, &deviation->halfwidth.rms, &certified->rms);
    fill_percentile(statistics, 0, &deviation->median, &deviation->halfwidth.median, &certified->median);
    fill_percentile(statistics, 1, &deviation->p95, &deviation->halfwidth.p95, &certified->p95);
    fill_percentile(statistics, 2, &deviation->p99, &deviation->halfwidth.p99, &certified->p99);
    fill_percentile(statistics, 3, &deviation->p999, &deviation->halfwidth.p999, &certified->p999);
    const double wanted = settings->halfwidth;
    wide->means = deviation->halfwidth.mean > wanted || deviation->halfwidth.rms > wanted;
    wide->vague = deviation->halfwidth.mean > fmax(wanted, PARTS_VAGUE_SHARE * deviation->mean)
                  || deviation->halfwidth.rms > fmax(wanted, PARTS_VAGUE_SHARE * deviation->rms);
    for (size_t t = 0; t < settings->tolerance_count; t++) {
        deviation->coverage[t] =
            settings->reach <= settings->tolerances[t] ? (struct interval){1, 1} : statistics->coverage[t];
        certified->coverage[t] = deviation->coverage[t];
        wide->coverage = wide->coverage || width_of(deviation->coverage[t]) > STATISTICS_COVERAGE_WIDTH;
    }
    if (settings->classes)
        fill_classes(statistics, settings->classes, deviation);
}

/* Once nothing more is cut up. */
static bool look_at_classes(struct statistics *statistics, struct arena scratch, struct error *err)
{
    const struct statistics_settings *settings = statistics->settings;

    return !settings->classes
           || distribution_classes(statistics->parts->parts, statistics->parts->count, settings->classes,
                                   settings->threads, statistics->distribution.within, scratch, err);
}

static size_t triangles_of(const struct statistics *statistics)
{
    const struct surface_parts *parts = statistics->parts;

    return parts->from->bvh.triangle_count + parts->to->bvh.triangle_count;
}

static bool are_few(const struct statistics *statistics)
{
    return triangles_of(statistics) < STATISTICS_FEW;
}

/* Of large surfaces, what earlier steps have touched: fetching it anew takes small ones a tenth of the time.
 */
static void release_touched(const struct statistics *statistics, struct arena *arena)
{
    if (triangles_of(statistics) >= LARGE)
        arena_release(arena);
}

/* In less room, as no parts are kept. */
static bool bound_quickly(struct statistics *statistics, double from, double to, struct arena *arena,
                          struct error *err)
{
    const struct statistics_settings *settings = statistics->settings;
    double middle = 0.5 * (from + to);

    return surface_parts_open_bounds(statistics->parts, arena, err)
           && triangles_bound_quickly(statistics->parts, settings->vertices, settings->progress, from, middle,
                                      arena, err)
           && overlay_sum_up(statistics->parts, settings->tolerances, settings->tolerance_count,
                             &statistics->distribution, statistics->coverage, settings->progress, middle, to,
                             *arena, err);
}

/* All triangles, and what they leave open is cut up. */
static bool bound_closely(struct statistics *statistics, bool with_vertices, double from, double to,
                          struct arena *arena, struct error *err)
{
    const struct statistics_settings *settings = statistics->settings;

    statistics->from = from;
    statistics->to = to;
    return surface_parts_open(statistics->parts, PARTS_MORE(statistics->parts->from->bvh.triangle_count),
                              arena, err)
           && (!with_vertices
               || quick_ask_vertices(statistics->parts, settings->vertices, settings->progress, from, from,
                                     *arena, err))
           && triangles_bound(statistics->parts, settings->progress, from, 0.5 * (from + to), *arena, err)
           && look(statistics, false, *arena, err)
           && (!(statistics->distribution.area > 0)
               || (refine(statistics, *arena, err) && look(statistics, true, *arena, err)
                   && look_at_classes(statistics, *arena, err)));
}

/* Of many triangles: quickly first, which often does, then closely where a trial leaves hope for that;
 * closely at once where the trial says that bounds alone will do. */
static bool bound_many(struct statistics *statistics, struct arena *arena, struct error *err)
{
    const struct statistics_settings *settings = statistics->settings;
    double from = settings->progress_from, to = settings->progress_to, middle = 0.5 * (from + to),
           enough = STATISTICS_HOPE * settings->halfwidth, halfwidth = 0;
    struct goals goals;

    if (!triangles_try(statistics->parts, settings->progress, from, enough, &halfwidth, arena, err))
        return false;
    const bool hope = halfwidth <= enough;
    if (statistics->parts->trial_stride == 1) /* a trial of all has bounded all */
        return bound_closely(statistics, !hope, from, to, arena, err);
    if (!hope) {
        *arena = statistics->start;
        release_touched(statistics, arena);
        return bound_quickly(statistics, from, to, arena, err);
    }
    if (halfwidth <= STATISTICS_SURE * settings->halfwidth)
        return bound_closely(statistics, false, from, to, arena, err);
    const struct surface_parts tried = *statistics->parts;
    const struct arena after_trial = *arena;
    release_touched(statistics, arena);
    if (!bound_quickly(statistics, from, middle, arena, err))
        return false;
    set_goals(statistics, &goals);
    if (!(statistics->distribution.area > 0) || goals.only_percentiles)
        return true;
    *statistics->parts = tried;
    *arena = after_trial;
    return bound_closely(statistics, false, middle, to, arena, err);
}

bool statistics_measure(const struct deviation_surface *from, const struct deviation_surface *to,
                        const struct statistics_settings *settings, struct one_sided_deviation *deviation,
                        struct surface_parts *parts, struct statistics_wide *wide, struct arena *arena,
                        struct error *err)
{
    struct statistics statistics = {
        .settings = settings, .parts = parts, .start = *arena, .distribution.classes = settings->classes};
    size_t budget = settings->budget ? settings->budget
                                     : STATISTICS_BUDGET(from->bvh.triangle_count, to->bvh.triangle_count);

    *parts = (struct surface_parts){.from = from,
                                    .to = to,
                                    .side = settings->side,
                                    .reach = settings->reach,
                                    .frugal = settings->frugal,
                                    .all_vertices = settings->all_vertices,
                                    .wanted = WANTED_SHARE * settings->halfwidth,
                                    .threads = settings->threads,
                                    .budget = budget};
    *wide = (struct statistics_wide){false, false, false};
    fill_undefined(settings, deviation);
    deviation->sample_count = 0;
    const bool bounded = are_few(&statistics) ? bound_closely(&statistics, false, settings->progress_from,
                                                              settings->progress_to, arena, err)
                                              : bound_many(&statistics, arena, err);
    if (!bounded)
        return false;
    if (statistics.distribution.area > 0)
        fill(&statistics, deviation, wide);
    return true;
}
