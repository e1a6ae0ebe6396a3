/* tree.h - building a jansson tree without a check after every step.
 *
 * A struct tree remembers whether memory ran out; who began it looks once, at the end. Every value passed in
 * is taken over, NULL included. What is not defined (NaN, infinite, MEASURE_UNDEFINED) becomes null. */
#ifndef JSON_TREE_H
#define JSON_TREE_H

#include "run/run.h"

#include <jansson.h>

struct tree {
    bool failed;
};

json_t *tree_object(struct tree *tree);
json_t *tree_array(struct tree *tree);
json_t *tree_interval(struct tree *tree, struct interval interval); /* { lower, upper }: more may be put in */
void tree_put(struct tree *tree, json_t *object, const char *key, json_t *value);
void tree_append(struct tree *tree, json_t *array, json_t *value);

void tree_put_text(struct tree *tree, json_t *object, const char *key, const char *text); /* NULL: null */
void tree_put_real(struct tree *tree, json_t *object, const char *key, double x);
void tree_put_count(struct tree *tree, json_t *object, const char *key, size_t count);
void tree_put_integer(struct tree *tree, json_t *object, const char *key, int64_t x);
void tree_put_bool(struct tree *tree, json_t *object, const char *key, bool x);
void tree_put_null(struct tree *tree, json_t *object, const char *key);
void tree_put_point(struct tree *tree, json_t *object, const char *key, vec3 p);
void tree_put_box(struct tree *tree, json_t *object, const char *key, aabb box); /* { min, max, diagonal } */
void tree_put_interval(struct tree *tree, json_t *object, const char *key, struct interval interval);

json_t *tree_reals(struct tree *tree, const double *values, size_t count);
json_t *tree_counts(struct tree *tree, const size_t *values, size_t count);

/* report_json.c, for run_json.c: the mesh report of one file. */
json_t *tree_mesh_report(struct tree *tree, const struct run_mesh *mesh, enum run_units units);
/* mend_json.c: what a mended scan changed. */
json_t *tree_mend(struct tree *tree, const struct run *run);

#endif
