/* fixture_sample.h - the real meshes of the shared test data, for tests of rooms above io. */
#ifndef SUPPORT_FIXTURE_SAMPLE_H
#define SUPPORT_FIXTURE_SAMPLE_H

#include "mesh/mesh.h"

/* The folder of shared test data: $FETTLE_SHARED, else ../shared beside the checkout. */
const char *fixture_shared_folder(void);

/* The mesh of a file of its folder data, in an arena that lives to the end of the test's process; without the
 * file the test is skipped and says so. */
struct mesh fixture_sample(const char *name);

#endif
