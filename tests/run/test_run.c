/* test_run.c
 *   run_*        a subject alone and against a reference: what is kept
 *   refused_*    errors, and which file they are about
 *   limits_*     ever smaller memory, cancelling */
#include "run/run.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

static const char cube[] = "v 0 0 0\nv 2 0 0\nv 2 2 0\nv 0 2 0\nv 0 0 2\nv 2 0 2\nv 2 2 2\nv 0 2 2\n"
                           "f 1 4 3 2\nf 5 6 7 8\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\n";
static const char wrong[] = "v 0 0 0\nv 1 0 0\nv 0 x 0\nf 1 2 3\n";

static struct run_input file_of(const char *text)
{
    struct run_input input = {memfd_create("mesh", MFD_CLOEXEC), "mesh.obj"};
    cr_assert_eq(write(input.fd, text, strlen(text)), (ssize_t)strlen(text));
    return input;
}

static struct run_settings settings_of_one_thread(void)
{
    struct run_settings settings = run_settings_default();
    settings.deviation.threads = 1;
    settings.deviation.certify = 1e-2;
    return settings;
}

Test(run, run_of_a_cube_alone)
{
    struct run_input subject = file_of(cube);
    struct run_settings settings = settings_of_one_thread();
    struct run run;
    struct error err;

    cr_assert(run_measure(&subject, NULL, &settings, false, NULL, &run, &err), "%s", err.text);
    cr_expect_eq((int)run.kind, (int)MESH_CAGE);
    cr_expect_eq(run.subject.report.counts.faces, 6u);
    cr_expect_eq(run.subject.report.topology.genus, 0);
    cr_expect_eq(run.subject.report.volume, 8.0);
    cr_expect_not(run.has_reference);
    cr_expect_not(run.has_deviation);
    cr_expect_eq(run.fields.count, 0u);
    cr_expect_gt(run.timings.peak_rss_mib, 0.0);
    cr_expect_geq(run.timings.peak_rss_mib, run.timings.peak_anonymous_mib);
    cr_expect_geq(run.timings.total, run.timings.read + run.timings.topology + run.timings.quality);
    run_close(&run);
}

Test(run, run_of_a_kind_that_was_told)
{
    struct run_input subject = file_of(cube);
    struct run_settings settings = settings_of_one_thread();
    struct run run;
    struct error err;

    settings.kind_given = true;
    settings.kind = MESH_SCAN;
    cr_assert(run_measure(&subject, NULL, &settings, false, NULL, &run, &err));
    cr_expect_eq((int)run.kind, (int)MESH_SCAN);
    run_close(&run);
}

/* The distance of a surface from itself is 0, wherever it is measured. */
Test(run, run_of_a_cube_against_itself_with_fields)
{
    struct run_input subject = file_of(cube), reference = file_of(cube);
    struct run_settings settings = settings_of_one_thread();
    struct run run;
    struct error err;

    cr_assert(run_measure(&subject, &reference, &settings, true, NULL, &run, &err), "%s", err.text);
    cr_expect(run.has_reference && run.has_deviation);
    cr_expect_eq(run.deviation.hausdorff.lower, 0.0);
    cr_expect_leq(run.deviation.hausdorff.upper, 1e-2 * run.reference.report.diagonal);
    cr_expect_gt(run.fields.count, 0u);
    cr_expect_eq(run.reference.report.counts.faces, 6u);
    cr_expect(run.has_deviation_limit);
    run_close(&run);
}

Test(run, refused_files_keep_their_place_and_say_when_they_are_the_reference)
{
    struct run_input good = file_of(cube), bad = file_of(wrong);
    struct run_settings settings = settings_of_one_thread();
    struct run run;
    struct error err;

    cr_expect_not(run_measure(&bad, &good, &settings, false, NULL, &run, &err));
    cr_expect_eq((int)err.code, (int)ERROR_SYNTAX);
    cr_expect_eq(err.line, 3u);
    cr_expect_null(strstr(err.text, "reference"));

    cr_expect_not(run_measure(&good, &bad, &settings, false, NULL, &run, &err));
    cr_expect_eq((int)err.code, (int)ERROR_SYNTAX);
    cr_expect_eq(err.line, 3u);
    cr_expect_str_eq(err.format, "obj");
    cr_expect_eq(strncmp(err.text, "in the reference: ", 18), 0);
}

/* Whatever the limit, a run ends well or says that it met its limit. */
Test(run, limits_of_memory_end_in_an_error_never_in_a_crash)
{
    struct run_settings settings = settings_of_one_thread();
    size_t refusals = 0, successes = 0;

    for (size_t bytes = (size_t)2 << 30; bytes >= 8192; bytes = bytes * 5 / 8) {
        struct run_input subject = file_of(cube), reference = file_of(cube);
        struct run run;
        struct error err = {0};
        settings.memory_bytes = bytes;
        if (run_measure(&subject, &reference, &settings, true, NULL, &run, &err)) {
            successes++;
            run_close(&run);
        } else {
            refusals++;
            cr_expect_eq((int)err.code, (int)ERROR_LIMIT, "%zu bytes: %s", bytes, err.text);
        }
        close(subject.fd);
        close(reference.fd);
    }
    cr_expect_gt(successes, 0u);
    cr_expect_gt(refusals, 0u);
}

struct listener {
    int heard, stop_at;
};

static bool listen_and_stop(void *context, const char *stage, double fraction)
{
    struct listener *listener = context;
    (void)stage;
    cr_expect(fraction >= 0 && fraction <= 1);
    return ++listener->heard < listener->stop_at;
}

Test(run, limits_of_patience_cancel_at_every_stage)
{
    struct run_settings settings = settings_of_one_thread();
    bool done = false;

    settings.surface = SURFACE_CONTROL; /* every word told is a run here */

    for (int stop_at = 1; !done && stop_at < 1000; stop_at++) {
        struct run_input subject = file_of(cube), reference = file_of(cube);
        struct listener listener = {0, stop_at};
        struct progress progress = {listen_and_stop, &listener};
        struct run run;
        struct error err = {0};
        done = run_measure(&subject, &reference, &settings, false, &progress, &run, &err);
        if (done)
            run_close(&run);
        else
            cr_expect_eq((int)err.code, (int)ERROR_CANCELLED, "at %d: %s", stop_at, err.text);
        close(subject.fd);
        close(reference.fd);
    }
    cr_expect(done);
}
