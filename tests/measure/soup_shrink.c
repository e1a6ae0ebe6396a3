/* soup_shrink.c - makes a pair that fails smaller, step by step, as long as it still fails. */
#include "measure/soup_pair.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct shrinking {
    struct soup_pair *pair;
    bool (*fails)(const struct soup_pair *pair, void *context);
    void *context;
    size_t asked;
};

/* Takes `smaller` where it fails too. */
static bool try_pair(struct shrinking *shrinking, const struct soup_pair *smaller)
{
    shrinking->asked++;
    if (!shrinking->fails(smaller, shrinking->context))
        return false;
    *shrinking->pair = *smaller;
    return true;
}

static struct soup *side_of(struct soup_pair *pair, int side)
{
    return side ? &pair->to : &pair->from;
}

/* Leaves out triangles, half of them at a time, then ever fewer. */
static bool leave_out(struct shrinking *shrinking, int side)
{
    bool any = false;

    for (size_t run = SOUP_TRIANGLES_MAX / 2; run > 0; run /= 2)
        for (size_t t = 0; t + run <= side_of(shrinking->pair, side)->triangle_count;) {
            struct soup_pair smaller = *shrinking->pair;
            struct soup *soup = side_of(&smaller, side);
            memmove(soup->triangles + t, soup->triangles + t + run,
                    (soup->triangle_count - t - run) * sizeof *soup->triangles);
            soup->triangle_count -= run;
            if (soup->triangle_count > 0 && try_pair(shrinking, &smaller))
                any = true;
            else
                t++;
        }
    return any;
}

/* Points that no triangle has are no part of the surface: nobody needs to be asked. */
static void drop_unused(struct soup *soup)
{
    uint32_t places[SOUP_POINTS_MAX];
    size_t count = 0;

    memset(places, 0xff, sizeof places);
    for (size_t t = 0; t < soup->triangle_count; t++)
        for (int i = 0; i < 3; i++)
            places[soup->triangles[t][i]] = 0;
    for (size_t v = 0; v < soup->point_count; v++)
        if (places[v] == 0) {
            soup->points[count] = soup->points[v];
            places[v] = (uint32_t)count++;
        }
    soup->point_count = count;
    for (size_t t = 0; t < soup->triangle_count; t++)
        for (int i = 0; i < 3; i++)
            soup->triangles[t][i] = places[soup->triangles[t][i]];
}

/* Puts an earlier point in the place of one. */
static bool join_points(struct shrinking *shrinking, int side)
{
    bool any = false;

    for (size_t v = 1; v < side_of(shrinking->pair, side)->point_count; v++)
        for (uint32_t earlier = 0; earlier < v; earlier++) {
            struct soup_pair smaller = *shrinking->pair;
            struct soup *soup = side_of(&smaller, side);
            for (size_t t = 0; t < soup->triangle_count; t++)
                for (int i = 0; i < 3; i++)
                    if (soup->triangles[t][i] == v)
                        soup->triangles[t][i] = earlier;
            drop_unused(soup);
            if (try_pair(shrinking, &smaller)) {
                any = true;
                break;
            }
        }
    return any;
}

static double rounded(double x, int figures)
{
    char text[336];

    snprintf(text, sizeof text, "%.*g", figures > 0 ? figures : 1, x);
    return figures > 0 ? strtod(text, NULL) : 0;
}

/* Decimal figures that x needs; none for 0. */
static int figures_of(double x)
{
    int figures = 0;

    while (rounded(x, figures) != x)
        figures++;
    return figures;
}

static bool round_coordinate(struct shrinking *shrinking, int side, size_t number)
{
    struct soup_pair smaller = *shrinking->pair;
    vec3 *p = &side_of(&smaller, side)->points[number / 3];
    double *x = number % 3 == 0 ? &p->x : number % 3 == 1 ? &p->y : &p->z, was = *x;

    for (int figures = 0; figures < figures_of(was); figures++) {
        *x = rounded(was, figures);
        if (try_pair(shrinking, &smaller))
            return true;
    }
    return false;
}

/* Moves all so that the first point is at the origin: what is far from there has many figures. */
static bool move_to_origin(struct shrinking *shrinking)
{
    struct soup_pair smaller = *shrinking->pair;
    const vec3 first = smaller.from.points[0];

    if (first.x == 0 && first.y == 0 && first.z == 0)
        return false;
    for (int side = 0; side < 2; side++)
        for (size_t v = 0; v < side_of(&smaller, side)->point_count; v++)
            side_of(&smaller, side)->points[v] = vec3_sub(side_of(&smaller, side)->points[v], first);
    return try_pair(shrinking, &smaller);
}

size_t soup_pair_shrink(struct soup_pair *pair, bool (*fails)(const struct soup_pair *pair, void *context),
                        void *context)
{
    struct shrinking shrinking = {pair, fails, context, 0};

    for (bool any = true; any;) {
        any = move_to_origin(&shrinking);
        for (int side = 0; side < 2; side++) {
            any = leave_out(&shrinking, side) || any;
            drop_unused(side_of(pair, side));
            any = join_points(&shrinking, side) || any;
            for (size_t i = 0; i < 3 * side_of(pair, side)->point_count; i++)
                any = round_coordinate(&shrinking, side, i) || any;
        }
    }
    return shrinking.asked;
}

static size_t print_soup(const char *name, const struct soup *soup, char *text, size_t size)
{
    size_t used = 0;
#define PUT(...) used += (size_t)snprintf(text + used, used < size ? size - used : 0, __VA_ARGS__)
    if (size == 0)
        return 0;
    PUT("    .%s = {%zu, %zu, {", name, soup->point_count, soup->triangle_count);
    for (size_t v = 0; v < soup->point_count && used < size; v++)
        PUT("%s{%.17g, %.17g, %.17g}", v ? ", " : "", soup->points[v].x, soup->points[v].y,
            soup->points[v].z);
    if (used < size)
        PUT("},\n        {");
    for (size_t t = 0; t < soup->triangle_count && used < size; t++)
        PUT("%s{%u, %u, %u}", t ? ", " : "", soup->triangles[t][0], soup->triangles[t][1],
            soup->triangles[t][2]);
    if (used < size)
        PUT("}},\n");
#undef PUT
    return used < size ? used : size - 1;
}

void soup_pair_print(const struct soup_pair *pair, char *text, size_t size)
{
    size_t used = (size_t)snprintf(text, size, "struct soup_pair pair = {\n");

    used += print_soup("from", &pair->from, text + used, size - used);
    used += print_soup("to", &pair->to, text + used, size - used);
    if (used + 4 < size)
        memcpy(text + used, "};\n", 4);
}
