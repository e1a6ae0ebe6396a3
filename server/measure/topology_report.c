/* topology_report.c - the topology of a mesh as lists and booleans. */
#include "measure/topology_report.h"

#include "measure/counts.h"
#include "measure/exact_sum.h"
#include "measure/face_geometry.h"
#include "measure/ranking.h"

static int64_t number(int64_t value)
{
    return value == GENUS_UNDEFINED ? MEASURE_UNDEFINED : value;
}

/* In units about the centre until the end, so that nothing overflows on the way. */
struct open_loop_report open_loop_report(const struct measure_input *input, size_t i)
{
    const struct open_loops *loops = &input->loops;
    struct exact_sum length = {0, 0}, x = {0, 0}, y = {0, 0}, z = {0, 0};
    size_t edge_count = loops->edge_begin[i + 1] - loops->edge_begin[i];
    vec3 first = centred_position(input, loops->first_vertex[i]);
    for (uint32_t j = loops->edge_begin[i]; j < loops->edge_begin[i + 1]; j++) {
        uint32_t a = loops->ends[j][0], b = loops->ends[j][1];
        double edge_length = unit_distance(input, a, b);
        vec3 middle = vec3_lerp(centred_position(input, a), centred_position(input, b), 0.5);
        vec3 moment = vec3_scale(vec3_sub(middle, first), edge_length);
        exact_sum_add(&length, edge_length);
        exact_sum_add(&x, moment.x);
        exact_sum_add(&y, moment.y);
        exact_sum_add(&z, moment.z);
    }
    double total = exact_sum_value(length);
    vec3 centre = first;
    if (total > 0)
        centre = vec3_add(first, (vec3){exact_sum_value(x) / total, exact_sum_value(y) / total,
                                        exact_sum_value(z) / total});
    centre = vec3_add(vec3_scale(centre, input->unit), input->centre);
    return (struct open_loop_report){
        .edges = edge_count,
        .length = finite_or_nan(total * input->unit),
        .centre = {finite_or_nan(centre.x), finite_or_nan(centre.y), finite_or_nan(centre.z)},
        .shell = loops->shell[i],
        .first_vertex = loops->first_vertex[i],
    };
}

static bool list_open_loops(const struct measure_input *input, struct topology_report *report,
                            struct arena *keep, struct arena scratch, struct error *err)
{
    size_t total = input->loops.count, kept = total < MEASURE_LIST_MAX ? total : MEASURE_LIST_MAX;
    struct ranked *ranking = ARENA_NEW(&scratch, struct ranked, total);
    report->open_loop_list = ARENA_NEW(keep, struct open_loop_report, kept);
    if (scratch.failed || keep->failed)
        return arena_error(err);
    for (size_t i = 0; i < total; i++)
        ranking[i] = (struct ranked){open_loop_report(input, i).length, i};
    ranking_sort(ranking, total);
    for (size_t i = 0; i < kept; i++)
        report->open_loop_list[i] = open_loop_report(input, ranking[i].index);
    report->open_loop_list_total = total;
    report->open_loop_list_count = kept;
    return true;
}

static struct shell_report shell_report(const struct measure_input *input, size_t s)
{
    const struct shell_numbers *numbers = &input->genus.shells[s];
    double unit = input->unit;
    bool has_volume =
        numbers->open_edges == 0 && numbers->nonmanifold_edges == 0 && numbers->inconsistent_edges == 0;
    return (struct shell_report){
        .faces = input->shells.face_total[s],
        .vertices = numbers->vertices,
        .edges = numbers->edges,
        .open_edges = numbers->open_edges,
        .open_loops = number(numbers->open_loops),
        .euler_characteristic = numbers->euler_characteristic,
        .genus = number(numbers->genus),
        .orientable = input->shells.orientable[s],
        .manifold = numbers->manifold,
        .area = finite_or_nan(input->shell_area[s] * unit * unit),
        .volume = has_volume ? finite_or_nan(input->shell_volume[s] * unit * unit * unit) : NAN,
        .bounds = aabb_empty(),
    };
}

static bool list_shells(const struct measure_input *input, struct topology_report *report, struct arena *keep,
                        struct error *err)
{
    size_t total = input->shells.count, kept = total < MEASURE_LIST_MAX ? total : MEASURE_LIST_MAX;
    report->shell_list = ARENA_NEW(keep, struct shell_report, kept);
    if (keep->failed)
        return arena_error(err);
    for (size_t s = 0; s < kept; s++)
        report->shell_list[s] = shell_report(input, s);
    if (total == 1)
        report->shell_list[0].bounds = input->bounds;
    for (uint32_t c = 0; total > 1 && c < input->edges.corner_count; c++) {
        uint32_t s = input->shells.face_shell[edges_face(&input->edges, c)];
        if (s < kept)
            report->shell_list[s].bounds = aabb_include(
                report->shell_list[s].bounds, input->mesh->positions[input->mesh->face_vertices[c]]);
    }
    report->shell_list_total = total;
    report->shell_list_count = kept;
    return true;
}

static bool count_incidence(const struct measure_input *input, struct topology_report *report,
                            struct arena *keep, struct arena scratch, struct error *err)
{
    size_t value_count = input->edges.incidence_max + 1;
    size_t *times = ARENA_ZERO(&scratch, size_t, value_count);
    if (scratch.failed)
        return arena_error(err);
    for (size_t e = 0; e < input->edges.count; e++)
        times[edges_incidence(&input->edges, e)]++;
    times[0] = 0;
    return integer_histogram_build(times, value_count, &report->edge_incidence, keep, err);
}

bool topology_report_build(const struct measure_input *input, struct topology_report *report,
                           struct arena *keep, struct arena scratch, struct error *err)
{
    const struct edges *edges = &input->edges;
    *report = (struct topology_report){
        .shells = input->shells.count,
        .euler_characteristic = input->genus.euler_characteristic,
        .genus = number(input->genus.genus),
        .open_edges = edges->open_count,
        .open_loops = number(input->genus.open_loops),
        .nonmanifold_edges = edges->nonmanifold_count,
        .nonmanifold_vertices = input->fans.nonmanifold_count,
        .inconsistent_edges = edges->inconsistent_count,
        .closed = edges->count > 0 && edges->open_count == 0 && edges->nonmanifold_count == 0,
        .oriented = edges->inconsistent_count == 0,
        .manifold = edges->nonmanifold_count == 0 && input->fans.nonmanifold_count == 0,
    };
    report->closed_manifold = report->closed && report->oriented && report->manifold;
    return count_incidence(input, report, keep, scratch, err) && list_shells(input, report, keep, err)
           && list_open_loops(input, report, keep, scratch, err);
}
