/* api_service.c - bodies of /healthz and /limits. */
#include "json/api_service.h"

#include <jansson.h>

bool api_health_write(const struct api_health *health, struct api_text *text, struct error *err)
{
    return api_text_write(json_pack("{s:s, s:s, s:s, s:s, s:i, s:{s:i, s:b, s:s}}", "status", health->status,
                                    "text", health->text, "version", health->version, "commit",
                                    health->commit, "definitions", health->definitions, "sandbox",
                                    "landlock_abi", health->landlock_abi, "seccomp", (int)health->seccomp,
                                    "text", health->sandbox_text),
                          text, err);
}

bool api_limits_write(const struct api_limit *limits, size_t count, struct api_text *text, struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; items && i < count; i++)
        if (json_array_append_new(items, json_pack("{s:s, s:I, s:s, s:s}", "name", limits[i].name, "value",
                                                   (json_int_t)limits[i].value, "unit", limits[i].unit,
                                                   "text", limits[i].text))) {
            json_decref(items);
            items = NULL;
        }
    return api_text_write(json_pack("{s:o}", "items", items), text, err);
}
