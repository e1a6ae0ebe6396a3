/* waivers.h - waivers read from JSON: a list of {"rule","reason","author","expires"}. */
#ifndef JSON_WAIVERS_H
#define JSON_WAIVERS_H

#include "base/error.h"
#include "spec/spec.h"

struct waiver_list {
    void *document; /* owns the strings */
    size_t count;
    struct waiver *items;
};

/* On success the caller owes waivers_close. ERROR_USAGE where it is not such a list, or a waiver lacks one of
 * its keys, or its last day is not a date such as "2026-12-31". */
bool waivers_open(const char *bytes, size_t size, struct waiver_list *list, struct error *err);
void waivers_close(struct waiver_list *list);

/* "2026-11-28": a day of the calendar in this form (ISO 8601). */
bool is_day(const char *text);

#endif
