/* fixture_measured.h - a mesh built in code, measured alone, for tests of many rooms. */
#ifndef SUPPORT_FIXTURE_MEASURED_H
#define SUPPORT_FIXTURE_MEASURED_H

#include "measure/finding.h"
#include "measure/measure_input.h"
#include "measure/mesh_report.h"
#include "support/fixture_shapes.h"

struct measured {
    struct mesh mesh;
    struct measure_input input;
    struct mesh_report report;
    struct warning_list warnings;
    struct mesh_findings own;
    struct finding_list findings;
};

/* Measures mesh; the kind is guessed from its faces. Fails the test when anything is refused.
 * Lives to the end of the test's process. */
const struct measured *fixture_measured(struct mesh mesh);
const struct measured *fixture_measured_as(struct mesh mesh, enum mesh_kind kind);
/* How many integers of that value the histogram holds. */
size_t fixture_bin(const struct integer_histogram *histogram, uint32_t value);
bool fixture_has_warning(const struct warning_list *warnings, const char *code);

#endif
