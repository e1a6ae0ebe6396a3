/* summary.c - columns of specimen and version that repeat what other rows say, kept in step within the same
 * transaction so that lists of 10,000 specimens need no joins; and the revisions that move with them. */
#include "store/inside.h"

bool summary_touch_specimen(struct write *write, int64_t specimen, bool changed, struct error *err)
{
    static const char touch[] =
        "UPDATE specimen SET revision = ?2, changed = coalesce(?3, changed) WHERE id = ?1";
    const char *when = changed ? write->now : NULL;
    write_note(write, STORE_CHANGED_SPECIMEN, specimen, specimen, 0);
    return statement_run(write->connection, touch, NULL, err, "iit", specimen, write->revision, when);
}

bool summary_touch_version(struct write *write, int64_t version, struct error *err)
{
    static const char touch[] = "UPDATE version SET revision = ?2 WHERE id = ?1 RETURNING specimen";
    int64_t specimen;
    if (!statement_value(write->connection, touch, &specimen, NULL, err, "ii", version, write->revision))
        return false;
    write_note(write, STORE_CHANGED_VERSION, version, specimen, version);
    return true;
}

static bool refresh_version(struct write *write, int64_t version, struct error *err)
{
    static const char newest[] = "UPDATE version SET latest_run = " LATEST_RUN("version") " WHERE id = ?1";
    return statement_run(write->connection, newest, NULL, err, "i", version)
           && summary_touch_version(write, version, err);
}

bool summary_refresh(struct write *write, int64_t specimen, int64_t version, struct error *err)
{
#define COUNT(kind) "(SELECT count(*) FROM version v WHERE v.specimen = ?1 AND v.kind = '" kind "')"
#define LATEST(kind)                                                                                         \
    "(SELECT v.id FROM version v WHERE v.specimen = ?1 AND v.kind = '" kind                                  \
    "' AND v.withdrawn_at IS NULL ORDER BY v.number DESC LIMIT 1)"
#define SHOWN_RUN "(SELECT v.latest_run FROM version v WHERE v.id = coalesce(latest_cage, latest_scan))"
    static const char latest[] = "UPDATE specimen SET scan_count = " COUNT("scan") ", cage_count = " COUNT(
        "cage") ", latest_scan = " LATEST("scan") ", latest_cage = " LATEST("cage") " WHERE id = ?1";
    static const char values[] =
        "UPDATE specimen SET open_edges = " RUN_VALUE(SHOWN_RUN, MEASURE_OPEN_EDGES) ", lost = " RUN_VALUE(
            SHOWN_RUN, MEASURE_LOST) ", faults = " RUN_VALUE(SHOWN_RUN, MEASURE_FAULTS) " WHERE id = ?1";
    return refresh_version(write, version, err)
           && statement_run(write->connection, latest, NULL, err, "i", specimen)
           && statement_run(write->connection, values, NULL, err, "i", specimen)
           && summary_touch_specimen(write, specimen, true, err);
}
