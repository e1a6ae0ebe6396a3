/* handle_specimens.c - the specimens: list, create, read, change. */
#include "http/handlers.h"
#include "http/request.h"

#include "store/specimen.h"
#include "json/api_specimen.h"

#include <string.h>

static bool parse_sort(const struct request *request, struct store_specimen_query *query, struct error *err)
{
    static const char *const names[] = {"changed", "number", "title", "open_edges", "lost",
                                        "faults",  "state",  "scans", "cages"};
    const char *sort = request_parameter(request, "sort"), *order = request_parameter(request, "order");
    query->sort = STORE_SORT_CHANGED;
    query->descending = !sort || !strcmp(sort, "changed");
    bool known = !sort;
    for (unsigned i = 0; sort && i < sizeof names / sizeof *names; i++)
        if (!strcmp(sort, names[i])) {
            query->sort = (enum store_specimen_sort)i;
            known = true;
        }
    if (!known)
        return error_set(err, ERROR_USAGE,
                         "sort must be changed, number, title, open_edges, lost, faults, state,"
                         " scans or cages");
    if (order && strcmp(order, "asc") && strcmp(order, "desc"))
        return error_set(err, ERROR_USAGE, "order must be asc or desc");
    if (order)
        query->descending = !strcmp(order, "desc");
    return true;
}

static bool check_filter(const char *filter, struct error *err)
{
    for (size_t i = 0; i < STORE_FILTERS; i++)
        if (!filter || !strcmp(filter, store_filters[i]))
            return true;
    return error_set(err, ERROR_USAGE,
                     "state must be new, in work, ready, handed over, retired, measuring or failed");
}

static bool parse_offset(const struct request *request, struct store_specimen_query *query, struct error *err)
{
    const char *text = request_parameter(request, "offset");
    int64_t number = 0;
    if (text && strcmp(text, "0") && !id_parse(text, &number))
        return error_set(err, ERROR_USAGE, "offset must be a whole number");
    if (text && query->cursor)
        return error_set(err, ERROR_USAGE, "a page begins at a cursor or at an offset, not at both");
    query->offset = (size_t)number;
    return true;
}

bool handle_specimen_list(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_specimen_query query = {.text = request_parameter(request, "q"),
                                         .filter = request_parameter(request, "state"),
                                         .cursor = request_parameter(request, "cursor")};
    struct store_specimen_page page;
    struct api_text text;
    if (query.text && !*query.text)
        query.text = NULL;
    if (query.filter && !*query.filter)
        query.filter = NULL;
    if (!check_filter(query.filter, err) || !parse_sort(request, &query, err)
        || !parse_offset(request, &query, err) || !request_limit(request, &query.limit, err)
        || !store_specimen_list(request->service->store, &query, keep, &page, err)
        || !api_specimens_write(&page, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

/* Answers with the specimen as it is now. */
static bool answer(struct request *request, struct reply *reply, unsigned status, int64_t id,
                   struct arena *keep, struct error *err)
{
    struct store_specimen specimen;
    struct api_text text;
    if (!store_specimen_get(request->service->store, id, keep, &specimen, err)
        || !api_specimen_write(&specimen, &text, err))
        return false;
    reply_json(reply, status, &text);
    request_etag_of_revision(specimen.revision, reply->etag);
    if (status == 201)
        reply_header(reply, "Location", "/api/v1/specimens/%lld", (long long)id);
    return true;
}

bool handle_specimen_read(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    return answer(request, reply, 200, request->path_id, keep, err);
}

static bool take_tolerances(const struct body *body, struct store_tolerances *tolerances, struct error *err)
{
    return body_numbers(body, "tolerances", STORE_TOLERANCES_MAX, tolerances->lengths, &tolerances->count,
                        err);
}

bool handle_specimen_create(struct request *request, struct reply *reply, struct arena *keep,
                            struct error *err)
{
    struct store_tolerances tolerances;
    struct store_specimen_new specimen = {.tolerances = &tolerances};
    struct body body;
    int64_t id = 0;
    if (!request_body(request, &body, err))
        return false;
    bool ok = body_allows(&body, "catalogue_number title units note tolerances", err)
              && body_text(&body, "catalogue_number", true, &specimen.catalogue_number, err)
              && body_text(&body, "title", true, &specimen.title, err)
              && body_text(&body, "units", true, &specimen.units, err)
              && body_text(&body, "note", false, &specimen.note, err)
              && take_tolerances(&body, &tolerances, err)
              && store_specimen_create(request->service->store, &specimen, &id, err)
              && answer(request, reply, 201, id, keep, err);
    body_close(&body);
    return ok;
}

bool handle_specimen_change(struct request *request, struct reply *reply, struct arena *keep,
                            struct error *err)
{
    struct store *store = request->service->store;
    struct store_specimen_patch patch = {.tolerances = NULL};
    struct store_tolerances tolerances;
    struct store_specimen specimen;
    char etag[ETAG_SIZE];
    struct body body;
    bool any, stale = false;
    if (!store_specimen_get(store, request->path_id, keep, &specimen, err))
        return false;
    request_etag_of_revision(specimen.revision, etag);
    if (!request_may_change(request, etag, reply, &any))
        return true;
    if (!request_body(request, &body, err))
        return false;
    bool ok = body_allows(&body, "title note state units tolerances", err)
              && body_text(&body, "title", false, &patch.title, err)
              && body_text(&body, "note", false, &patch.note, err)
              && body_text(&body, "state", false, &patch.state, err)
              && body_text(&body, "units", false, &patch.units, err)
              && take_tolerances(&body, &tolerances, err);
    if (ok && body_has(&body, "tolerances"))
        patch.tolerances = &tolerances;
    ok = ok && store_specimen_change(store, specimen.id, &patch, any ? 0 : specimen.revision, &stale, err)
         && answer(request, reply, 200, specimen.id, keep, err);
    body_close(&body);
    if (!ok && stale) {
        request_reply_stale(request, reply);
        return true;
    }
    return ok;
}
