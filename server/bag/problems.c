/* problems.c - gathering. */
#include "bag/problems.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static const char *copy(struct arena *keep, const char *text)
{
    size_t size = strlen(text) + 1;
    char *own = ARENA_NEW(keep, char, size);
    if (!own)
        return NULL;
    memcpy(own, text, size);
    for (char *c = own; *c; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7f)
            *c = '?';
    return own;
}

void bag_problem_add(struct bag_problems *problems, enum bag_aspect aspect, const char *path,
                     const char *format, ...)
{
    char text[400];
    va_list arguments;
    problems->total++;
    problems->by_aspect[aspect]++;
    if (problems->count == BAG_PROBLEMS_MAX)
        return;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    struct bag_problem problem = {aspect, copy(problems->keep, path), copy(problems->keep, text)};
    if (problem.path && problem.text)
        problems->items[problems->count++] = problem;
}
