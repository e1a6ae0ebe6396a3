/* fixture_measured.c - measuring a mesh that a test built. */
#include "support/fixture_measured.h"

#include <criterion/criterion.h>
#include <string.h>

const struct measured *fixture_measured_as(struct mesh mesh, enum mesh_kind kind)
{
    size_t bytes = ((size_t)4 << 20) + 800 * (mesh_corner_count(&mesh) + mesh.vertex_count);
    struct arena *keep = fixture_arena_of(bytes), scratch;
    struct measured *measured = ARENA_ZERO(keep, struct measured, 1);
    struct error err = {.text = ""};
    cr_assert(arena_open(&scratch, bytes, &err));
    measured->mesh = mesh;
    cr_assert(measure_input_build(&measured->mesh, kind, NULL, &measured->input, keep, scratch, &err), "%s",
              err.text);
    cr_assert(mesh_report_build(&measured->input, NULL, &measured->report, &measured->warnings, keep, scratch,
                                &err),
              "%s", err.text);
    cr_assert(mesh_findings_build(&measured->input, &measured->report, &measured->own, keep, scratch, &err)
                  && findings_build(&measured->own, NULL, NULL, &measured->findings, keep, scratch, &err),
              "%s", err.text);
    arena_close(&scratch);
    return measured;
}

const struct measured *fixture_measured(struct mesh mesh)
{
    return fixture_measured_as(mesh, mesh_kind_guess(&mesh));
}

size_t fixture_bin(const struct integer_histogram *histogram, uint32_t value)
{
    for (size_t i = 0; i < histogram->bin_count; i++)
        if (histogram->bins[i].value == value)
            return histogram->bins[i].count;
    return 0;
}

bool fixture_has_warning(const struct warning_list *warnings, const char *code)
{
    for (size_t i = 0; i < warnings->count; i++)
        if (strcmp(warnings->entries[i].code, code) == 0)
            return true;
    return false;
}
