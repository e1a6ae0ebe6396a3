/* api_specimen.c - specimens with their trend, versions with their file, files on their way. */
#include "json/api_specimen.h"

#include <jansson.h>

static json_t *trend_entry(const struct store_trend *trend)
{
    return json_pack("{s:o, s:s, s:I, s:o, s:s, s:b, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:b}", "version",
                     api_id(trend->version), "kind", trend->kind, "number", (json_int_t)trend->number,
                     "face_size", api_number(trend->face_size), "created", trend->created, "withdrawn",
                     (int)trend->withdrawn, "run", api_id(trend->run), "against", api_id(trend->against),
                     "open_edges", api_number(trend->open_edges), "lost", api_number(trend->lost), "invented",
                     api_number(trend->invented), "hausdorff", api_number(trend->hausdorff), "faults",
                     api_number(trend->faults), "warnings", api_number(trend->warnings), "has_pictures",
                     (int)trend->has_pictures);
}

static json_t *trend_list(const struct store_specimen *specimen)
{
    json_t *list = json_array();
    for (size_t i = 0; list && i < specimen->trend_count; i++)
        if (json_array_append_new(list, trend_entry(&specimen->trend[i]))) {
            json_decref(list);
            list = NULL;
        }
    return list;
}

static json_t *tolerance_list(const struct store_tolerances *tolerances)
{
    json_t *list = json_array();
    for (size_t i = 0; list && i < tolerances->count; i++)
        if (json_array_append_new(list, json_real(tolerances->lengths[i]))) {
            json_decref(list);
            list = NULL;
        }
    return list;
}

static json_t *specimen_tree(const struct store_specimen *s)
{
    return json_pack(
        "{s:o, s:s, s:s, s:s, s:s, s:s, s:s, s:s, s:{s:I, s:I}, s:o, s:o, s:o, s:{s:I, s:I, s:I}, s:o, s:o}",
        "id", api_id(s->id), "catalogue_number", s->catalogue_number, "title", s->title, "units", s->units,
        "state", s->state, "note", s->note, "created", s->created, "changed", s->changed, "versions", "scan",
        (json_int_t)s->scan_count, "cage", (json_int_t)s->cage_count, "latest_scan", api_id(s->latest_scan),
        "latest_cage", api_id(s->latest_cage), "trend", trend_list(s), "jobs", "queued",
        (json_int_t)s->jobs_queued, "running", (json_int_t)s->jobs_running, "failed",
        (json_int_t)s->jobs_failed, "scan_diagonal", api_number(s->scan_diagonal), "tolerances",
        tolerance_list(&s->tolerances));
}

bool api_specimen_write(const struct store_specimen *specimen, struct api_text *text, struct error *err)
{
    return api_text_write(specimen_tree(specimen), text, err);
}

static json_t *filter_totals(const struct store_specimen_page *page)
{
    json_t *totals = json_pack("{s:I}", "all", (json_int_t)page->text_total);
    for (size_t i = 0; totals && i < STORE_FILTERS; i++)
        if (json_object_set_new(totals, store_filters[i], json_integer((json_int_t)page->filter_totals[i]))) {
            json_decref(totals);
            totals = NULL;
        }
    return totals;
}

bool api_specimens_write(const struct store_specimen_page *page, struct api_text *text, struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; items && i < page->count; i++)
        if (json_array_append_new(items, specimen_tree(&page->items[i]))) {
            json_decref(items);
            items = NULL;
        }
    json_t *body = api_page(items, page->next, page->total);
    if (body && json_object_set_new(body, "totals", filter_totals(page))) {
        json_decref(body);
        body = NULL;
    }
    return api_text_write(body, text, err);
}

static json_t *withdrawal(const struct store_version *v)
{
    if (!v->withdrawn)
        return json_null();
    return json_pack("{s:o, s:o, s:o}", "reason", api_string(v->withdrawn_reason), "by",
                     api_string(v->withdrawn_by), "at", api_string(v->withdrawn_at));
}

/* null where nothing is said. */
static json_t *intake_tree(const struct store_intake *intake)
{
    if (!*intake->device && !*intake->operator_name && !*intake->date && !*intake->resolution
        && !*intake->uncertainty)
        return json_null();
    return json_pack("{s:s, s:s, s:s, s:s, s:s}", "device", intake->device, "operator", intake->operator_name,
                     "date", intake->date, "resolution", intake->resolution, "uncertainty",
                     intake->uncertainty);
}

static json_t *version_tree(const struct store_version *v)
{
    json_t *file = json_pack("{s:s, s:s, s:I, s:o}", "name", v->file_name, "sha256", v->sha256, "bytes",
                             (json_int_t)v->bytes, "format", api_string(v->format));
    return json_pack(
        "{s:o, s:o, s:s, s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:s, s:s, s:s, s:o, s:o, s:o, s:o, s:b, s:o}",
        "id", api_id(v->id), "specimen", api_id(v->specimen), "kind", v->kind, "number",
        (json_int_t)v->number, "label", api_label(v->kind, v->number), "made_from", api_id(v->made_from),
        "against", api_id(v->against), "face_size", api_number(v->face_size), "face_size_share",
        api_number(v->face_size_share), "file", file, "by", v->by, "note", v->note, "created", v->created,
        "withdrawn", withdrawal(v), "runs", api_ids(v->runs, v->run_count), "jobs",
        api_ids(v->jobs, v->job_count), "latest_run", api_id(v->latest_run), "has_pictures",
        (int)v->has_pictures, "intake", intake_tree(&v->intake));
}

bool api_version_write(const struct store_version *version, struct api_text *text, struct error *err)
{
    return api_text_write(version_tree(version), text, err);
}

bool api_versions_write(const struct store_version_page *page, struct api_text *text, struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; items && i < page->count; i++)
        if (json_array_append_new(items, version_tree(&page->items[i]))) {
            json_decref(items);
            items = NULL;
        }
    return api_text_write(api_page(items, page->next, page->total), text, err);
}

static json_t *holder_tree(const struct store_holder *h)
{
    return json_pack("{s:o, s:o, s:s, s:s, s:I, s:o, s:s, s:s, s:b}", "id", api_id(h->version), "specimen",
                     api_id(h->specimen), "catalogue_number", h->catalogue_number, "kind", h->kind, "number",
                     (json_int_t)h->number, "label", api_label(h->kind, h->number), "name", h->file_name,
                     "created", h->created, "withdrawn", (int)h->withdrawn);
}

bool api_holders_write(const struct store_holder_page *page, struct api_text *text, struct error *err)
{
    json_t *items = json_array();
    for (size_t i = 0; items && i < page->count; i++)
        if (json_array_append_new(items, holder_tree(&page->items[i]))) {
            json_decref(items);
            items = NULL;
        }
    return api_text_write(api_page(items, page->next, page->total), text, err);
}

bool api_part_write(const struct store_part *part, struct api_text *text, struct error *err)
{
    return api_text_write(json_pack("{s:s, s:I, s:I, s:s, s:o}", "name", part->name, "bytes",
                                    (json_int_t)part->bytes, "arrived", (json_int_t)part->arrived, "expires",
                                    part->expires, "version", api_id(part->version)),
                          text, err);
}
