/* signoffs.c - what a sign-off is about, whether it may be made, and keeping it. */
#include "store/signoffs.h"

#include "seal/key_file.h"
#include "store/inside.h"

#include <string.h>

static void digest_text(const char *text, size_t size, char hex[DIGEST_HEX_SIZE])
{
    struct digest digest;
    digest_begin(&digest);
    digest_add(&digest, text, size);
    digest_end(&digest, hex);
}

/* --- what it is about --- */

static void take_signed(sqlite3_stmt *row, struct arena *keep, struct store_signed *is)
{
    is->audit = column_id(row, 0);
    is->specimen = column_id(row, 1);
    is->run = column_id(row, 2);
    is->spec_version = column_id(row, 3);
    is->revision = column_id(row, 4);
    is->catalogue_number = column_text(row, 5, keep);
    is->spec_name = column_text(row, 6, keep);
    is->outcome = column_text(row, 7, keep);
    is->spec_body = column_text(row, 8, keep);
    is->audit_body = column_text(row, 9, keep);
    is->audit_kept_sha256 = column_text(row, 10, keep);
}

static bool read_rows(struct connection *connection, int64_t audit, struct arena *keep,
                      struct store_signed *is, struct error *err)
{
    static const char read[] =
        "SELECT a.id, v.specimen, a.run, s.version, c.revision, c.catalogue_number, s.name, a.outcome, "
        "s.body,"
        " a.body, a.sha256 FROM audit a JOIN run r ON r.id = a.run JOIN version v ON v.id = r.version"
        " JOIN specimen c ON c.id = v.specimen JOIN spec s ON s.id = a.spec WHERE a.id = ?1";
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", audit);
    int step = statement_step(connection, row, err);
    if (step == 1)
        take_signed(row, keep, is);
    statement_end(row);
    if (step == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no audit %lld", (long long)audit);
    if (step < 0 || keep->failed)
        return step < 0 ? false : arena_error(err);
    digest_text(is->spec_body, strlen(is->spec_body), is->spec_sha256);
    digest_text(is->audit_body, strlen(is->audit_body), is->audit_sha256);
    return true;
}

static bool read_files(struct connection *connection, struct arena *keep, struct store_signed *is,
                       struct error *err)
{
    static const char read[] =
        "SELECT iif(v.id = r.version, 'subject', 'reference'), v.kind, v.id, v.number, b.bytes, v.file_name,"
        " b.sha256 FROM run r JOIN version v ON v.id IN (r.version, r.against) JOIN blob b ON b.id = v.blob"
        " WHERE r.id = ?1 ORDER BY v.id <> r.version";
    int step;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", is->run);
    while ((step = statement_step(connection, row, err)) == 1 && is->file_count < 2)
        is->files[is->file_count++] = (struct store_signed_file){.role = column_text(row, 0, keep),
                                                                 .kind = column_text(row, 1, keep),
                                                                 .version = column_id(row, 2),
                                                                 .number = column_id(row, 3),
                                                                 .bytes = column_id(row, 4),
                                                                 .name = column_text(row, 5, keep),
                                                                 .sha256 = column_text(row, 6, keep)};
    statement_end(row);
    return step >= 0 && (!keep->failed || arena_error(err));
}

/* A record that is damaged is an answer here: it is not what was signed. */
static bool read_record(struct connection *connection, struct arena scratch, struct store_signed *is,
                        struct error *err)
{
    const char *text;
    size_t size;
    struct error fault = {0};
    is->record_sha256[0] = '\0';
    if (record_read(connection, is->run, false, &scratch, &text, &size, &fault))
        digest_text(text, size, is->record_sha256);
    else if (fault.code != ERROR_STORE && fault.code != ERROR_NOT_FOUND)
        return error_set(err, fault.code, "%s", fault.text);
    return true;
}

bool store_signed_get(struct store *store, int64_t audit, struct arena *keep, struct store_signed *is,
                      struct error *err)
{
    struct connection *connection;
    memset(is, 0, sizeof *is);
    if (!read_begin(store, &connection, err))
        return false;
    bool ok = read_rows(connection, audit, keep, is, err) && read_files(connection, keep, is, err)
              && read_record(connection, *keep, is, err);
    read_end(store, connection);
    return ok;
}

/* --- whether it may be made --- */

#define AUDITED                                                                                              \
    "audit a JOIN run r ON r.id = a.run JOIN version v ON v.id = r.version JOIN spec s ON s.id = a.spec"

/* One row for each reason that there is, the gravest first. */
static const char reasons[] =
    "SELECT 1, 'the audit says \"' || a.outcome || '\": only one that conforms is signed off; mend what the"
    " rules name, or waive them with a reason, and judge again' FROM audit a"
    " WHERE a.id = ?1 AND a.outcome <> 'conforms'"
    " UNION ALL SELECT 2, v.kind || ' ' || v.number || ' is withdrawn: nothing of it is signed off'"
    " FROM " AUDITED " WHERE a.id = ?1 AND v.withdrawn_at IS NOT NULL"
    " UNION ALL SELECT 3, 'run ' || max(n.id) || ' of ' || v.kind || ' ' || v.number || ' is newer than run '"
    " || r.id || ' of this audit: judge that one' FROM " AUDITED " JOIN run n ON n.version = r.version"
    " AND n.against IS r.against AND n.id > r.id WHERE a.id = ?1 GROUP BY a.id"
    " UNION ALL SELECT 4, 'version ' || max(n.version) || ' of the spec \"' || substr(s.name, 1, 60) || '\" "
    "is"
    " newer than version ' || s.version || ' of this audit: judge by that one' FROM " AUDITED
    " JOIN spec n ON n.name = s.name AND n.version > s.version WHERE a.id = ?1 GROUP BY a.id"
    " UNION ALL SELECT 5, 'audit ' || max(n.id) || ' of the same run by the same spec is newer: sign that "
    "one'"
    " FROM audit a JOIN audit n ON n.run = a.run AND n.spec = a.spec AND n.id > a.id WHERE a.id = ?1"
    " GROUP BY a.id"
    " UNION ALL SELECT 6, 'this name has signed audit ' || o.audit || ' already; who signs beside it is"
    " another person' FROM signoff o WHERE o.audit = ?1 AND o.person = ?2"
    " ORDER BY 1 LIMIT 1";

static bool allowed(struct connection *connection, int64_t audit, const char *person, struct error *err)
{
    static const char look[] = "SELECT id FROM audit WHERE id = ?1";
    int64_t id;
    bool found;
    if (!statement_value(connection, look, &id, &found, err, "i", audit))
        return false;
    if (!found)
        return error_set(err, ERROR_NOT_FOUND, "there is no audit %lld", (long long)audit);
    sqlite3_stmt *row = statement_begin(connection, reasons, err, "it", audit, person);
    int step = statement_step(connection, row, err);
    if (step == 1)
        error_set(err, ERROR_CONFLICT, "%s", (const char *)sqlite3_column_text(row, 1));
    statement_end(row);
    return step == 0;
}

/* *person stays NULL where nobody is named. */
static bool find_person(const char *signer, struct arena *arena, const char **person, struct error *err)
{
    *person = NULL;
    if (!arena_open(arena, 4096, err))
        return false;
    if (signer && !(*person = store_person(signer, arena))) {
        arena_close(arena);
        return arena_error(err);
    }
    return true;
}

bool store_signoff_allowed(struct store *store, int64_t audit, const char *signer, struct error *err)
{
    struct connection *connection;
    struct arena arena;
    const char *person;
    if (!find_person(signer, &arena, &person, err))
        return false;
    bool ok = read_begin(store, &connection, err);
    if (ok) {
        ok = allowed(connection, audit, person, err);
        read_end(store, connection);
    }
    arena_close(&arena);
    return ok;
}

/* --- making one --- */

bool store_signer_check(const char *signer, const char *role, const char *note, struct error *err)
{
    return text_check("name of who signs", signer, STORE_SIGNER_MAX, TEXT_LINE, false, err)
           && text_check("role of who signs", role, STORE_ROLE_MAX, TEXT_LINE, true, err)
           && text_check("note", note, STORE_SIGNOFF_NOTE_MAX, TEXT_LINES, true, err);
}

static bool unchanged(struct write *write, const struct store_signoff_new *signoff, int64_t *specimen,
                      struct error *err)
{
    static const char look[] = "SELECT v.specimen FROM audit a JOIN run r ON r.id = a.run JOIN version v"
                               " ON v.id = r.version JOIN specimen c ON c.id = v.specimen"
                               " WHERE a.id = ?1 AND c.revision = ?2";
    bool found;
    return statement_value(write->connection, look, specimen, &found, err, "ii", signoff->audit,
                           signoff->revision)
           && (found
               || error_set(err, ERROR_BUSY, "the specimen was changed while it was signed; try again"));
}

/* The log tells of a key the first time that something is signed with it. */
static bool log_key(struct write *write, const char *fingerprint, struct error *err)
{
    static const char log[] = STEP_INSERT "SELECT ?1, NULL, 'key first used', NULL, ?2, 'sign-off', "
                                          "coalesce((SELECT max(id) FROM signoff), 0) + 1"
                                          " WHERE NOT EXISTS (SELECT 1 FROM signoff WHERE fingerprint = ?2)";
    return statement_run(write->connection, log, NULL, err, "tt", write->now, fingerprint);
}

static bool insert(struct write *write, const struct store_signoff_new *signoff, const char *person,
                   int64_t *id, struct error *err)
{
    static const char add[] =
        "INSERT INTO signoff (audit, signer, role, note, person, created, statement, sha256, signature,"
        " public_key, fingerprint) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)";
    static const char log[] = STEP_INSERT
        "SELECT ?2, v.specimen, 'signed off', o.signer, v.kind || ' ' || v.number || ' by ' || s.name || ' ' "
        "||"
        " s.version || coalesce(' (' || o.role || ')', '') || coalesce(': ' || o.note, ''), 'sign-off', o.id"
        " FROM " AUDITED " JOIN signoff o ON o.audit = a.id WHERE o.id = ?1";
    char sha256[DIGEST_HEX_SIZE], fingerprint[DIGEST_HEX_SIZE], pem[SEAL_PEM_SIZE];
    digest_text(signoff->statement, strlen(signoff->statement), sha256);
    seal_fingerprint(&signoff->key, fingerprint);
    seal_public_write(&signoff->key, pem);
    if (!log_key(write, fingerprint, err)
        || !statement_run(write->connection, add, NULL, err, "itttttttttt", signoff->audit, signoff->signer,
                          signoff->role, signoff->note, person, signoff->created, signoff->statement, sha256,
                          signoff->signature, pem, fingerprint))
        return false;
    *id = sqlite3_last_insert_rowid(write->connection->db);
    return statement_run(write->connection, log, NULL, err, "it", *id, write->now);
}

bool store_signoff_add(struct store *store, const struct store_signoff_new *signoff, int64_t *id,
                       struct error *err)
{
    struct write write;
    struct arena arena;
    const char *person;
    int64_t specimen;
    if (!store_signer_check(signoff->signer, signoff->role, signoff->note, err)
        || !find_person(signoff->signer, &arena, &person, err))
        return false;
    bool ok = write_begin(store, &write, err);
    if (ok) {
        ok = allowed(write.connection, signoff->audit, person, err)
             && unchanged(&write, signoff, &specimen, err) && insert(&write, signoff, person, id, err)
             && summary_touch_specimen(&write, specimen, false, err);
        ok = write_end(&write, ok, err);
    }
    arena_close(&arena);
    return ok;
}

/* --- reading --- */

#define SIGNOFF_COLUMNS                                                                                      \
    "o.id, o.audit, v.specimen, o.signer, o.role, o.note, o.created, o.statement, o.sha256, o.signature,"    \
    " o.public_key, o.fingerprint"
#define SIGNOFF_TABLES                                                                                       \
    "signoff o JOIN audit a ON a.id = o.audit JOIN run r ON r.id = a.run JOIN version v ON v.id = r.version"

static void take_signoff(sqlite3_stmt *row, struct arena *keep, struct store_signoff *signoff)
{
    *signoff = (struct store_signoff){
        .id = column_id(row, 0),
        .audit = column_id(row, 1),
        .specimen = column_id(row, 2),
        .signer = column_text(row, 3, keep),
        .role = column_text(row, 4, keep),
        .note = column_text(row, 5, keep),
        .created = column_text(row, 6, keep),
        .statement = column_text(row, 7, keep),
        .sha256 = column_text(row, 8, keep),
        .signature = column_text(row, 9, keep),
        .public_key = column_text(row, 10, keep),
        .fingerprint = column_text(row, 11, keep),
    };
}

static bool audit_exists(struct connection *connection, int64_t audit, struct error *err)
{
    static const char look[] = "SELECT id FROM audit WHERE id = ?1";
    int64_t id;
    bool found;
    return statement_value(connection, look, &id, &found, err, "i", audit)
           && (found || error_set(err, ERROR_NOT_FOUND, "there is no audit %lld", (long long)audit));
}

bool store_signoff_list(struct store *store, int64_t audit, struct arena *keep,
                        struct store_signoff_list *list, struct error *err)
{
    static const char read[] =
        "SELECT " SIGNOFF_COLUMNS " FROM " SIGNOFF_TABLES " WHERE ?1 IS NULL OR o.audit = ?1 ORDER BY o.id";
    struct connection *connection;
    size_t room = 0;
    int step = -1;
    memset(list, 0, sizeof *list);
    if (!read_begin(store, &connection, err))
        return false;
    if (!audit || audit_exists(connection, audit, err)) {
        sqlite3_stmt *row = statement_begin(connection, read, err, "k", audit);
        while ((step = statement_step(connection, row, err)) == 1) {
            list->items = arena_grow(keep, list->items, list->count, &room, sizeof *list->items);
            if (!list->items)
                break;
            take_signoff(row, keep, &list->items[list->count++]);
        }
        statement_end(row);
    }
    read_end(store, connection);
    return step >= 0 && (!keep->failed || arena_error(err));
}

bool store_signoff_get(struct store *store, int64_t id, struct arena *keep, struct store_signoff *signoff,
                       struct error *err)
{
    static const char read[] = "SELECT " SIGNOFF_COLUMNS " FROM " SIGNOFF_TABLES " WHERE o.id = ?1";
    struct connection *connection;
    if (!read_begin(store, &connection, err))
        return false;
    sqlite3_stmt *row = statement_begin(connection, read, err, "i", id);
    int step = statement_step(connection, row, err);
    if (step == 1)
        take_signoff(row, keep, signoff);
    statement_end(row);
    read_end(store, connection);
    if (step == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no sign-off %lld", (long long)id);
    return step == 1 && (!keep->failed || arena_error(err));
}

/* --- the key --- */

/* ERROR_STORE where sign-offs need a key that is not there. */
static bool no_key_is_fine(struct connection *connection, struct error *err)
{
    static const char count[] = "SELECT count(*) FROM signoff";
    int64_t made;
    return statement_value(connection, count, &made, NULL, err, "")
           && (made == 0
               || error_set(err, ERROR_STORE,
                            "the service's key " SEAL_FILE
                            " is gone, and %lld sign-offs were made: put back the"
                            " one of a backup, or have a new one by: openssl genpkey -algorithm ed25519 -out"
                            " " SEAL_FILE,
                            (long long)made));
}

static bool make_key(struct store *store, struct seal_key *key, struct error *err)
{
    struct write write;
    bool found;
    if (!write_begin(store, &write, err))
        return false;
    bool ok = seal_file_read(store->folder_fd, key, &found, err);
    if (ok && !found)
        ok = no_key_is_fine(write.connection, err) && seal_key_make(key, err)
             && seal_file_make(store->folder_fd, key, err);
    return write_end(&write, ok, err);
}

bool store_key_need(struct store *store, struct seal_key *key, struct error *err)
{
    bool found;
    return seal_file_read(store->folder_fd, key, &found, err) && (found || make_key(store, key, err));
}

bool store_key_public(struct store *store, struct seal_public *public_key, bool *found, struct error *err)
{
    struct connection *connection;
    struct seal_key key;
    if (!seal_file_read(store->folder_fd, &key, found, err))
        return false;
    if (*found) {
        *public_key = key.public_key;
        seal_key_forget(&key);
        return true;
    }
    if (!read_begin(store, &connection, err))
        return false;
    bool ok = no_key_is_fine(connection, err);
    read_end(store, connection);
    return ok;
}
