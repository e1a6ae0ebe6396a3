/* api_service.h - what the service says of itself: health and limits. */
#ifndef JSON_API_SERVICE_H
#define JSON_API_SERVICE_H

#include "json/api_text.h"

struct api_health {
    const char *status; /* "ok", "checking", "read-only" */
    const char *text;   /* one sentence, "" when all is well */
    const char *version, *commit;
    int definitions;
    int landlock_abi;
    bool seccomp;
    const char *sandbox_text;
};
bool api_health_write(const struct api_health *health, struct api_text *text, struct error *err);

struct api_limit {
    const char *name, *unit, *text;
    uint64_t value;
};
/* {"items":[{"name","value","unit","text"}]} */
bool api_limits_write(const struct api_limit *limits, size_t count, struct api_text *text, struct error *err);

#endif
