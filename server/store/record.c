/* record.c - records packed with zstd, most of them against an earlier record of the same specimen: half of a
 * cage's record describes the reference, which the scan's own record has already. A base has no base itself,
 * so that reading takes two steps at most. */
#include "store/inside.h"

#include <stdlib.h>
#include <string.h>
#include <zstd.h>

#define LEVEL 19 /* records are read more often than written, and a million must fit in 8 GiB */
#define BASE_MAX ((size_t)4 << 20)

bool record_choose_base(struct connection *connection, int64_t specimen, int64_t like, int64_t *base,
                        struct error *err)
{
    static const char find[] =
        "SELECT d.run FROM version v JOIN run r ON r.version = v.id JOIN run_record d ON d.run = r.id"
        " WHERE v.specimen = ?1 AND d.base IS NULL AND d.bytes <= ?3"
        " ORDER BY (v.id = ?2) DESC, d.run DESC LIMIT 1";
    return statement_value(connection, find, base, NULL, err, "iii", specimen, like, (int64_t)BASE_MAX);
}

/* The window must reach back over the base. */
static int window_log(size_t bytes)
{
    int log = 10;
    while (log < 27 && ((size_t)1 << log) < bytes)
        log++;
    return log;
}

bool record_pack(const char *base, size_t base_bytes, const char *record, size_t bytes,
                 struct packed_record *packed, struct error *err)
{
    struct digest digest;
    size_t room = ZSTD_compressBound(bytes);
    ZSTD_CCtx *context = ZSTD_createCCtx();

    packed->bytes = malloc(room);
    packed->count = 0;
    if (context && packed->bytes
        && !ZSTD_isError(ZSTD_CCtx_setParameter(context, ZSTD_c_compressionLevel, LEVEL))
        && !ZSTD_isError(ZSTD_CCtx_setParameter(context, ZSTD_c_windowLog, window_log(base_bytes + bytes)))
        && !ZSTD_isError(ZSTD_CCtx_refPrefix(context, base, base_bytes)))
        packed->count = ZSTD_compress2(context, packed->bytes, room, record, bytes);
    ZSTD_freeCCtx(context);
    if (packed->count == 0 || ZSTD_isError(packed->count))
        return error_set(err, ERROR_MACHINE, "out of memory while packing the record");
    digest_begin(&digest);
    digest_add(&digest, record, bytes);
    digest_end_raw(&digest, packed->sha256);
    return true;
}

static bool unpack(const void *packed, size_t packed_bytes, const char *base, size_t base_bytes, char *text,
                   size_t bytes)
{
    ZSTD_DCtx *context = ZSTD_createDCtx();
    bool ok = context && !ZSTD_isError(ZSTD_DCtx_refPrefix(context, base, base_bytes))
              && ZSTD_decompressDCtx(context, text, bytes, packed, packed_bytes) == bytes;
    ZSTD_freeDCtx(context);
    text[bytes] = '\0';
    return ok;
}

/* Two statements, since both are open at once; a base has no base. */
#define READ "SELECT bytes, sha256, packed, base FROM run_record WHERE run = ?1"
static const char read_record[] = READ, read_base[] = READ " AND base IS NULL";

static bool damaged(int64_t run, struct error *err)
{
    return error_set(err, ERROR_STORE,
                     "the record of run %lld is damaged; run fettle verify and restore a backup",
                     (long long)run);
}

static bool hash_holds(const char *text, size_t bytes, sqlite3_stmt *row)
{
    struct digest digest;
    uint8_t found[32];
    digest_begin(&digest);
    digest_add(&digest, text, bytes);
    digest_end_raw(&digest, found);
    return sqlite3_column_bytes(row, 1) == 32 && memcmp(found, sqlite3_column_blob(row, 1), 32) == 0;
}

static bool take_record(struct connection *connection, sqlite3_stmt *row, int64_t run, struct arena *keep,
                        const char **text, size_t *bytes, struct error *err)
{
    const char *base = NULL;
    size_t base_bytes = 0;
    int64_t base_run = column_id(row, 3);
    const void *packed = sqlite3_column_blob(row, 2);
    size_t packed_bytes = (size_t)sqlite3_column_bytes(row, 2);

    *bytes = (size_t)column_id(row, 0);
    if (ZSTD_getFrameContentSize(packed, packed_bytes) != *bytes)
        return damaged(run, err); /* before a length is believed */
    char *room = ARENA_NEW(keep, char, *bytes + 1);
    if (!room)
        return arena_error(err);
    struct arena scratch = *keep;
    if (base_run && !record_read(connection, base_run, true, &scratch, &base, &base_bytes, err))
        return err && err->code == ERROR_NOT_FOUND ? damaged(run, err) : false;
    *text = room;
    return (unpack(packed, packed_bytes, base, base_bytes, room, *bytes) && hash_holds(room, *bytes, row))
           || damaged(run, err);
}

bool record_read(struct connection *connection, int64_t run, bool as_base, struct arena *keep,
                 const char **text, size_t *bytes, struct error *err)
{
    sqlite3_stmt *row = statement_begin(connection, as_base ? read_base : read_record, err, "i", run);
    int step = statement_step(connection, row, err);
    bool ok = step == 1 && take_record(connection, row, run, keep, text, bytes, err);
    statement_end(row);
    if (step == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no run %lld", (long long)run);
    return ok;
}
