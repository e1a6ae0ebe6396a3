/* handoffs.c - keeping and reading handoffs. */
#include "store/handoffs.h"

#include "store/inside.h"
#include "store/specimen.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>

bool store_handoff_by_check(const char *by, struct error *err)
{
    return text_check("name of who hands over", by, STORE_BY_MAX, TEXT_LINE, false, err);
}

/* --- making --- */

static bool be_unchanged(struct write *write, const struct store_handoff_new *handoff, struct error *err)
{
    static const char look[] = "SELECT id FROM specimen WHERE id = ?1 AND revision = ?2";
    int64_t id;
    bool found;
    return statement_value(write->connection, look, &id, &found, err, "ii", handoff->specimen,
                           handoff->revision)
           && (found
               || error_set(err, ERROR_BUSY, "the specimen was changed while it was handed over; try again"));
}

static bool add(struct write *write, const struct store_handoff_new *handoff, const struct store_upload *zip,
                int64_t *id, struct error *err)
{
    static const char insert[] = "INSERT INTO handoff (audit, blob, name, by, seal, created)"
                                 " VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
    static const char state[] = "UPDATE specimen SET state = 'handed over' WHERE id = ?1";
    static const char log[] =
        STEP_INSERT "SELECT created, ?2, 'handed over', by, name, 'handoff', id FROM handoff WHERE id = ?1";
    int64_t blob;
    if (!be_unchanged(write, handoff, err)
        || !blob_row(write, store_upload_sha256(zip), store_upload_bytes(zip), &blob, err)
        || !statement_run(write->connection, insert, NULL, err, "iitttt", handoff->audit, blob, handoff->name,
                          handoff->by, handoff->seal, write->now))
        return false;
    *id = sqlite3_last_insert_rowid(write->connection->db);
    return statement_run(write->connection, state, NULL, err, "i", handoff->specimen)
           && statement_run(write->connection, log, NULL, err, "ii", *id, handoff->specimen)
           && summary_touch_specimen(write, handoff->specimen, true, err);
}

bool store_handoff_add(struct store *store, const struct store_handoff_new *handoff,
                       const struct store_upload *zip, int64_t *id, struct error *err)
{
    struct write write;
    if (!store_upload_sha256(zip))
        return error_set(err, ERROR_USAGE, "the upload is not finished");
    if (!store_handoff_by_check(handoff->by, err) || !write_begin(store, &write, err))
        return false;
    bool ok = add(&write, handoff, zip, id, err);
    return write_end(&write, ok, err);
}

/* --- reading --- */

#define HANDOFF_COLUMNS "h.id, h.audit, v.specimen, b.bytes, h.name, h.by, h.created, b.sha256, h.seal"
#define HANDOFF_TABLES                                                                                       \
    "handoff h JOIN audit a ON a.id = h.audit JOIN run r ON r.id = a.run JOIN version v ON v.id = r.version" \
    " JOIN blob b ON b.id = h.blob"

static void take_handoff(sqlite3_stmt *row, struct arena *keep, struct store_handoff *handoff)
{
    *handoff = (struct store_handoff){
        .id = column_id(row, 0),
        .audit = column_id(row, 1),
        .specimen = column_id(row, 2),
        .bytes = column_id(row, 3),
        .name = column_text(row, 4, keep),
        .by = column_text(row, 5, keep),
        .created = column_text(row, 6, keep),
        .sha256 = column_text(row, 7, keep),
        .seal = column_text(row, 8, keep),
    };
}

bool store_handoff_get(struct store *store, int64_t id, struct arena *keep, struct store_handoff *handoff,
                       struct error *err)
{
    static const char read[] = "SELECT " HANDOFF_COLUMNS " FROM " HANDOFF_TABLES " WHERE h.id = ?1";
    struct connection *connection;
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", id);
    int step = statement_step(connection, row, err);
    if (step == 1)
        take_handoff(row, keep, handoff);
    statement_end(row);
    read_end(store, connection);
    if (step == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no handoff %lld", (long long)id);
    return step == 1 && (!keep->failed || arena_error(err));
}

static bool audit_exists(struct connection *connection, int64_t audit, struct error *err)
{
    static const char look[] = "SELECT id FROM audit WHERE id = ?1";
    int64_t id;
    bool found;
    return statement_value(connection, look, &id, &found, err, "i", audit)
           && (found || error_set(err, ERROR_NOT_FOUND, "there is no audit %lld", (long long)audit));
}

bool store_handoff_list(struct store *store, int64_t audit, struct arena *keep,
                        struct store_handoff_list *list, struct error *err)
{
    static const char read[] =
        "SELECT " HANDOFF_COLUMNS " FROM " HANDOFF_TABLES " WHERE h.audit = ?1 ORDER BY h.id DESC";
    struct connection *connection;
    size_t room = 0;
    int step = -1;
    memset(list, 0, sizeof *list);
    if (!read_begin(store, &connection, err))
        return false;
    if (audit_exists(connection, audit, err)) {
        sqlite3_stmt *row = statement_begin(connection, read, err, "i", audit);
        while ((step = statement_step(connection, row, err)) == 1) {
            list->items = arena_grow(keep, list->items, list->count, &room, sizeof *list->items);
            if (!list->items)
                break;
            take_handoff(row, keep, &list->items[list->count++]);
        }
        statement_end(row);
    }
    read_end(store, connection);
    return step >= 0 && (!keep->failed || arena_error(err));
}

bool store_scratch_file(struct store *store, uint64_t bytes, int *fd, struct error *err)
{
    *fd = -1;
    if (!store_writable(store, err) || !disk_has_room(store, bytes, err))
        return false;
    *fd = openat(store->uploads_fd, ".", O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
    return *fd >= 0 || error_set(err, ERROR_MACHINE, "no temporary file can be made: %s", strerror(errno));
}
