/* deviation_samples.c - draws the samples, asks for what is nearest, and reduces them in order. */
#include "measure/deviation_samples.h"

#include "base/mix64.h"
#include "base/tasks.h"
#include "measure/deviation_part.h"
#include "measure/sample_errors.h"

#include <math.h>

#define PILOT_CHUNKS 4 /* of BVH_LANES samples each, that tell what one costs */
#define CHUNK 64
#define AREAS_CHUNK ((size_t)1 << 13) /* triangles */
#define SLICE_CHUNKS 64               /* chunks between two words to the listener */

struct sampling {
    const struct deviation_surface *from, *to;
    const struct deviation_side *side;
    const double *area_until;                  /* [triangle_count + 1] by slot, ascending from 0 */
    const struct deviation_vertices *vertices; /* or NULL */
    size_t count;
    size_t of_chunk, stride; /* samples of a chunk, and from one to the next */
    size_t first_chunk;
    double *angles, *signed_; /* [count] */
    double *distances;        /* [count] */
    double *between; /* [count] what is linear between the distances of vertices, where these are known; */
    double between_mean, between_mean_sq; /* its means over the area */
    size_t *work;                         /* [chunk] */
};

/* Uniform in [0, 1), a function of sample and dimension alone. */
static double random_unit(size_t sample, unsigned dimension)
{
    return (double)(mix64(((uint64_t)SAMPLES_SEED << 32) + sample * 4 + dimension) >> 11) * 0x1p-53;
}

/* The slot from `first` on whose part of the area holds `area`: mostly it is not far. */
static uint32_t slot_at(const struct sampling *sampling, double area, uint32_t first)
{
    const size_t count = sampling->from->bvh.triangle_count;
    size_t low = first, step = 1, high = low + step;

    while (high < count && sampling->area_until[high] <= area) {
        low = high;
        step *= 2;
        high = low + step;
    }
    high = high < count ? high : count;
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        if (sampling->area_until[middle] <= area)
            low = middle;
        else
            high = middle;
    }
    return (uint32_t)low;
}

static void distances_at(const struct deviation_vertices *vertices, const uint32_t *corners,
                         double *distances)
{
    for (int k = 0; k < 3; k++)
        distances[k] = vertices->distances[corners[k]];
}

/* Sample i: a slot and a point on it, uniform over stratum i. *slot is that of one before, or 0. */
static vec3 draw(const struct sampling *sampling, size_t i, uint32_t *slot)
{
    double total = sampling->area_until[sampling->from->bvh.triangle_count];
    double root = sqrt(random_unit(i, 1)), v = random_unit(i, 2) * root, u = 1 - root;
    double d[3];

    *slot = slot_at(sampling, ((double)i + random_unit(i, 0)) / (double)sampling->count * total, *slot);
    vec3 a = deviation_surface_corner(sampling->from, *slot, 0),
         b = deviation_surface_corner(sampling->from, *slot, 1),
         c = deviation_surface_corner(sampling->from, *slot, 2);
    if (sampling->vertices) {
        distances_at(sampling->vertices, sampling->from->bvh.corners[*slot], d);
        sampling->between[i] = d[0] + (d[1] - d[0]) * u + (d[2] - d[0]) * v;
    }
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

/* Samples that are asked for together: they are near each other. */
struct together {
    size_t count, samples[BVH_LANES];
    uint32_t slots[BVH_LANES];
    vec3 points[BVH_LANES];
    uint32_t firsts[BVH_LANES]; /* beside the vertices: a slot near each */
    uint32_t near;              /* else the slot found for the last of those before, or BVH_NONE */
    double reach;
};

static void find_nearest(const struct sampling *sampling, struct together *together, struct bvh_hit *hits,
                         size_t *work)
{
    const struct bvh *to = &sampling->to->bvh;
    const size_t count = together->count;

    if (sampling->vertices) {
        bvh_nearest_lanes_from(to, together->points, count, together->firsts, hits, work);
        return;
    }
    bvh_nearest_lanes(to, together->points, count, together->reach, together->near, hits, work);
    together->near = hits[count - 1].slot;
    together->reach = bvh_next_reach(hits, count);
}

static void ask_together(const struct sampling *sampling, struct together *together, size_t *work)
{
    struct bvh_hit hits[BVH_LANES];

    if (together->count == 0)
        return;
    find_nearest(sampling, together, hits, work);
    for (size_t i = 0; i < together->count; i++)
        fill_sample(sampling, together->samples[i], together->points[i], together->slots[i], hits[i]);
    together->count = 0;
}

/* What is nearest to the corner that is nearest to p. */
static uint32_t slot_near(const struct sampling *sampling, vec3 p, uint32_t slot)
{
    const uint32_t *corners = sampling->from->bvh.corners[slot];
    uint32_t nearest = corners[0];
    double least_sq = INFINITY;

    for (int k = 0; k < 3; k++) {
        double way_sq = vec3_length_sq(vec3_sub(p, sampling->from->points[corners[k]]));
        nearest = way_sq < least_sq ? corners[k] : nearest;
        least_sq = way_sq < least_sq ? way_sq : least_sq;
    }
    return sampling->vertices->nearest[nearest];
}

static void put_together(const struct sampling *sampling, size_t sample, vec3 p, uint32_t slot,
                         struct together *together)
{
    const size_t i = together->count++;

    together->samples[i] = sample;
    together->slots[i] = slot;
    together->points[i] = p;
    if (sampling->vertices)
        together->firsts[i] = slot_near(sampling, p, slot);
}

static void sample_chunk(void *context, size_t number)
{
    struct sampling *sampling = context;
    const size_t chunk = sampling->first_chunk + number, begin = chunk * sampling->stride,
                 end = begin + sampling->of_chunk;
    size_t work = 0;
    uint32_t slot = 0;
    struct together together = {.count = 0, .near = BVH_NONE, .reach = INFINITY};

    for (size_t i = begin; i < end && i < sampling->count; i++) {
        vec3 p = draw(sampling, i, &slot);
        if (sampling->from->twins && sampling->from->twins[slot] != BVH_NONE)
            fill_sample(sampling, i, p, slot, (struct bvh_hit){0, sampling->from->twins[slot]});
        else
            put_together(sampling, i, p, slot, &together);
        if (together.count == BVH_LANES)
            ask_together(sampling, &together, &work);
    }
    ask_together(sampling, &together, &work);
    sampling->work[chunk] = work;
}

static bool take_samples(struct sampling *sampling, const struct samples_settings *settings,
                         struct error *err)
{
    const size_t chunks = tasks_chunks(sampling->count, CHUNK);

    sampling->of_chunk = sampling->stride = CHUNK;
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

static size_t triangles_of(const struct deviation_surface *from, const struct deviation_surface *to)
{
    return from->bvh.triangle_count + to->bvh.triangle_count;
}

/* times: as many as for the normal angle. */
static size_t count_wanted(size_t triangles, const struct samples_settings *settings, size_t times)
{
    const bool sparse = settings->sparse && !settings->want_distances;

    if (triangles < SAMPLES_FEW)
        return times * SAMPLES_OF_FEW;
    size_t count = times * (triangles / (sparse ? SAMPLES_SHARE_SPARSE : SAMPLES_SHARE));
    count = count < times * SAMPLES_MAX ? count : times * SAMPLES_MAX;
    return count > SAMPLES_LEAST ? count : SAMPLES_LEAST;
}

/* Whether so many tell the mean well even if drawn anywhere, as the distances of the vertices are spread;
 * they must be most of it, `certified`, and not on the other surface. */
static bool are_enough(const struct sampling *sampling, size_t count, double certified)
{
    const double mean = sampling->between_mean, variance = sampling->between_mean_sq - mean * mean,
                 wanted = SAMPLES_EVEN_SHARE * mean;

    return sampling->vertices && mean > SAMPLES_EVEN_LEAST * certified
           && SAMPLE_STANDARD_ERRORS * SAMPLE_STANDARD_ERRORS * variance <= wanted * wanted * (double)count;
}

/* As many of those wanted as the budget pays for, told from a few that are as near to each other. */
static size_t choose_count(struct sampling *sampling, size_t wanted, size_t times, size_t threads)
{
    size_t budget = times * SAMPLES_BUDGET(triangles_of(sampling->from, sampling->to)), work = 0;

    sampling->count = wanted;
    sampling->of_chunk = BVH_LANES;
    sampling->stride = wanted / PILOT_CHUNKS;
    sampling->first_chunk = 0;
    tasks_run(threads, PILOT_CHUNKS, sample_chunk, sampling);
    for (size_t chunk = 0; chunk < PILOT_CHUNKS; chunk++)
        work += sampling->work[chunk];
    const size_t paid = budget / (work / (PILOT_CHUNKS * BVH_LANES) + 1),
                 count = paid > SAMPLES_FLOOR ? paid : SAMPLES_FLOOR;
    return count < wanted ? count : wanted;
}

/* What the samples tell, within what is certified; that is right where they are not. */
static void narrow(struct sample_estimate sampled, double *value, double *halfwidth)
{
    double low = fmax(sampled.value - sampled.halfwidth, *value - *halfwidth),
           high = fmin(sampled.value + sampled.halfwidth, *value + *halfwidth);

    if (low > high)
        return;
    *value = low + 0.5 * (high - low);
    *halfwidth = 0.5 * (high - low) + DEVIATION_SLACK;
}

/* Where that is narrower than what is certified. */
static void fill_coverage(const struct sampling *sampling, const struct samples_settings *settings,
                          struct interval *coverage)
{
    for (size_t t = 0; t < settings->tolerance_count; t++) {
        struct interval share = sample_share(sampling->distances, sampling->count, -INFINITY,
                                             settings->tolerances[t], DEVIATION_SLACK);
        if (share.upper - share.lower < coverage[t].upper - coverage[t].lower)
            coverage[t] = share;
    }
}

static struct sample_estimate root_of(struct sample_estimate square)
{
    double root = sqrt(square.value);

    return (struct sample_estimate){root, fmax(sqrt(square.value + square.halfwidth) - root,
                                               root - sqrt(fmax(0, square.value - square.halfwidth)))};
}

static struct sample_estimate mean_of(const struct sampling *sampling, bool squared)
{
    return sampling->vertices
               ? sample_mean_beside(sampling->distances, sampling->between, sampling->count, squared,
                                    squared ? sampling->between_mean_sq : sampling->between_mean)
               : sample_mean(sampling->distances, sampling->count, squared);
}

/* Certified values stay where their mean is the narrower one. */
static bool fill_distances(const struct sampling *sampling, const struct samples_settings *settings,
                           struct one_sided_deviation *deviation, struct arena scratch, struct error *err)
{
    const double *distances = sampling->distances;
    const size_t count = sampling->count;
    struct sample_estimate mean = mean_of(sampling, false);

    if (mean.halfwidth + DEVIATION_SLACK >= deviation->halfwidth.mean)
        return true;
    const double shares[4] = {0.5, 0.95, 0.99, 0.999};
    struct sample_estimate percentiles[4];
    if (!sample_percentiles(distances, count, shares, 4, settings->reach, percentiles, scratch, err))
        return false;
    narrow(mean, &deviation->mean, &deviation->halfwidth.mean);
    narrow(root_of(mean_of(sampling, true)), &deviation->rms, &deviation->halfwidth.rms);
    narrow(percentiles[0], &deviation->median, &deviation->halfwidth.median);
    narrow(percentiles[1], &deviation->p95, &deviation->halfwidth.p95);
    narrow(percentiles[2], &deviation->p99, &deviation->halfwidth.p99);
    narrow(percentiles[3], &deviation->p999, &deviation->halfwidth.p999);
    fill_coverage(sampling, settings, deviation->coverage);
    deviation->sample_count = count;
    deviation->seed = SAMPLES_SEED;
    return true;
}

/* By what is in class c certainly and what may be in it, where that is narrower than what is certified. */
static void fill_class(const struct sampling *sampling, const struct distance_classes *classes, size_t c,
                       struct one_sided_deviation *deviation)
{
    double above = c > 0 ? classes->limits[c - 1] : -INFINITY,
           up_to = c < classes->limit_count ? classes->limits[c] : INFINITY;
    struct interval share = sample_share(sampling->distances, sampling->count, above, up_to,
                                         classes->margin + DEVIATION_SLACK),
                    *known = &deviation->class_shares[c];

    deviation->class_is_sampled[c] = share.upper - share.lower < known->upper - known->lower;
    if (deviation->class_is_sampled[c])
        *known = share;
}

static double most_of(const double *values, size_t count)
{
    double most = -INFINITY;

    for (size_t i = 0; i < count; i++)
        most = values[i] > most ? values[i] : most;
    return most;
}

static double least_of(const double *values, size_t count)
{
    double least = INFINITY;

    for (size_t i = 0; i < count; i++)
        least = values[i] < least ? values[i] : least;
    return least;
}

/* Samples on or near triangles without area have none. */
static bool fill_angles(const struct sampling *sampling, struct one_sided_deviation *deviation,
                        struct arena scratch, struct error *err)
{
    const double share = 0.95;
    double *angles = sampling->angles;
    struct sample_estimate p95;
    size_t count = 0;

    for (size_t i = 0; i < sampling->count; i++)
        if (!isnan(angles[i]))
            angles[count++] = angles[i];
    deviation->normal_angle.sample_count = count;
    if (count < 2)
        return true;
    const struct sample_estimate mean = sample_mean(angles, count, false);
    deviation->normal_angle.mean = mean.value;
    deviation->normal_angle.halfwidth.mean = mean.halfwidth;
    deviation->normal_angle.max = most_of(angles, count);
    if (!sample_percentiles(angles, count, &share, 1, 180, &p95, scratch, err))
        return false;
    deviation->normal_angle.p95 = p95.value;
    deviation->normal_angle.halfwidth.p95 = p95.halfwidth;
    return true;
}

static bool fill_signed(const struct sampling *sampling, struct signed_deviation *signed_,
                        struct arena scratch, struct error *err)
{
    const size_t count = sampling->count,
                 ranks[2] = {(size_t)ceil(0.05 * (double)count) - 1, (size_t)ceil(0.95 * (double)count) - 1};
    const double *values = sampling->signed_;
    double found[2];

    if (!order_statistics(values, count, ranks, 2, found, scratch, err))
        return false;
    signed_->mean = sample_mean(values, count, false).value;
    signed_->min = least_of(values, count);
    signed_->max = most_of(values, count);
    signed_->p05 = found[0];
    signed_->p95 = found[1];
    signed_->defined = true;
    return true;
}

/* What is told of the distances, of the angles and of the signed ones; then of each class. */
#define FILLINGS 3
struct filling {
    const struct sampling *sampling;
    const struct samples_settings *settings;
    struct one_sided_deviation *deviation;
    struct signed_deviation *signed_; /* or NULL */
    struct arena scratch[FILLINGS];
    struct error errors[FILLINGS];
    bool done[FILLINGS];
};

static void fill_one(void *context, size_t which)
{
    struct filling *filling = context;
    const struct samples_settings *settings = filling->settings;

    if (which >= FILLINGS) {
        fill_class(filling->sampling, settings->classes, which - FILLINGS, filling->deviation);
        return;
    }
    const struct arena scratch = filling->scratch[which];
    struct error *err = &filling->errors[which];
    bool *done = &filling->done[which];

    *done = true;
    if (which == 0 && settings->want_distances)
        *done = fill_distances(filling->sampling, settings, filling->deviation, scratch, err);
    if (which == 1)
        *done = fill_angles(filling->sampling, filling->deviation, scratch, err);
    if (which == 2 && filling->signed_)
        *done = fill_signed(filling->sampling, filling->signed_, scratch, err);
}

static bool fill_all(struct filling *filling, struct arena scratch, struct error *err)
{
    const size_t bytes = SAMPLE_SCRATCH(filling->sampling->count);
    const struct distance_classes *classes = filling->settings->classes;
    const size_t class_count = classes && classes->limit_count > 0 ? classes->limit_count + 1 : 0;

    for (size_t which = 0; which < FILLINGS; which++)
        if (!arena_split(&scratch, bytes, &filling->scratch[which]))
            return arena_error(err);
    tasks_run(filling->settings->threads, FILLINGS + class_count, fill_one, filling);
    for (size_t c = 0; c < class_count; c++)
        if (filling->deviation->class_is_sampled[c])
            filling->deviation->class_sample_count = filling->sampling->count;
    for (size_t which = 0; which < FILLINGS; which++)
        if (!filling->done[which]) {
            *err = filling->errors[which];
            return false;
        }
    return true;
}

struct areas {
    const struct deviation_surface *from;
    const struct deviation_vertices *vertices; /* or NULL */
    double *areas;                             /* [triangle_count] */
    double *between, *between_sq;              /* [chunk] times areas, summed up */
};

static struct linear_moments between_of(const struct areas *areas, size_t slot)
{
    double distances[3];

    distances_at(areas->vertices, areas->from->bvh.corners[slot], distances);
    return part_linear_moments(distances);
}

/* What is summed up stays with the thread: that of other chunks is next to it in memory. */
static void find_areas(void *context, size_t chunk)
{
    const struct areas *areas = context;
    const struct deviation_surface *from = areas->from;
    const size_t end = tasks_chunk_end(chunk, AREAS_CHUNK, from->bvh.triangle_count);
    double between = 0, between_sq = 0;

    for (size_t slot = chunk * AREAS_CHUNK; slot < end; slot++) {
        const double area = triangle_area(deviation_surface_corner(from, (uint32_t)slot, 0),
                                          deviation_surface_corner(from, (uint32_t)slot, 1),
                                          deviation_surface_corner(from, (uint32_t)slot, 2));
        areas->areas[slot] = area;
        if (!areas->vertices || !(area > 0))
            continue;
        const struct linear_moments moments = between_of(areas, slot);
        between += area * moments.mean;
        between_sq += area * moments.square;
    }
    areas->between[chunk] = between;
    areas->between_sq[chunk] = between_sq;
}

/* Also the means of what is linear between vertices. */
static bool add_up_areas(struct sampling *sampling, size_t threads, double *area_until, struct arena scratch,
                         struct error *err)
{
    const struct deviation_surface *from = sampling->from;
    const size_t count = from->bvh.triangle_count, chunks = tasks_chunks(count, AREAS_CHUNK);
    struct areas areas = {from, sampling->vertices, area_until + 1, ARENA_NEW(&scratch, double, chunks),
                          ARENA_NEW(&scratch, double, chunks)};

    if (!areas.between || !areas.between_sq)
        return arena_error(err);
    tasks_run(threads, chunks, find_areas, &areas);
    area_until[0] = 0;
    for (size_t slot = 0; slot < count; slot++)
        area_until[slot + 1] += area_until[slot];
    for (size_t chunk = 0; chunk < chunks; chunk++) {
        sampling->between_mean += areas.between[chunk] / area_until[count];
        sampling->between_mean_sq += areas.between_sq[chunk] / area_until[count];
    }
    return true;
}

bool samples_measure(const struct deviation_surface *from, const struct deviation_surface *to,
                     const struct deviation_side *side, const struct samples_settings *settings,
                     struct one_sided_deviation *deviation, struct signed_deviation *signed_,
                     struct arena scratch, struct error *err)
{
    size_t triangle_count = from->bvh.triangle_count,
           times = settings->want_distances ? SAMPLES_OF_DISTANCE : 1,
           wanted = count_wanted(triangles_of(from, to), settings, times);
    double *area_until = ARENA_NEW(&scratch, double, triangle_count + 1);
    struct sampling sampling = {
        .from = from, .to = to, .side = side, .area_until = area_until, .vertices = settings->vertices};

    sampling.angles = ARENA_NEW(&scratch, double, wanted);
    sampling.signed_ = ARENA_NEW(&scratch, double, wanted);
    sampling.work = ARENA_NEW(&scratch, size_t, tasks_chunks(wanted, CHUNK));
    sampling.distances = ARENA_NEW(&scratch, double, wanted);
    sampling.between = ARENA_NEW(&scratch, double, wanted);
    if (!area_until || !sampling.angles || !sampling.signed_ || !sampling.work || !sampling.distances
        || !sampling.between)
        return arena_error(err);
    if (!add_up_areas(&sampling, settings->threads, area_until, scratch, err))
        return false;
    deviation->normal_angle.mean = deviation->normal_angle.p95 = deviation->normal_angle.max = NAN;
    deviation->normal_angle.halfwidth.mean = deviation->normal_angle.halfwidth.p95 = NAN;
    deviation->normal_angle.sample_count = 0;
    deviation->normal_angle.seed = SAMPLES_SEED;
    deviation->class_sample_count = 0;
    if (!(area_until[triangle_count] > 0))
        return true;
    const size_t fewer = count_wanted(triangles_of(from, to), settings, 1);
    if (settings->want_distances && settings->tolerance_count == 0
        && are_enough(&sampling, fewer, deviation->mean)) {
        times = 1;
        wanted = fewer;
    }
    sampling.count = choose_count(&sampling, wanted, times, settings->threads);
    if (!take_samples(&sampling, settings, err))
        return false;
    struct filling filling = {&sampling, settings, deviation, side ? signed_ : NULL, {{0}}, {{0}}, {false}};
    return fill_all(&filling, scratch, err);
}
