/* api_standing.h - how the specimens stand by a spec, as API bodies. */
#ifndef JSON_API_STANDING_H
#define JSON_API_STANDING_H

#include "store/specs.h"
#include "store/standing.h"
#include "json/api_text.h"

struct api_standing {
    const struct store_spec *spec;
    int signatures;                /* persons who have to sign by it */
    size_t counts[STANDING_COUNT]; /* of all that match the text, whatever their standing */
    size_t to_audit;               /* of the same: those that auditing all would judge */
    size_t total;                  /* of those that are listed, on every page */
    struct store_standing *const *items;
    size_t item_count;
    const char *next;
};
bool api_standing_write(const struct api_standing *standing, struct api_text *text, struct error *err);

/* What became of a piece of a collection that is audited. */
struct api_audit_all {
    size_t audited, left;
    size_t by_outcome[3]; /* enum outcome */
    size_t refused_count;
    struct {
        int64_t specimen;
        const char *catalogue_number, *reason;
    } refused[50];
    int64_t next; /* 0: it is through */
};
bool api_audit_all_write(const struct api_audit_all *all, struct api_text *text, struct error *err);

#endif
