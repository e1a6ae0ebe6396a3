/* zip_writer.c - local headers, bytes, central directory. */
#include "bag/zip_writer.h"

#include "bag/zip_format.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>
#include <zlib.h>

static bool write_at(int fd, uint64_t at, const void *bytes, size_t count, struct error *err)
{
    const char *from = bytes;
    while (count) {
        ssize_t put = pwrite(fd, from, count, (off_t)at);
        if (put < 0 && errno == EINTR)
            continue;
        if (put <= 0)
            return error_set(err, ERROR_MACHINE, "the zip cannot be written: %s", strerror(errno));
        from += put;
        at += (uint64_t)put;
        count -= (size_t)put;
    }
    return true;
}

static bool append(struct zip_writer *writer, const void *bytes, size_t count, struct error *err)
{
    if (!write_at(writer->fd, writer->at, bytes, count, err))
        return false;
    writer->at += count;
    return true;
}

void zip_writer_begin(struct zip_writer *writer, int fd, int64_t time_s)
{
    time_t seconds = (time_t)time_s;
    struct tm parts;
    gmtime_r(&seconds, &parts);
    int year = parts.tm_year < 80 ? 80 : parts.tm_year;
    *writer = (struct zip_writer){
        .fd = fd,
        .dos_time = (uint16_t)(parts.tm_hour << 11 | parts.tm_min << 5 | parts.tm_sec / 2),
        .dos_date = (uint16_t)((year - 80) << 9 | (parts.tm_mon + 1) << 5 | parts.tm_mday),
    };
}

static bool is_long(const struct zip_writer_entry *entry)
{
    return entry->bytes >= ZIP_FULL32;
}

static bool write_local(const struct zip_writer *writer, const struct zip_writer_entry *entry,
                        struct error *err)
{
    unsigned char header[ZIP_LOCAL_BYTES + 20], *at = header;
    size_t name = strlen(entry->path), extra = is_long(entry) ? 20 : 0;
    uint64_t bytes = is_long(entry) ? ZIP_FULL32 : entry->bytes;
    at = zip_put(at, ZIP_LOCAL, 4);
    at = zip_put(at, extra ? 45 : 20, 2);
    at = zip_put(at, 1 << 11, 2);
    at = zip_put(at, 0, 2);
    at = zip_put(at, writer->dos_time, 2);
    at = zip_put(at, writer->dos_date, 2);
    at = zip_put(at, entry->crc, 4);
    at = zip_put(at, bytes, 4);
    at = zip_put(at, bytes, 4);
    at = zip_put(at, name, 2);
    at = zip_put(at, extra, 2);
    if (extra) {
        at = zip_put(at, ZIP64_EXTRA, 2);
        at = zip_put(at, 16, 2);
        at = zip_put(at, entry->bytes, 8);
        zip_put(at, entry->bytes, 8);
    }
    return write_at(writer->fd, entry->offset, header, ZIP_LOCAL_BYTES, err)
           && write_at(writer->fd, entry->offset + ZIP_LOCAL_BYTES, entry->path, name, err)
           && write_at(writer->fd, entry->offset + ZIP_LOCAL_BYTES + name, header + ZIP_LOCAL_BYTES, extra,
                       err);
}

static uint64_t data_offset(const struct zip_writer_entry *entry)
{
    return entry->offset + ZIP_LOCAL_BYTES + strlen(entry->path) + (is_long(entry) ? 20 : 0);
}

static struct zip_writer_entry *add_entry(struct zip_writer *writer)
{
    if (writer->count == writer->room) {
        size_t room = writer->room ? 2 * writer->room : 64;
        struct zip_writer_entry *grown = realloc(writer->entries, room * sizeof *grown);
        if (!grown)
            return NULL;
        writer->entries = grown;
        writer->room = room;
    }
    return &writer->entries[writer->count];
}

bool zip_writer_entry_begin(struct zip_writer *writer, const char *path, uint64_t bytes, struct error *err)
{
    struct zip_writer_entry *entry = add_entry(writer);
    char *own = strdup(path);
    if (!entry || !own) {
        free(own);
        return error_set(err, ERROR_MACHINE, "memory is out while writing a zip");
    }
    *entry = (struct zip_writer_entry){.path = own, .offset = writer->at, .bytes = bytes};
    writer->count++;
    writer->at = data_offset(entry);
    return true;
}

bool zip_writer_entry_add(struct zip_writer *writer, const void *bytes, size_t count, struct error *err)
{
    struct zip_writer_entry *entry = &writer->entries[writer->count - 1];
    entry->crc = (uint32_t)crc32_z(entry->crc, bytes, count);
    return append(writer, bytes, count, err);
}

bool zip_writer_entry_end(struct zip_writer *writer, struct error *err)
{
    const struct zip_writer_entry *entry = &writer->entries[writer->count - 1];
    if (writer->at != data_offset(entry) + entry->bytes)
        return error_set(err, ERROR_MACHINE, "'%.100s' has another length than was said", entry->path);
    return write_local(writer, entry, err);
}

/* The Zip64 extra field holds what is too large for the fixed part, in this order: size, packed size, offset.
 */
static bool write_central(struct zip_writer *writer, const struct zip_writer_entry *entry, struct error *err)
{
    unsigned char header[ZIP_CENTRAL_BYTES + 28], *at = header, *extra = header + ZIP_CENTRAL_BYTES + 4;
    size_t name = strlen(entry->path);
    bool far = entry->offset >= ZIP_FULL32;
    if (is_long(entry)) {
        extra = zip_put(extra, entry->bytes, 8);
        extra = zip_put(extra, entry->bytes, 8);
    }
    if (far)
        extra = zip_put(extra, entry->offset, 8);
    size_t held = (size_t)(extra - header) - ZIP_CENTRAL_BYTES - 4, extras = held ? held + 4 : 0;
    zip_put(header + ZIP_CENTRAL_BYTES, ZIP64_EXTRA, 2);
    zip_put(header + ZIP_CENTRAL_BYTES + 2, held, 2);
    at = zip_put(at, ZIP_CENTRAL, 4);
    at = zip_put(at, 3 << 8 | (extras ? 45 : 20), 2); /* made as on Unix: the mode below counts */
    at = zip_put(at, extras ? 45 : 20, 2);
    at = zip_put(at, 1 << 11, 2);
    at = zip_put(at, 0, 2);
    at = zip_put(at, writer->dos_time, 2);
    at = zip_put(at, writer->dos_date, 2);
    at = zip_put(at, entry->crc, 4);
    at = zip_put(at, is_long(entry) ? ZIP_FULL32 : entry->bytes, 4);
    at = zip_put(at, is_long(entry) ? ZIP_FULL32 : entry->bytes, 4);
    at = zip_put(at, name, 2);
    at = zip_put(at, extras, 2);
    at = zip_put(at, 0, 2);
    at = zip_put(at, 0, 2);
    at = zip_put(at, 0, 2);
    at = zip_put(at, (uint64_t)0100644 << 16, 4);
    zip_put(at, far ? ZIP_FULL32 : entry->offset, 4);
    return append(writer, header, ZIP_CENTRAL_BYTES, err) && append(writer, entry->path, name, err)
           && append(writer, header + ZIP_CENTRAL_BYTES, extras, err);
}

static bool write_end64(struct zip_writer *writer, uint64_t offset, uint64_t bytes, struct error *err)
{
    unsigned char end[ZIP64_END_BYTES + ZIP64_LOCATOR_BYTES], *at = end;
    at = zip_put(at, ZIP64_END, 4);
    at = zip_put(at, ZIP64_END_BYTES - 12, 8);
    at = zip_put(at, 3 << 8 | 45, 2);
    at = zip_put(at, 45, 2);
    at = zip_put(at, 0, 8);
    at = zip_put(at, writer->count, 8);
    at = zip_put(at, writer->count, 8);
    at = zip_put(at, bytes, 8);
    at = zip_put(at, offset, 8);
    at = zip_put(at, ZIP64_LOCATOR, 4);
    at = zip_put(at, 0, 4);
    at = zip_put(at, offset + bytes, 8);
    zip_put(at, 1, 4);
    return append(writer, end, sizeof end, err);
}

static uint64_t or_full(uint64_t value, uint64_t full)
{
    return value < full ? value : full;
}

bool zip_writer_finish(struct zip_writer *writer, struct error *err)
{
    unsigned char end[ZIP_END_BYTES], *at = end;
    uint64_t offset = writer->at;
    for (size_t i = 0; i < writer->count; i++)
        if (!write_central(writer, &writer->entries[i], err))
            return false;
    uint64_t bytes = writer->at - offset;
    if ((writer->count >= ZIP_FULL16 || offset >= ZIP_FULL32 || bytes >= ZIP_FULL32)
        && !write_end64(writer, offset, bytes, err))
        return false;
    at = zip_put(at, ZIP_END, 4);
    at = zip_put(at, 0, 4);
    at = zip_put(at, or_full(writer->count, ZIP_FULL16), 2);
    at = zip_put(at, or_full(writer->count, ZIP_FULL16), 2);
    at = zip_put(at, or_full(bytes, ZIP_FULL32), 4);
    at = zip_put(at, or_full(offset, ZIP_FULL32), 4);
    zip_put(at, 0, 2);
    return append(writer, end, sizeof end, err);
}

void zip_writer_close(struct zip_writer *writer)
{
    for (size_t i = 0; i < writer->count; i++)
        free(writer->entries[i].path);
    free(writer->entries);
    *writer = (struct zip_writer){.fd = -1};
}
