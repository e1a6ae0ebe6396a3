/* soup_pair.h - small random pairs of triangle soups, the truth about their distance, and shrinking of a pair
 * that contradicts it to the least one that still does. No test framework: tests/oracle uses it too.
 *
 * The truth is computed in long double, seen from a point of the soups, by means of its own: feet on each
 * triangle by Gram-Schmidt done twice, and bisection of the longest side of the part with the largest bound,
 * where the bound is the least over the faces (and over pairs of them, weighted) of the largest distance at
 * the corners. */
#ifndef TESTS_MEASURE_SOUP_PAIR_H
#define TESTS_MEASURE_SOUP_PAIR_H

#include "base/arena.h"
#include "geom/vec3.h"

#include <stdbool.h>
#include <stdint.h>

#define SOUP_POINTS_MAX 108
#define SOUP_TRIANGLES_MAX 72

struct soup {
    size_t point_count, triangle_count;
    vec3 points[SOUP_POINTS_MAX];
    uint32_t triangles[SOUP_TRIANGLES_MAX][3];
};

struct soup_pair {
    struct soup from, to;
};

#define SOUP_KINDS 15
extern const char *const SOUP_KIND_NAMES[SOUP_KINDS];

/* The pair of a number: kind number % SOUP_KINDS, and everything else follows from number and seed. */
struct soup_pair soup_pair_random(uint64_t seed, uint64_t number);

/* Holds the truth: lower is reached at a point of `from`. Ends when the width is at most `width` or after
 * `parts_max` parts (at most SOUP_PARTS_MAX), whichever is first. */
struct soup_truth {
    long double lower, upper;
    size_t parts;
};
#define SOUP_PARTS_MAX 20000
struct soup_truth soup_truth(const struct soup *from, const struct soup *to, long double width,
                             size_t parts_max);
/* Distance from p to the soup. */
long double soup_distance(vec3 p, const struct soup *to);

/* The engine's answer from `from` to `to`, in the units of the pair; the wanted width is certify x the
 * diagonal of the box of `reference`. */
struct soup_answer {
    double lower, upper, width_wanted;
    vec3 at;
    bool exhausted;
};
bool soup_measure(const struct soup *from, const struct soup *to, const struct soup *reference,
                  double certify, struct arena arena, struct soup_answer *answer, struct error *err);

/* NULL when the engine's interval is true, as wide as wanted, and its place is as far as it says; else what
 * is wrong. `to` is the reference, as run from the subject; is_back: `from` is. narrowed: a share of its
 * width by which the interval is made narrower at both ends first, to see that a wrong one is found. */
struct soup_check {
    double certify, narrowed;
    bool is_back;
    struct arena arena;
};
const char *soup_check(const struct soup_pair *pair, const struct soup_check *check);

/* The least pair found for which fails() is still true: triangles left out, corners joined, all moved to the
 * origin, coordinates rounded to fewer figures or set to 0. fails(pair) must be true. Returns how often it
 * was asked. */
size_t soup_pair_shrink(struct soup_pair *pair, bool (*fails)(const struct soup_pair *pair, void *context),
                        void *context);

/* C source that makes the pair, as text of at most `size` bytes with its 0. */
void soup_pair_print(const struct soup_pair *pair, char *text, size_t size);

#endif
