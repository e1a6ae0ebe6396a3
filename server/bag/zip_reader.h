/* zip_reader.h - a zip from elsewhere: its directory, looked at as a whole before a byte is unpacked, and its
 * entries.
 *
 * PKWARE "APPNOTE.TXT - .ZIP File Format Specification" 6.3.10. Stricter than the format: the directory and
 * what stands before each entry must agree, entries follow one another without overlap (which D. Fifield, "A
 * better zip bomb", WOOT 2019, makes bombs of) and without bytes that belong to none. */
#ifndef BAG_ZIP_READER_H
#define BAG_ZIP_READER_H

#include "bag/bag.h"

struct zip_entry {
    const char *path; /* checked by bag_path_check, without a folder's last slash */
    bool is_folder, is_deflated;
    uint32_t crc;
    int64_t time_s;                       /* as the directory has it, in Greenwich */
    uint64_t packed, bytes, header, data; /* sizes, and offsets in the zip */
};
struct zip_directory {
    size_t count;
    struct zip_entry *entries; /* in the order they lie in */
};

/* Errors as bag_open_zip. */
bool zip_directory_read(int fd, const struct bag_limits *limits, struct arena *keep,
                        struct zip_directory *directory, struct error *err);

typedef bool zip_take(void *context, const void *bytes, size_t count, struct error *err);
/* Hands out the entry's bytes. *damage is NULL, or how they are not what was put in; then what came before
 * was handed out. */
bool zip_entry_read(int fd, const struct zip_entry *entry, zip_take *take, void *context, const char **damage,
                    struct error *err);

#endif
