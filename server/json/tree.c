/* tree.c - leaves and branches of a jansson tree. */
#include "json/tree.h"

#include <math.h>

static json_t *made(struct tree *tree, json_t *value)
{
    if (!value)
        tree->failed = true;
    return value;
}

json_t *tree_object(struct tree *tree)
{
    return made(tree, json_object());
}

json_t *tree_array(struct tree *tree)
{
    return made(tree, json_array());
}

void tree_put(struct tree *tree, json_t *object, const char *key, json_t *value)
{
    if (json_object_set_new(object, key, value) != 0)
        tree->failed = true;
}

void tree_append(struct tree *tree, json_t *array, json_t *value)
{
    if (json_array_append_new(array, value) != 0)
        tree->failed = true;
}

static json_t *real(double x)
{
    return isfinite(x) ? json_real(x) : json_null();
}

void tree_put_text(struct tree *tree, json_t *object, const char *key, const char *text)
{
    tree_put(tree, object, key, text ? json_string(text) : json_null());
}

void tree_put_real(struct tree *tree, json_t *object, const char *key, double x)
{
    tree_put(tree, object, key, real(x));
}

void tree_put_count(struct tree *tree, json_t *object, const char *key, size_t count)
{
    tree_put(tree, object, key, json_integer((json_int_t)count));
}

void tree_put_integer(struct tree *tree, json_t *object, const char *key, int64_t x)
{
    tree_put(tree, object, key, x == MEASURE_UNDEFINED ? json_null() : json_integer(x));
}

void tree_put_bool(struct tree *tree, json_t *object, const char *key, bool x)
{
    tree_put(tree, object, key, json_boolean(x));
}

void tree_put_null(struct tree *tree, json_t *object, const char *key)
{
    tree_put(tree, object, key, json_null());
}

void tree_put_point(struct tree *tree, json_t *object, const char *key, vec3 p)
{
    tree_put(tree, object, key, tree_reals(tree, (const double[]){p.x, p.y, p.z}, 3));
}

void tree_put_box(struct tree *tree, json_t *object, const char *key, aabb box)
{
    json_t *bounds = tree_object(tree);
    tree_put_point(tree, bounds, "min", box.min);
    tree_put_point(tree, bounds, "max", box.max);
    tree_put_real(tree, bounds, "diagonal", aabb_diagonal(box));
    tree_put(tree, object, key, bounds);
}

json_t *tree_interval(struct tree *tree, struct interval interval)
{
    json_t *ends = tree_object(tree);
    tree_put_real(tree, ends, "lower", interval.lower);
    tree_put_real(tree, ends, "upper", interval.upper);
    return ends;
}

void tree_put_interval(struct tree *tree, json_t *object, const char *key, struct interval interval)
{
    tree_put(tree, object, key, tree_interval(tree, interval));
}

json_t *tree_reals(struct tree *tree, const double *values, size_t count)
{
    json_t *array = tree_array(tree);
    for (size_t i = 0; i < count; i++)
        tree_append(tree, array, real(values[i]));
    return array;
}

json_t *tree_counts(struct tree *tree, const size_t *values, size_t count)
{
    json_t *array = tree_array(tree);
    for (size_t i = 0; i < count; i++)
        tree_append(tree, array, json_integer((json_int_t)values[i]));
    return array;
}
