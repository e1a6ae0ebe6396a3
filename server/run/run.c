/* run.c - the order of one measurement: read both files, look at each mesh, compare them, list the places. */
#include "run/run.h"

#include "measure/measure_input.h"
#include "run/run_memory.h"
#include "run/stage_clock.h"

#include <sched.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

struct run_settings run_settings_default(void)
{
    cpu_set_t cores;
    struct run_settings settings = {
        .deviation = {.certify = 1e-4, .threads = 1},
        .units = UNITS_UNKNOWN,
        .surface = SURFACE_BOTH,
        .boundary = BOUNDARY_EDGE_AND_CORNER,
    };
    if (sched_getaffinity(0, sizeof cores, &cores) == 0)
        settings.deviation.threads = (size_t)CPU_COUNT(&cores);
    return settings;
}

/* One of the two meshes on its way through the run. */
struct side {
    struct mesh mesh;
    struct measure_input input;
    struct mesh_findings findings;
    struct run_mesh *result;
};

/* What every step of a run needs. */
struct workshop {
    struct stage_clock clock;
    size_t threads;
    struct arena *keep;
    struct arena scratch;
    struct error *err;
};

static size_t file_size(const struct run_input *input)
{
    struct stat status;
    return input && fstat(input->fd, &status) == 0 && status.st_size > 0 ? (size_t)status.st_size : 0;
}

/* A refused file is the subject unless the text says otherwise. */
static bool blame_reference(struct error *err)
{
    struct error own = *err;
    if (error_is_reject(err->code))
        snprintf(err->text, sizeof err->text, "in the reference: %.*s", (int)sizeof own.text - 20, own.text);
    return false;
}

/* What was touched of the rest of an arena. */
static void give_back(struct workshop *shop, struct arena *arena)
{
    stage_clock_look(&shop->clock);
    arena_release(arena);
}

/* Readers leave pages here and there in scratch. */
static bool read_side(struct workshop *shop, const struct run_input *input, struct side *side)
{
    bool ok = stage_clock_enter(&shop->clock, "read", shop->err)
              && mesh_file_read(input->fd, input->name, shop->threads, &shop->clock.progress, &side->mesh,
                                &side->result->file, shop->keep, shop->scratch, shop->err);
    give_back(shop, &shop->scratch);
    return ok;
}

/* Whatever topology tells is asked for at once, so that its arrays need not outlive it: they come from the
 * lower half of scratch, where later steps go, and what was touched above is given back. */
static bool report_topology(struct workshop *shop, enum mesh_kind kind, struct side *side)
{
    struct mesh_report *report = &side->result->report;
    struct arena scratch = shop->scratch, topology;

    if (!arena_split(&scratch, arena_left(&scratch) / 2, &topology))
        return arena_error(shop->err);
    bool ok = measure_input_build_threaded(&side->mesh, kind, shop->threads, &shop->clock.progress,
                                           &side->input, shop->keep, &topology, scratch, shop->err);
    give_back(shop, &scratch);
    ok = ok && mesh_report_begin(&side->input, report, shop->keep, scratch, shop->err)
         && mesh_findings_build(&side->input, report, &side->findings, shop->keep, scratch, shop->err)
         && measure_input_let_go(&side->input, shop->keep, shop->err);
    give_back(shop, &scratch);
    return ok;
}

static bool report_side(struct workshop *shop, enum mesh_kind kind, struct side *side)
{
    struct mesh_report *report = &side->result->report;
    bool ok = stage_clock_enter(&shop->clock, "topology", shop->err) && report_topology(shop, kind, side)
              && stage_clock_enter(&shop->clock, "quality", shop->err)
              && mesh_report_finish(&side->input, &shop->clock.progress, report, &side->result->file.warnings,
                                    shop->keep, shop->scratch, shop->err);
    report->counts.dropped_faces = side->result->file.dropped_faces;
    return ok;
}

static bool compare_sides(struct workshop *shop, const struct side *subject, const struct side *reference,
                          bool want_fields, struct deviation_faces *faces, struct run *run)
{
    run->has_deviation = true;
    return stage_clock_enter(&shop->clock, "index", shop->err)
           && deviation_measure(&subject->input, &reference->input, &run->settings.deviation,
                                &shop->clock.progress, &run->deviation, want_fields ? &run->fields : NULL,
                                faces, &run->subject.file.warnings, &run->reference.file.warnings, shop->keep,
                                shop->scratch, shop->err);
}

/* The limit surface of a cage; faces: NULL where its faces as they are were measured too. What building it
 * has touched is given back before it is measured. */
static bool compare_limit(struct workshop *shop, const struct side *subject, const struct side *reference,
                          bool want_fields, struct deviation_faces *faces, struct run *run)
{
    struct deviation_field positions;
    const struct limit_request request = {
        .creases = run->settings.ignore_creases ? NULL : &subject->mesh.creases,
        .rule = run->settings.boundary,
        .settings = &run->settings.deviation,
        .progress = &shop->clock.progress,
        .want_positions = want_fields,
    };
    struct limit_triangles triangles;
    struct arena scratch = shop->scratch, own;

    give_back(shop, &scratch);
    if (!stage_clock_enter(&shop->clock, "limit", shop->err))
        return false;
    if (!arena_split(&scratch, arena_left(&scratch) / 4, &own))
        return arena_error(shop->err);
    if (!limit_deviation_build(&subject->input, &reference->input, &request, &triangles,
                               &run->subject.file.warnings, &own, scratch, shop->err))
        return false;
    give_back(shop, &scratch);
    run->has_deviation_limit = triangles.surface.limit.triangle_count > 0;
    if (run->has_deviation_limit
        && !limit_deviation_measure(&triangles, &reference->input, &request, &run->deviation_limit,
                                    &positions, faces, shop->keep, scratch, shop->err))
        return false;
    if (run->has_deviation_limit && want_fields)
        run->fields.fields[run->fields.count++] = positions;
    return true;
}

/* What a mended scan has that the scan before it has not, and the other way. */
static bool tell_mend(struct workshop *shop, const struct side *subject, const struct side *reference,
                      struct run *run)
{
    double width = run->settings.deviation.certify * reference->input.diagonal;

    run->has_mend = true;
    return stage_clock_enter(&shop->clock, "mend", shop->err)
           && mend_build(&subject->input, &reference->input, width, &shop->clock.progress, &run->mend,
                         shop->keep, shop->scratch, shop->err);
}

/* What of the subject is compared: a scan is its faces, and has no limit surface. */
static bool settle_surface(struct run *run, struct error *err)
{
    if (run->kind == MESH_CAGE)
        return true;
    if (run->settings.surface == SURFACE_LIMIT)
        return error_set(err, ERROR_USAGE,
                         "--surface limit: the file is a scan, and only a cage has a limit surface; "
                         "--kind cage says that it is one");
    run->settings.surface = SURFACE_CONTROL;
    return true;
}

/* Lost and invented places are those of the faces as they are, where these were measured. */
static bool list_findings(struct workshop *shop, const struct side *subject, const struct side *reference,
                          const struct deviation_faces *faces, struct run *run)
{
    const struct finding_distances distances = {
        .subject = &subject->input,
        .reference = &reference->input,
        .median_edge = run->subject.report.edge_length.median,
        .settings = &run->settings.deviation,
        .deviation = run->has_deviation ? &run->deviation : &run->deviation_limit,
        .of_subject = &faces->of_subject,
        .of_reference = &faces->of_reference,
        .length_unit = run->settings.units == UNITS_UNKNOWN ? "" : run_units_name(run->settings.units),
    };

    return stage_clock_enter(&shop->clock, "findings", shop->err)
           && findings_build(&subject->findings, run->has_reference ? &reference->findings : NULL,
                             run->has_deviation || run->has_deviation_limit ? &distances : NULL,
                             &run->findings, shop->keep, shop->scratch, shop->err);
}

/* reference_file is NULL where there is none. */
static bool measure_all(struct workshop *shop, const struct run_input *subject_file,
                        const struct run_input *reference_file, bool want_fields, struct run *run)
{
    struct side subject = {.result = &run->subject}, reference = {.result = &run->reference};
    struct deviation_faces faces;

    if (!read_side(shop, subject_file, &subject))
        return false;
    if (reference_file && !read_side(shop, reference_file, &reference))
        return blame_reference(shop->err);

    run->kind = run->settings.kind_given ? run->settings.kind : mesh_kind_guess(&subject.mesh);
    if (!settle_surface(run, shop->err) || !report_side(shop, run->kind, &subject))
        return false;
    if (reference_file && !report_side(shop, MESH_SCAN, &reference))
        return blame_reference(shop->err);

    if (reference_file && run->settings.surface != SURFACE_LIMIT
        && !compare_sides(shop, &subject, &reference, want_fields, &faces, run))
        return false;
    if (reference_file && run->settings.surface != SURFACE_CONTROL
        && !compare_limit(shop, &subject, &reference, want_fields, run->has_deviation ? NULL : &faces, run))
        return false;
    if (reference_file && run->kind == MESH_SCAN && !tell_mend(shop, &subject, &reference, run))
        return false;
    return list_findings(shop, &subject, &reference, &faces, run);
}

bool run_measure(const struct run_input *subject, const struct run_input *reference,
                 const struct run_settings *settings, bool want_fields, const struct progress *progress,
                 struct run *run, struct error *err)
{
    struct arena scratch = {0};
    struct workshop shop = {.threads = settings->deviation.threads, .keep = &run->arena, .err = err};
    bool ok;

    memset(run, 0, sizeof *run);
    run->settings = *settings;
    if (reference && reference->fd < 0)
        reference = NULL;
    run->has_reference = reference != NULL;
    if (!run_memory_open(settings->memory_bytes, file_size(subject) + file_size(reference),
                         settings->deviation.threads, &run->arena, &scratch, err))
        return false;
    shop.scratch = scratch;
    stage_clock_start(&shop.clock, &run->timings, progress);
    ok = measure_all(&shop, subject, reference, want_fields, run);
    stage_clock_stop(&shop.clock);
    arena_close(&scratch);
    if (!ok)
        run_close(run);
    return ok;
}

void run_close(struct run *run)
{
    arena_close(&run->arena);
}
