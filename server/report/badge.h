/* badge.h - a small SVG that says how a specimen stands by a spec: by a shape and by a word, never by colour
 * alone. Its bytes depend on nothing but what it says. */
#ifndef REPORT_BADGE_H
#define REPORT_BADGE_H

#include "base/error.h"
#include "spec/standing.h"

struct badge {
    const char *about; /* what it is judged by: "Print 2" */
    const char *of;    /* whom it is about, for the title: "NH-0001, cage 7" */
    enum standing standing;
    const char *since; /* RFC 3339; its day is told in the title */
};
/* The caller frees *text. ERROR_MACHINE when memory is out. */
bool badge_write(const struct badge *badge, char **text, size_t *size, struct error *err);

#endif
