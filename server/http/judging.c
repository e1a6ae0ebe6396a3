/* judging.c - what an audit is made of, in the order it is had; and keeping it. */
#include "http/judging.h"

#include "base/digest.h"
#include "http/specs.h"
#include "store/audits.h"
#include "store/runs.h"
#include "store/specs.h"
#include "store/waivers.h"
#include "json/audit_json.h"
#include "json/spec_json.h"

#include <stdlib.h>
#include <string.h>

/* What an audit is made of, in the order it is had. */
struct making {
    struct store_run run;
    struct store_spec stored;
    struct spec spec;
    struct waiver *waivers;
    size_t waiver_count;
    const char *record;
    size_t record_size;
    char day[11];
};

static bool take_waivers(struct store *store, struct making *making, struct arena *keep, struct error *err)
{
    struct store_waiver_list list;
    if (!store_waiver_list(store, making->run.specimen, making->stored.name, keep, &list, err))
        return false;
    making->waivers = ARENA_NEW(keep, struct waiver, list.count);
    if (!making->waivers)
        return arena_error(err);
    making->waiver_count = list.count;
    for (size_t i = 0; i < list.count; i++)
        making->waivers[i] = (struct waiver){list.items[i].rule, list.items[i].reason, list.items[i].author,
                                             list.items[i].expires};
    return true;
}

/* On success the caller owes spec_close. */
static bool gather(struct service *service, int64_t run, int64_t spec, struct making *making,
                   struct arena *keep, struct error *err)
{
    struct store *store = service->store;
    specs_today(making->day);
    return store_run_get(store, run, keep, &making->run, err)
           && store_spec_get(store, spec, keep, &making->stored, err)
           && take_waivers(store, making, keep, err)
           && store_run_record(store, run, keep, &making->record, &making->record_size, err)
           && spec_open(making->stored.body, strlen(making->stored.body), &service->measures, &making->spec,
                        err);
}

static struct audit_request request_of(const struct service *service, const struct making *making)
{
    return (struct audit_request){.spec = &making->spec,
                                  .measures = &service->measures,
                                  .waivers = making->waivers,
                                  .waiver_count = making->waiver_count,
                                  .day = making->day};
}

static bool keep_audit(struct store *store, const struct making *making, const struct audited *audited,
                       const char *text, size_t size, int64_t *id, bool *created, struct error *err)
{
    struct store_audit_new added = {.run = making->run.id,
                                    .spec = making->stored.id,
                                    .waived = (int64_t)audited->audit.counts.waived,
                                    .outcome = outcome_word(audited->audit.outcome),
                                    .body = text};
    struct digest digest;
    digest_begin(&digest);
    digest_add(&digest, text, size);
    digest_end(&digest, added.sha256);
    return store_audit_add(store, &added, id, created, err);
}

static bool judge(struct service *service, const struct making *making, int64_t *id, bool *created,
                  struct error *err)
{
    struct audit_request wanted = request_of(service, making);
    struct audited audited;
    char *text = NULL;
    size_t size;
    if (!audited_make(making->record, making->record_size, &wanted, &audited, err))
        return false;
    bool ok = audit_text(&audited, &wanted, &text, &size, err)
              && keep_audit(service->store, making, &audited, text, size, id, created, err);
    free(text);
    audited_close(&audited);
    return ok;
}

bool judging_make(struct service *service, int64_t run, int64_t spec, struct arena *keep, int64_t *id,
                  bool *created, struct error *err)
{
    struct making making = {0};
    if (!gather(service, run, spec, &making, keep, err))
        return false;
    bool ok = judge(service, &making, id, created, err);
    spec_close(&making.spec);
    return ok;
}
