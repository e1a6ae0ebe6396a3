/* handle_specs.c - specs: list, add, read, and what another limit would have meant. */
#include "http/handlers.h"
#include "http/request.h"
#include "http/specs.h"

#include "run/length.h"
#include "store/runs.h"
#include "json/api_spec.h"
#include "json/audit_json.h"
#include "json/spec_builtin.h"

#include <stdlib.h>
#include <string.h>

enum { WHAT_IF_RUNS_MAX = 2000 };

void specs_today(char day[11])
{
    char now[STORE_TIME_SIZE];
    store_time_now(now);
    memcpy(day, now, 10);
    day[10] = '\0';
}

static bool add(struct store *store, const struct spec *spec, int64_t *id, bool *created, struct error *err)
{
    struct store_spec_new added = {.name = spec->name, .version = spec->version};
    char *body;
    size_t size;
    if (!spec_canonical(spec, &body, &size, err))
        return false;
    added.body = body;
    memcpy(added.sha256, spec->sha256, sizeof added.sha256);
    bool ok = store_spec_add(store, &added, id, created, err);
    free(body);
    return ok;
}

static bool seed_one(struct store *store, const struct spec_builtin *builtin,
                     const struct measure_list *measures, struct error *err)
{
    struct spec spec;
    int64_t id;
    bool created;
    if (!spec_open(builtin->bytes, builtin->size, measures, &spec, err))
        return false;
    bool ok = add(store, &spec, &id, &created, err);
    if (!ok && err->code == ERROR_CONFLICT)
        ok = true; /* a lab has gone on with that name */
    spec_close(&spec);
    return ok;
}

bool specs_seed(struct store *store, const struct measure_list *measures, struct error *err)
{
    for (size_t i = 0; i < spec_builtin_count(); i++) {
        struct spec_builtin builtin = spec_builtin_at(i);
        if (!seed_one(store, &builtin, measures, err))
            return false;
    }
    return true;
}

bool handle_spec_list(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct store_spec_list list;
    struct api_text text;
    if (!store_spec_list(request->service->store, keep, &list, err) || !api_specs_write(&list, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

static bool answer(struct request *request, struct reply *reply, unsigned status, int64_t id,
                   struct arena *keep, struct error *err)
{
    struct store_spec spec;
    struct api_text text;
    if (!store_spec_get(request->service->store, id, keep, &spec, err) || !api_spec_write(&spec, &text, err))
        return false;
    reply_json(reply, status, &text);
    if (status == 201)
        reply_header(reply, "Location", "/api/v1/specs/%lld", (long long)id);
    return true;
}

bool handle_spec_read(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    return answer(request, reply, 200, request->path_id, keep, err);
}

/* The version that comes next of its name, unless it says what the latest one says: *same is that one's id.
 */
static bool number_spec(struct request *request, struct spec *spec, int64_t *same, struct arena *keep,
                        struct error *err)
{
    struct store_spec latest;
    struct spec stored;
    bool found;
    *same = 0;
    if (!store_spec_latest(request->service->store, spec->name, keep, &latest, &found, err))
        return false;
    if (!found)
        return spec_become_version(spec, 1, err);
    if (!spec_open(latest.body, strlen(latest.body), &request->service->measures, &stored, err))
        return false;
    if (spec_says_the_same(spec, &stored))
        *same = latest.id;
    spec_close(&stored);
    return spec_become_version(spec, (int)latest.version + 1, err);
}

bool handle_spec_add(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct spec spec;
    int64_t id = 0;
    bool created = false;
    if (!spec_open(request->body ? request->body : "", request->body_size, &request->service->measures, &spec,
                   err))
        return false;
    bool ok = number_spec(request, &spec, &id, keep, err)
              && (id || add(request->service->store, &spec, &id, &created, err))
              && answer(request, reply, created ? 201 : 200, id, keep, err);
    spec_close(&spec);
    return ok;
}

/* Nothing is kept: what adding it would say, for who writes one. */
bool handle_spec_check(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct spec spec = {0};
    struct api_text text;
    (void)keep;
    bool valid = spec_open(request->body ? request->body : "", request->body_size,
                           &request->service->measures, &spec, err);
    spec_close(&spec);
    if (!valid && err->code != ERROR_USAGE)
        return false;
    if (!api_spec_check_write(valid ? NULL : err, &text, err))
        return false;
    reply_json(reply, 200, &text);
    return true;
}

static const struct rule *find_rule(const struct spec *spec, const char *id)
{
    for (size_t i = 0; id && i < spec->rule_count; i++)
        if (strcmp(spec->rules[i].id, id) == 0)
            return &spec->rules[i];
    return NULL;
}

static bool count_run(struct request *request, int64_t run, const struct rule *rule,
                      const struct rule *changed, struct arena scratch, const struct spec *spec,
                      struct api_what_if *what_if, struct error *err)
{
    const char *record;
    size_t size;
    struct audit_reading reading;
    bool applies;
    if (!store_run_record(request->service->store, run, &scratch, &record, &size, err)
        || !audit_reading_in(record, size, spec, rule, &request->service->measures, &reading, &applies, err))
        return false;
    if (!applies)
        return true;
    enum outcome now = audit_judge_rule(rule, &reading, 1e-4).outcome,
                 then = audit_judge_rule(changed, &reading, 1e-4).outcome;
    what_if->runs++;
    what_if->conforms_now += now == OUTCOME_CONFORMS;
    what_if->undecided_now += now == OUTCOME_UNDECIDED;
    what_if->conforms_then += then == OUTCOME_CONFORMS;
    what_if->undecided_then += then == OUTCOME_UNDECIDED;
    return true;
}

static bool count_runs(struct request *request, const struct spec *spec, const struct rule *rule,
                       struct api_what_if *what_if, struct arena *keep, struct error *err)
{
    struct rule changed = *rule;
    int64_t *runs;
    size_t count;
    changed.limit = what_if->limit;
    if (!store_run_latest_ids(request->service->store, WHAT_IF_RUNS_MAX, keep, &runs, &count, err))
        return false;
    for (size_t i = 0; i < count; i++)
        if (!count_run(request, runs[i], rule, &changed, *keep, spec, what_if, err))
            return false;
    return true;
}

/* The rule and the limit that are asked about. */
static bool parse_what_if(const struct request *request, const struct spec *spec, const struct rule **rule,
                          struct api_what_if *what_if, struct error *err)
{
    const char *limit = request_parameter(request, "limit");
    const char *end = limit ? decimal_parse(limit, &what_if->limit) : NULL;
    what_if->rule = request_parameter(request, "rule");
    *rule = find_rule(spec, what_if->rule);
    if (!*rule || (*rule)->about == RULE_STATEMENT)
        error_set(err, ERROR_USAGE,
                  "rule must be the id of a rule of this spec that has a number for a limit");
    else if (!end || *end)
        error_set(err, ERROR_USAGE, "limit must be a number, in the unit of the rule");
    else
        return true;
    return false;
}

bool handle_spec_what_if(struct request *request, struct reply *reply, struct arena *keep, struct error *err)
{
    struct api_what_if what_if = {0};
    const struct rule *rule;
    struct store_spec stored;
    struct spec spec;
    struct api_text text;
    if (!store_spec_get(request->service->store, request->path_id, keep, &stored, err)
        || !spec_open(stored.body, strlen(stored.body), &request->service->measures, &spec, err))
        return false;
    bool ok = parse_what_if(request, &spec, &rule, &what_if, err)
              && count_runs(request, &spec, rule, &what_if, keep, err)
              && api_what_if_write(&what_if, &text, err);
    spec_close(&spec);
    if (ok)
        reply_json(reply, 200, &text);
    return ok;
}
