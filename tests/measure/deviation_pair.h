/* deviation_pair.h - two meshes measured against each other, for the tests of deviation_*. */
#ifndef TESTS_MEASURE_DEVIATION_PAIR_H
#define TESTS_MEASURE_DEVIATION_PAIR_H

#include "measure/deviation.h"
#include "measure/deviation_maximum.h"
#include "support/fixture_shapes.h"

/* An arena used again by every call with the same number (below 8): what the call before made is gone. */
struct arena pair_arena(size_t number);

/* certify 1e-4, two threads, no tolerance. */
struct deviation_settings pair_settings(void);

/* Measures; fails the test where that is refused, or expect_certified does not hold. */
struct deviation pair_measure(const struct mesh *subject, const struct mesh *reference,
                              const struct deviation_settings *settings);
/* The same with fields, which live until the next call. */
struct deviation pair_measure_fields(const struct mesh *subject, const struct mesh *reference,
                                     const struct deviation_settings *settings,
                                     struct deviation_fields *fields);
/* The certified maximum from subject to reference alone, in the units of the meshes; much faster. width is a
 * length; a budget of 0 is the usual one. */
struct maximum pair_maximum(const struct mesh *subject, const struct mesh *reference, double width,
                            size_t budget);

/* What is told as value and half-width lies within what is certified; coverage is what is certified, but
 * where it is sampled. */
void expect_certified(const struct one_sided_deviation *side, size_t tolerance_count);

/* The interval holds the value (computed within `error`) and is no wider than width. */
void expect_interval(struct interval interval, double value, double error, double width, const char *name);

/* Mesh from triangles written out, three corners each, unwelded. */
struct mesh pair_soup(struct arena *arena, const vec3 *corners, size_t triangle_count);

/* The distance of a point to the nearest face of a mesh of triangles, each looked at in turn. */
double pair_distance(const struct mesh *soup, vec3 p);

#endif
