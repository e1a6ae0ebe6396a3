/* zip_writer.h - a zip file written in one pass: entries stored as they are, sizes known beforehand.
 *
 * PKWARE "APPNOTE.TXT - .ZIP File Format Specification" 6.3.10: local headers (4.3.7), central directory
 * (4.3.12), Zip64 records where an entry or the whole passes 4 GiB or 65,535 entries (4.3.14, 4.5.3), names
 * in UTF-8 (bit 11, appendix D). Nothing is compressed, nothing depends on time zone, locale or a library's
 * version: the same entries give the same bytes, and a damaged byte harms one file only. */
#ifndef BAG_ZIP_WRITER_H
#define BAG_ZIP_WRITER_H

#include "base/error.h"

struct zip_writer_entry {
    char *path; /* owned */
    uint64_t offset, bytes;
    uint32_t crc;
};
struct zip_writer {
    int fd; /* a regular file, empty; the caller's */
    uint64_t at;
    uint16_t dos_time, dos_date;
    size_t count, room;
    struct zip_writer_entry *entries;
};

/* time_s: seconds since 1970 in Greenwich, that every entry carries (zip has even seconds, from 1980). */
void zip_writer_begin(struct zip_writer *writer, int fd, int64_t time_s);
/* One entry: begin, its bytes in pieces, end. ERROR_MACHINE: the file cannot be written. */
bool zip_writer_entry_begin(struct zip_writer *writer, const char *path, uint64_t bytes, struct error *err);
bool zip_writer_entry_add(struct zip_writer *writer, const void *bytes, size_t count, struct error *err);
/* ERROR_MACHINE too where another number of bytes came than was said. */
bool zip_writer_entry_end(struct zip_writer *writer, struct error *err);
/* The central directory. */
bool zip_writer_finish(struct zip_writer *writer, struct error *err);
void zip_writer_close(struct zip_writer *writer);

#endif
