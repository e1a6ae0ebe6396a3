/* dossier.c - one audit and all that it rests on, each read by the functions that are there for it. */
#include "store/dossier.h"

#include <string.h>
#include <strings.h>

/* Times are written so that their order is that of their letters. */
static bool was_in_force(const struct store_waiver *waiver, const struct store_dossier *dossier)
{
    const char *then = dossier->audit.created;

    return strcasecmp(waiver->spec_name, dossier->spec.name) == 0 && strcmp(waiver->created, then) <= 0
           && (!waiver->withdrawn_at || strcmp(waiver->withdrawn_at, then) >= 0)
           && strncmp(waiver->expires, then, strlen("2026-12-31")) >= 0;
}

static bool read_waivers(struct store *store, struct arena *keep, struct store_dossier *dossier,
                         struct error *err)
{
    struct store_waiver_list list;

    if (!store_waiver_list(store, dossier->specimen.id, NULL, keep, &list, err))
        return false;
    dossier->waivers = list.items;
    for (size_t i = 0; i < list.count; i++)
        if (was_in_force(&list.items[i], dossier))
            dossier->waivers[dossier->waiver_count++] = list.items[i];
    return true;
}

bool store_dossier_get(struct store *store, int64_t audit, struct arena *keep, struct store_dossier *dossier,
                       struct error *err)
{
    memset(dossier, 0, sizeof *dossier);
    return store_audit_get(store, audit, keep, &dossier->audit, err)
           && store_spec_get(store, dossier->audit.spec, keep, &dossier->spec, err)
           && store_run_get(store, dossier->audit.run, keep, &dossier->run, err)
           && store_specimen_get(store, dossier->run.specimen, keep, &dossier->specimen, err)
           && store_version_get(store, dossier->run.version, keep, &dossier->subject, err)
           && (!dossier->run.against
               || store_version_get(store, dossier->run.against, keep, &dossier->reference, err))
           && store_run_record(store, dossier->run.id, keep, &dossier->record, &dossier->record_bytes, err)
           && read_waivers(store, keep, dossier, err);
}
