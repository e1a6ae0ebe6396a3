/* handle_standing.c - how the collection stands by a spec: lists, tables, badges; and auditing all of it. */
#include "http/handlers.h"
#include "http/judging.h"
#include "http/request.h"

#include "report/badge.h"
#include "report/csv.h"
#include "store/audits.h"
#include "store/specs.h"
#include "json/api_standing.h"
#include "json/spec_json.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PIECE = 20 }; /* runs that one request of audit-all judges: a fraction of a second */

/* --- which spec, and the facts --- */

static bool find_spec(struct request *request, const char *asked, struct store_spec *spec, struct arena *keep,
                      struct error *err)
{
    int64_t id;
    bool found;
    if (!asked || !*asked) {
        error_set(err, ERROR_USAGE, "spec is missing: the id or the name of one");
        return false;
    }
    if (id_parse(asked, &id))
        return store_spec_get(request->service->store, id, keep, spec, err);
    if (!store_spec_latest(request->service->store, asked, keep, spec, &found, err))
        return false;
    return found || error_set(err, ERROR_NOT_FOUND, "there is no spec \"%.60s\"", asked);
}

static bool ask(struct request *request, const struct store_spec *stored, int64_t specimen, const char *part,
                struct store_standing_list *list, int *signatures, struct arena *keep, struct error *err)
{
    struct store_standing_query query = {
        .spec = stored->id, .text = part && *part ? part : NULL, .specimen = specimen};
    struct spec spec;
    if (!spec_open(stored->body, strlen(stored->body), &request->service->measures, &spec, err))
        return false;
    query.for_scan = spec.for_scan;
    query.for_cage = spec.for_cage;
    if (signatures)
        *signatures = spec.signatures;
    spec_close(&spec);
    return store_standing_list(request->service->store, &query, keep, list, err);
}

/* --- order and filter --- */

typedef int compare_items(const void *a, const void *b);

static const struct store_standing *item_of(const void *at)
{
    return *(struct store_standing *const *)at;
}

static int by_place(const void *a, const void *b) /* the list is in the order of catalogue numbers */
{
    const struct store_standing *left = item_of(a), *right = item_of(b);
    return (left > right) - (left < right);
}

static int by_since(const void *a, const void *b)
{
    int order = strcmp(item_of(a)->state.since, item_of(b)->state.since);
    return order ? order : by_place(a, b);
}

static int by_standing(const void *a, const void *b)
{
    int order = (int)item_of(a)->state.standing - (int)item_of(b)->state.standing;
    return order ? order : by_since(a, b);
}

struct wanted {
    bool has_standing, to_audit;
    enum standing standing;
    compare_items *compare;
    bool descending;
};

static bool read_wanted(const struct request *request, struct wanted *wanted, struct error *err)
{
    const char *standing = request_parameter(request, "standing"), *sort = request_parameter(request, "sort"),
               *order = request_parameter(request, "order");
    *wanted = (struct wanted){.has_standing = standing && *standing};
    if (wanted->has_standing && !standing_parse(standing, &wanted->standing))
        return error_set(err, ERROR_USAGE,
                         "standing must be blocked, undecided, not audited, not measured, waived or ready");
    wanted->compare = !sort || strcmp(sort, "standing") == 0 ? by_standing
                      : strcmp(sort, "since") == 0           ? by_since
                      : strcmp(sort, "number") == 0          ? by_place
                                                             : NULL;
    if (!wanted->compare)
        return error_set(err, ERROR_USAGE, "sort must be standing, since or number");
    wanted->descending = order && strcmp(order, "desc") == 0;
    return !order || wanted->descending || strcmp(order, "asc") == 0
           || error_set(err, ERROR_USAGE, "order must be asc or desc");
}

static bool is_wanted(const struct wanted *wanted, const struct standing_state *state)
{
    return (!wanted->has_standing || state->standing == wanted->standing)
           && (!wanted->to_audit || standing_asks_audit(state));
}

static bool choose(const struct store_standing_list *list, const struct wanted *wanted,
                   struct api_standing *standing, struct store_standing ***chosen, struct arena *keep,
                   struct error *err)
{
    *chosen = ARENA_NEW(keep, struct store_standing *, list->count);
    if (!*chosen)
        return arena_error(err);
    for (size_t i = 0; i < list->count; i++) {
        struct store_standing *item = &list->items[i];
        standing->counts[item->state.standing]++;
        standing->to_audit += standing_asks_audit(&item->state);
        if (is_wanted(wanted, &item->state))
            (*chosen)[standing->total++] = item;
    }
    // NOLINTNEXTLINE(bugprone-sizeof-expression): it is pointers that are put in order
    qsort(*chosen, standing->total, sizeof **chosen, wanted->compare);
    for (size_t i = 0; wanted->descending && i < standing->total / 2; i++) {
        struct store_standing *first = (*chosen)[i];
        (*chosen)[i] = (*chosen)[standing->total - 1 - i];
        (*chosen)[standing->total - 1 - i] = first;
    }
    return true;
}

/* --- writing --- */

static bool write_page(struct request *request, struct reply *reply, struct api_standing *standing,
                       struct store_standing **items, size_t begin, size_t limit, struct arena *keep,
                       struct error *err)
{
    struct api_text text;
    char next[24];
    size_t left = begin < standing->total ? standing->total - begin : 0;
    standing->item_count = left < limit ? left : limit;
    standing->items = items + (left ? begin : 0);
    if (left > limit) {
        snprintf(next, sizeof next, "%zu", begin + limit);
        standing->next = arena_text(keep, next);
        if (!standing->next)
            return arena_error(err);
    }
    if (!store_standing_holds(request->service->store, standing->items, standing->item_count, keep, err)
        || !api_standing_write(standing, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

static void add_holds(struct text *out, const struct store_standing *item)
{
    struct text names = {0};
    for (size_t i = 0; i < item->facts.hold_count; i++) {
        text_add(&names, i ? "; " : "");
        text_add(&names, item->facts.holds[i].name);
        text_add(&names, item->facts.holds[i].waived ? " (waived)" : "");
    }
    out->failed |= names.failed;
    csv_add(out, false, names.bytes);
    free(names.bytes);
}

static void add_row(struct text *out, const struct store_spec *spec, const struct store_standing *item)
{
    char version[32] = "", run[24] = "", audit[24] = "", specimen[24], spec_version[24];
    if (item->kind)
        snprintf(version, sizeof version, "%s %lld", item->kind, (long long)item->number);
    if (item->run)
        snprintf(run, sizeof run, "%lld", (long long)item->run);
    if (item->audit)
        snprintf(audit, sizeof audit, "%lld", (long long)item->audit);
    snprintf(specimen, sizeof specimen, "%lld", (long long)item->specimen);
    snprintf(spec_version, sizeof spec_version, "%lld", (long long)spec->version);
    csv_add(out, true, item->catalogue_number);
    csv_add(out, false, item->title);
    csv_add(out, false, version);
    csv_add(out, false, standing_word(item->state.standing));
    csv_add(out, false, standing_cause_word(item->state.cause));
    csv_add(out, false, item->state.since);
    add_holds(out, item);
    csv_add(out, false, item->audit_created);
    csv_add(out, false, item->state.waived_until);
    csv_add(out, false, item->signed_at);
    csv_add(out, false, item->handed_over);
    csv_add(out, false, spec->name);
    csv_add(out, false, spec_version);
    csv_add(out, false, specimen);
    csv_add(out, false, run);
    csv_add(out, false, audit);
    csv_end_row(out);
}

static bool write_table(struct request *request, struct reply *reply, struct api_standing *standing,
                        struct store_standing **items, struct arena *keep, struct error *err)
{
    static const char *const head[] = {"catalogue number", "title",       "version",     "standing",
                                       "because",          "since",       "rules",       "audited",
                                       "waived until",     "signed off",  "handed over", "spec",
                                       "spec version",     "specimen id", "run id",      "audit id"};
    struct text out = {0};
    if (!store_standing_holds(request->service->store, items, standing->total, keep, err))
        return false;
    for (size_t i = 0; i < sizeof head / sizeof *head; i++)
        csv_add(&out, i == 0, head[i]);
    csv_end_row(&out);
    for (size_t i = 0; i < standing->total; i++)
        add_row(&out, standing->spec, items[i]);
    if (out.failed) {
        free(out.bytes);
        return error_set(err, ERROR_MACHINE, "memory is out while writing a table");
    }
    reply_text(reply, 200, "text/csv; charset=utf-8; header=present", out.bytes, out.size);
    etag_of_bytes(out.bytes, out.size, reply->etag);
    return true;
}

enum { FORMAT_PAGE, FORMAT_CSV, FORMAT_JSON };

static bool read_begin_of_page(const struct request *request, size_t *begin, size_t *limit, struct error *err)
{
    const char *cursor = request_parameter(request, "cursor");
    int64_t number = 0;
    if (cursor && strcmp(cursor, "0") && !id_parse(cursor, &number))
        return error_set(err, ERROR_USAGE, "the cursor is not one that a list gave");
    *begin = (size_t)number;
    return request_limit(request, limit, err);
}

static bool answer_list(struct request *request, struct reply *reply, size_t format,
                        struct api_standing *standing, struct store_standing **items, struct arena *keep,
                        struct error *err)
{
    char name[STORE_SPEC_NAME_MAX + 40];
    size_t begin = 0, limit = standing->total;
    reply_header(reply, "Vary", "Accept");
    if (format == FORMAT_PAGE)
        return read_begin_of_page(request, &begin, &limit, err)
               && write_page(request, reply, standing, items, begin, limit, keep, err);
    snprintf(name, sizeof name, "standing %s %lld.%s", standing->spec->name,
             (long long)standing->spec->version, format == FORMAT_CSV ? "csv" : "json");
    reply_attachment(reply, name);
    return format == FORMAT_CSV ? write_table(request, reply, standing, items, keep, err)
                                : write_page(request, reply, standing, items, 0, limit, keep, err);
}

bool handle_standing(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    static const struct request_format formats[] = {
        {"page", "application/json"}, {"csv", "text/csv"}, {"json", ""}};
    struct store_spec spec;
    struct store_standing_list list;
    struct store_standing **items;
    struct wanted wanted;
    struct api_standing standing = {.spec = &spec};
    size_t format;
    return request_format(request, formats, 3, &format, err) && read_wanted(request, &wanted, err)
           && find_spec(request, request_parameter(request, "spec"), &spec, keep, err)
           && ask(request, &spec, 0, request_parameter(request, "q"), &list, &standing.signatures, keep, err)
           && choose(&list, &wanted, &standing, &items, keep, err)
           && answer_list(request, reply, format, &standing, items, keep, err);
}

/* --- one specimen's badge --- */

bool handle_badge(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_spec spec;
    struct store_standing_list list;
    char about[STORE_SPEC_NAME_MAX + 24], of[320], *text;
    size_t size;
    if (!find_spec(request, request_parameter(request, "spec"), &spec, keep, err)
        || !ask(request, &spec, request->path_id, NULL, &list, NULL, keep, err))
        return false;
    if (!list.count)
        return error_set(err, ERROR_NOT_FOUND, "there is no specimen %lld", (long long)request->path_id);
    const struct store_standing *item = &list.items[0];
    snprintf(about, sizeof about, "%s %lld", spec.name, (long long)spec.version);
    if (item->kind)
        snprintf(of, sizeof of, "%s, %s %lld", item->catalogue_number, item->kind, (long long)item->number);
    else
        snprintf(of, sizeof of, "%s", item->catalogue_number);
    struct badge badge = {
        .about = about, .of = of, .standing = item->state.standing, .since = item->state.since};
    if (!badge_write(&badge, &text, &size, err))
        return false;
    reply_text(reply, 200, "image/svg+xml", text, size);
    etag_of_bytes(text, size, reply->etag);
    return true;
}

/* --- auditing all --- */

static int by_specimen(const void *a, const void *b)
{
    const struct store_standing *left = item_of(a), *right = item_of(b);
    return (left->specimen > right->specimen) - (left->specimen < right->specimen);
}

static bool count_outcome(struct request *request, int64_t audit, struct api_audit_all *all,
                          struct arena scratch, struct error *err)
{
    struct store_audit made;
    if (!store_audit_get(request->service->store, audit, &scratch, &made, err))
        return false;
    for (int i = OUTCOME_CONFORMS; i <= OUTCOME_UNDECIDED; i++)
        all->by_outcome[i] += strcmp(made.outcome, outcome_word((enum outcome)i)) == 0;
    all->audited++;
    return true;
}

/* What one run is refused for, the others need not wait for; a store that cannot be written ends it. */
static bool audit_one(struct request *request, const struct store_spec *spec,
                      const struct store_standing *item, struct api_audit_all *all, struct arena *keep,
                      struct error *err)
{
    struct arena scratch = *keep;
    int64_t audit;
    bool created;
    if (judging_make(request->service, item->run, spec->id, &scratch, &audit, &created, err))
        return count_outcome(request, audit, all, scratch, err);
    if (err->code == ERROR_BUSY || err->code == ERROR_MACHINE
        || store_condition(request->service->store, NULL, 0) == STORE_READ_ONLY)
        return false;
    const char *reason = arena_text(keep, err->text);
    if (!reason)
        return arena_error(err);
    all->refused[all->refused_count].specimen = item->specimen;
    all->refused[all->refused_count].catalogue_number = item->catalogue_number;
    all->refused[all->refused_count++].reason = reason;
    return true;
}

static bool audit_piece(struct request *request, const struct store_spec *spec, int64_t after,
                        const struct store_standing_list *list, struct api_audit_all *all, struct arena *keep,
                        struct error *err)
{
    struct store_standing **items;
    struct wanted wanted = {.to_audit = true, .compare = by_specimen};
    struct api_standing standing = {.spec = spec};
    size_t done = 0;
    if (!choose(list, &wanted, &standing, &items, keep, err))
        return false;
    for (size_t i = 0; i < standing.total; i++) {
        if (items[i]->specimen <= after)
            continue;
        if (done == PIECE) {
            all->left++;
            continue;
        }
        if (!audit_one(request, spec, items[i], all, keep, err))
            return false;
        all->next = items[i]->specimen;
        done++;
    }
    if (!all->left)
        all->next = 0;
    return true;
}

static bool read_after(struct request *request, int64_t *after, struct error *err)
{
    struct body body;
    *after = 0;
    if (!request->body_size)
        return true;
    if (!request_body(request, &body, err))
        return false;
    bool ok = body_allows(&body, "after", err) && body_id(&body, "after", false, after, err);
    body_close(&body);
    return ok;
}

bool handle_audit_all(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_spec spec;
    struct store_standing_list list;
    struct api_audit_all all = {0};
    struct api_text text;
    int64_t after;
    if (!read_after(request, &after, err)
        || !store_spec_get(request->service->store, request->path_id, keep, &spec, err)
        || !ask(request, &spec, 0, NULL, &list, NULL, keep, err)
        || !audit_piece(request, &spec, after, &list, &all, keep, err)
        || !api_audit_all_write(&all, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}
