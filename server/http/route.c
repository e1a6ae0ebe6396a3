/* route.c - the table of routes, and finding one. */
#include "http/route.h"

#include "http/handlers.h"
#include "json/body.h"

#include <stdio.h>
#include <string.h>

#define API "/api/v1"

static const struct route table[] = {
    {"GET", "/healthz", "", ROUTE_NO_BODY, false, NULL, handle_health},
    {"GET", "/metrics", "", ROUTE_NO_BODY, false, NULL, handle_metrics},
    {"GET", API "/healthz", "", ROUTE_NO_BODY, false, NULL, handle_health},
    {"GET", API "/metrics", "", ROUTE_NO_BODY, false, NULL, handle_metrics},
    {"GET", API "/limits", "", ROUTE_NO_BODY, false, NULL, handle_limits},
    {"GET", API "/measures", "", ROUTE_NO_BODY, true, NULL, handle_measures},
    {"GET", API "/openapi.json", "", ROUTE_NO_BODY, true, NULL, handle_openapi},
    {"GET", API "/specimens", "q state sort order limit offset cursor", ROUTE_NO_BODY, false, NULL,
     handle_specimen_list},
    {"POST", API "/specimens", "", ROUTE_JSON, false, NULL, handle_specimen_create},
    {"GET", API "/specimens/{id}", "", ROUTE_NO_BODY, false, NULL, handle_specimen_read},
    {"PATCH", API "/specimens/{id}", "", ROUTE_JSON, false, NULL, handle_specimen_change},
    {"GET", API "/specimens/{id}/versions", "limit cursor", ROUTE_NO_BODY, false, NULL, handle_version_list},
    {"POST", API "/specimens/{id}/versions", "kind made_from against face_size name by note", ROUTE_UPLOAD,
     false, prepare_upload, handle_upload},
    {"OPTIONS", API "/uploads", "", ROUTE_NO_BODY, true, NULL, handle_part_options},
    {"POST", API "/uploads", "", ROUTE_TUS_PIECE, false, prepare_part_create, handle_part_create},
    {"HEAD", API "/uploads/{name}", "", ROUTE_TUS, false, NULL, handle_part_head},
    {"GET", API "/uploads/{name}", "", ROUTE_NO_BODY, false, NULL, handle_part_read},
    {"PATCH", API "/uploads/{name}", "", ROUTE_TUS_PIECE, false, prepare_part_piece, handle_part_piece},
    {"DELETE", API "/uploads/{name}", "", ROUTE_TUS, false, NULL, handle_part_remove},
    {"GET", API "/versions", "sha256 limit cursor", ROUTE_NO_BODY, false, NULL, handle_version_find},
    {"GET", API "/versions/{id}", "", ROUTE_NO_BODY, false, NULL, handle_version_read},
    {"PATCH", API "/versions/{id}", "", ROUTE_JSON, false, NULL, handle_version_change},
    {"GET", API "/versions/{id}/file", "", ROUTE_NO_BODY, false, NULL, handle_version_file},
    {"GET", API "/versions/{id}/surface", "", ROUTE_NO_BODY, false, NULL, handle_version_surface},
    {"GET", API "/versions/{id}/thumbnail", "", ROUTE_NO_BODY, false, NULL, handle_version_thumbnail},
    {"GET", API "/runs", "version limit cursor", ROUTE_NO_BODY, false, NULL, handle_run_list},
    {"POST", API "/runs", "", ROUTE_JSON, false, NULL, handle_run_start},
    {"GET", API "/runs/{id}", "", ROUTE_NO_BODY, false, NULL, handle_run_read},
    {"GET", API "/runs/{id}/findings", "kind severity", ROUTE_NO_BODY, false, NULL, handle_run_findings},
    {"GET", API "/runs/{id}/fields/{name}", "", ROUTE_NO_BODY, false, NULL, handle_run_field},
    {"GET", API "/compare", "runs baseline", ROUTE_NO_BODY, false, NULL, handle_compare},
    {"GET", API "/jobs", "state specimen limit cursor", ROUTE_NO_BODY, false, NULL, handle_job_list},
    {"GET", API "/jobs/{id}", "", ROUTE_NO_BODY, false, NULL, handle_job_read},
    {"POST", API "/jobs/{id}/cancel", "", ROUTE_JSON_OR_EMPTY, false, NULL, handle_job_cancel},
    {"POST", API "/jobs/{id}/retry", "", ROUTE_JSON_OR_EMPTY, false, NULL, handle_job_retry},
    {"GET", API "/specs", "", ROUTE_NO_BODY, false, NULL, handle_spec_list},
    {"POST", API "/specs", "", ROUTE_JSON, false, NULL, handle_spec_add},
    {"GET", API "/specs/{id}", "", ROUTE_NO_BODY, false, NULL, handle_spec_read},
    {"GET", API "/specs/{id}/what-if", "rule limit", ROUTE_NO_BODY, false, NULL, handle_spec_what_if},
    {"GET", API "/audits", "specimen run spec limit cursor", ROUTE_NO_BODY, false, NULL, handle_audit_list},
    {"POST", API "/audits", "", ROUTE_JSON, false, NULL, handle_audit_make},
    {"GET", API "/audits/{id}", "", ROUTE_NO_BODY, false, NULL, handle_audit_read},
    {"GET", API "/audits/{id}/report", "format", ROUTE_NO_BODY, false, NULL, handle_audit_report},
    {"GET", API "/specimens/{id}/waivers", "", ROUTE_NO_BODY, false, NULL, handle_waiver_list},
    {"POST", API "/specimens/{id}/waivers", "", ROUTE_JSON, false, NULL, handle_waiver_add},
    {"POST", API "/waivers/{id}/withdraw", "", ROUTE_JSON_OR_EMPTY, false, NULL, handle_waiver_withdraw},
    {"GET", API "/audits/{id}/sign-offs", "", ROUTE_NO_BODY, false, NULL, handle_sign_off_list},
    {"POST", API "/audits/{id}/sign-offs", "", ROUTE_JSON, false, NULL, handle_sign_off_make},
    {"GET", API "/sign-offs/{id}", "", ROUTE_NO_BODY, false, NULL, handle_sign_off_read},
    {"GET", API "/sign-offs/{id}/statement", "", ROUTE_NO_BODY, false, NULL, handle_sign_off_statement},
    {"GET", API "/key", "", ROUTE_NO_BODY, false, NULL, handle_key},
    {"GET", API "/log", "limit cursor", ROUTE_NO_BODY, false, NULL, handle_log},
    {"GET", API "/specimens/{id}/log", "limit cursor", ROUTE_NO_BODY, false, NULL, handle_specimen_log},
    {"GET", API "/events", "specimen", ROUTE_NO_BODY, true, NULL, handle_events},
};

size_t route_count(void)
{
    return sizeof table / sizeof *table;
}

const struct route *route_at(size_t i)
{
    return &table[i];
}

static bool matches(const char *pattern, const struct target *target, struct route_match *match)
{
    const char *at = pattern;
    for (size_t i = 0; i < target->segment_count; i++) {
        const char *segment = target->segments[i];
        if (*at++ != '/')
            return false;
        size_t size = strcspn(at, "/");
        if (size == 4 && !memcmp(at, "{id}", 4)) {
            if (!id_parse(segment, &match->id))
                return false;
        } else if (size == 6 && !memcmp(at, "{name}", 6)) {
            match->name = segment;
        } else if (strlen(segment) != size || memcmp(at, segment, size)) {
            return false;
        }
        at += size;
    }
    return !*at;
}

struct route_match route_find(const char *method, const struct target *target)
{
    struct route_match match = {NULL, false, "", 0, NULL};
    bool is_head = !strcmp(method, "HEAD");
    for (size_t i = 0; i < route_count(); i++) {
        const struct route *route = &table[i];
        if (!matches(route->pattern, target, &match))
            continue;
        bool is_get = !strcmp(route->method, "GET");
        if (!strcmp(route->method, method) || (is_head && is_get && !match.route))
            match.route = route;
        size_t used = strlen(match.allow);
        bool has_head = is_get && !strstr(match.allow, "HEAD");
        snprintf(match.allow + used, sizeof match.allow - used, "%s%s%s", match.is_known ? ", " : "",
                 route->method, has_head ? ", HEAD" : "");
        match.is_known = true;
    }
    return match;
}
