/* zip_entry.c - the bytes of one entry, stored or deflated (RFC 1951, by zlib). */
#include "bag/zip_reader.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <zlib.h>

enum { PIECE = 1 << 17 };

struct reading {
    int fd;
    const struct zip_entry *entry;
    uint64_t at, given; /* packed bytes read, bytes handed out */
    uint32_t crc;
    unsigned char packed[PIECE], plain[PIECE];
    zip_take *take;
    void *context;
    struct error *err;
};

static bool read_piece(struct reading *reading, size_t *count)
{
    uint64_t left = reading->entry->packed - reading->at;
    size_t wanted = left < PIECE ? (size_t)left : PIECE;
    ssize_t got;
    do
        got = pread(reading->fd, reading->packed, wanted, (off_t)(reading->entry->data + reading->at));
    while (got < 0 && errno == EINTR);
    if (got < 0 || (got == 0 && wanted))
        return error_set(reading->err, ERROR_MACHINE, "the zip cannot be read: %s",
                         got ? strerror(errno) : "it became shorter");
    reading->at += (uint64_t)got;
    *count = (size_t)got;
    return true;
}

static bool give(struct reading *reading, const unsigned char *bytes, size_t count)
{
    reading->crc = (uint32_t)crc32_z(reading->crc, bytes, count);
    reading->given += count;
    return reading->take(reading->context, bytes, count, reading->err);
}

static bool read_stored(struct reading *reading)
{
    size_t count;
    while (reading->at < reading->entry->packed)
        if (!read_piece(reading, &count) || !give(reading, reading->packed, count))
            return false;
    return true;
}

/* Takes what one piece gives; never more than the directory said. *status is zlib's. */
static bool inflate_piece(struct reading *reading, z_stream *stream, int *status)
{
    do {
        stream->next_out = reading->plain;
        stream->avail_out = PIECE;
        *status = inflate(stream, Z_NO_FLUSH);
        size_t count = PIECE - stream->avail_out;
        if (count > reading->entry->bytes - reading->given) {
            *status = Z_DATA_ERROR;
            count = (size_t)(reading->entry->bytes - reading->given);
        }
        if (count && !give(reading, reading->plain, count))
            return false;
    } while (*status == Z_OK && stream->avail_out == 0);
    return true;
}

static bool read_deflated(struct reading *reading, const char **damage)
{
    z_stream stream = {0};
    int status = Z_OK;
    size_t count;
    if (inflateInit2(&stream, -MAX_WBITS) != Z_OK)
        return error_set(reading->err, ERROR_MACHINE, "memory is out while unpacking");
    bool ok = true;
    while (ok && reading->at < reading->entry->packed && (status == Z_OK || status == Z_BUF_ERROR)) {
        ok = read_piece(reading, &count);
        stream.next_in = reading->packed;
        stream.avail_in = (uInt)(ok ? count : 0);
        ok = ok && inflate_piece(reading, &stream, &status);
    }
    if (status != Z_STREAM_END || stream.avail_in || reading->at < reading->entry->packed)
        *damage = "its packed bytes are damaged";
    inflateEnd(&stream);
    return ok;
}

bool zip_entry_read(int fd, const struct zip_entry *entry, zip_take *take, void *context, const char **damage,
                    struct error *err)
{
    struct reading *reading = malloc(sizeof *reading);
    *damage = NULL;
    if (!reading)
        return error_set(err, ERROR_MACHINE, "memory is out while unpacking");
    reading->fd = fd;
    reading->entry = entry;
    reading->at = reading->given = 0;
    reading->crc = 0;
    reading->take = take;
    reading->context = context;
    reading->err = err;
    bool ok = entry->is_deflated ? read_deflated(reading, damage) : read_stored(reading);
    if (ok && !*damage && (reading->given != entry->bytes || reading->crc != entry->crc))
        *damage = "its bytes are not those that were packed (CRC-32)";
    free(reading);
    return ok;
}
