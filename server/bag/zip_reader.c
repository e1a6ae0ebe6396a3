/* zip_reader.c - the directory of a zip, and that it tells one story with what lies before it. */
#include "bag/zip_reader.h"

#include "bag/name.h"
#include "bag/zip_format.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

/* An entry in the directory: the fixed part and the longest three texts behind it. */
enum { ENTRY_BYTES_MAX = ZIP_CENTRAL_BYTES + 3 * 0xffff, DESCRIPTOR_BYTES_MAX = 24 };

/* Where the directory lies. */
struct place {
    uint64_t offset, bytes, count, file_bytes;
};

static bool broken(const char *what, struct error *err)
{
    return error_set(err, ERROR_SYNTAX, "the zip is damaged or was made to mislead: %s; ask for it anew",
                     what);
}

static bool broken_entry(const char *path, const char *what, struct error *err)
{
    return error_set(err, ERROR_SYNTAX,
                     "the zip is damaged or was made to mislead: '%.60s' %s; ask for it anew", path, what);
}

static bool read_at(int fd, uint64_t at, void *bytes, size_t count, struct error *err)
{
    char *into = bytes;
    while (count) {
        ssize_t got = pread(fd, into, count, (off_t)at);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return error_set(err, ERROR_MACHINE, "the zip cannot be read: %s", strerror(errno));
        if (got == 0)
            return broken("it ends too early", err);
        into += got;
        at += (uint64_t)got;
        count -= (size_t)got;
    }
    return true;
}

/* --- where it is --- */

/* The record of the end is the last thing: a comment behind it would have to reach the file's end. */
static bool find_end(int fd, uint64_t file_bytes, uint64_t *end, unsigned char record[ZIP_END_BYTES],
                     struct error *err)
{
    unsigned char head[4];
    if (file_bytes < ZIP_END_BYTES || !read_at(fd, 0, head, sizeof head, err)
        || (zip_get32(head) != ZIP_LOCAL && zip_get32(head) != ZIP_END))
        return error_set(err, ERROR_TYPE,
                         "this is no zip; a handoff is a zip or the folder that was unpacked of one");
    *end = file_bytes - ZIP_END_BYTES;
    if (!read_at(fd, *end, record, ZIP_END_BYTES, err))
        return false;
    return (zip_get32(record) == ZIP_END && zip_get16(record + 20) == 0)
           || broken("its directory is not at its end, as where a part is missing or something was appended",
                     err);
}

static bool take_end64(int fd, uint64_t end, struct place *place, uint64_t *directory_end, struct error *err)
{
    unsigned char locator[ZIP64_LOCATOR_BYTES], record[ZIP64_END_BYTES];
    if (end < ZIP64_LOCATOR_BYTES + ZIP64_END_BYTES)
        return broken("its directory cannot be found", err);
    uint64_t at = end - ZIP64_LOCATOR_BYTES - ZIP64_END_BYTES;
    if (!read_at(fd, end - ZIP64_LOCATOR_BYTES, locator, sizeof locator, err)
        || !read_at(fd, at, record, sizeof record, err))
        return false;
    if (zip_get32(locator) != ZIP64_LOCATOR || zip_get64(locator + 8) != at || zip_get32(record) != ZIP64_END
        || zip_get64(record + 4) != ZIP64_END_BYTES - 12 || zip_get64(record + 16) != 0
        || zip_get64(record + 24) != zip_get64(record + 32))
        return broken("its directory cannot be found", err);
    place->count = zip_get64(record + 32);
    place->bytes = zip_get64(record + 40);
    place->offset = zip_get64(record + 48);
    *directory_end = at;
    return true;
}

static bool find_directory(int fd, struct place *place, struct error *err)
{
    unsigned char record[ZIP_END_BYTES];
    struct stat status;
    uint64_t end = 0, directory_end;
    if (fstat(fd, &status) != 0)
        return error_set(err, ERROR_MACHINE, "the zip cannot be read: %s", strerror(errno));
    place->file_bytes = (uint64_t)status.st_size;
    if (!find_end(fd, place->file_bytes, &end, record, err))
        return false;
    directory_end = end;
    place->count = zip_get16(record + 10);
    place->bytes = zip_get32(record + 12);
    place->offset = zip_get32(record + 16);
    if (zip_get16(record + 4) || zip_get16(record + 6) || zip_get16(record + 8) != zip_get16(record + 10))
        return broken("it says it is one of several parts", err);
    if ((place->count == ZIP_FULL16 || place->bytes == ZIP_FULL32 || place->offset == ZIP_FULL32)
        && !take_end64(fd, end, place, &directory_end, err))
        return false;
    return (place->offset <= directory_end && place->bytes == directory_end - place->offset)
           || broken("its directory is not where it says", err);
}

/* --- one entry of the directory --- */

/* Sizes and offset of the Zip64 field take the place of those that are full. */
static bool take_extra64(struct zip_entry *entry, const unsigned char *extra, size_t extra_size)
{
    uint64_t *const wanted[] = {&entry->bytes, &entry->packed, &entry->header};
    while (extra_size >= 4) {
        size_t size = zip_get16(extra + 2), at = 0;
        if (size > extra_size - 4)
            return false;
        if (zip_get16(extra) == ZIP64_EXTRA) {
            for (size_t i = 0; i < 3; i++)
                if (*wanted[i] == ZIP_FULL32) {
                    if (size - at < 8)
                        return false;
                    *wanted[i] = zip_get64(extra + 4 + at);
                    at += 8;
                }
            return true;
        }
        extra += 4 + size;
        extra_size -= 4 + size;
    }
    return extra_size == 0 && entry->bytes != ZIP_FULL32 && entry->packed != ZIP_FULL32
           && entry->header != ZIP_FULL32;
}

/* The upper half of the external attributes is a Unix mode where the entry was made there (4.4.2, 4.4.15). */
static bool check_type(const struct zip_entry *entry, const unsigned char *at, struct error *err)
{
    unsigned mode = zip_get32(at + 38) >> 16, type = mode & S_IFMT;
    bool is_unix = at[5] == 3 || at[5] == 19; /* Unix, Darwin */
    if (!is_unix || type == 0 || type == (entry->is_folder ? S_IFDIR : S_IFREG))
        return true;
    return error_set(err, ERROR_DATA, "'%.80s' is %s, which a handoff never holds: ask for it anew",
                     entry->path,
                     type == S_IFLNK                       ? "a symbolic link"
                     : type == S_IFCHR || type == S_IFBLK  ? "a device"
                     : type == S_IFIFO || type == S_IFSOCK ? "a pipe or socket"
                                                           : "no plain file");
}

static bool check_packing(const struct zip_entry *entry, const unsigned char *at,
                          const struct bag_limits *limits, struct error *err)
{
    unsigned flags = zip_get16(at + 8), method = zip_get16(at + 10);
    if (flags & (1 << 0 | 1 << 5 | 1 << 6 | 1 << 13))
        return error_set(err, ERROR_TYPE, "'%.80s' is encrypted or a patch; ask for a plain zip",
                         entry->path);
    if (method != 0 && method != 8)
        return error_set(err, ERROR_TYPE,
                         "'%.80s' is packed by method %u; stored and deflated ones are read: pack it anew",
                         entry->path, method);
    if (method == 0 && entry->packed != entry->bytes)
        return broken_entry(entry->path, "is stored with two lengths", err);
    if (entry->is_folder && entry->bytes)
        return broken_entry(entry->path, "is a folder with bytes of its own", err);
    if (entry->bytes / limits->ratio > entry->packed)
        return error_set(err, ERROR_LIMIT,
                         "'%.80s' says it unpacks to more than %llu times its size; raise --max-ratio where "
                         "you trust it",
                         entry->path, (unsigned long long)limits->ratio);
    return true;
}

/* 4.4.6: two seconds a step, from 1980. */
static int64_t time_of(unsigned time, unsigned date)
{
    struct tm parts = {.tm_sec = (int)(time & 31) * 2,
                       .tm_min = (int)(time >> 5 & 63),
                       .tm_hour = (int)(time >> 11),
                       .tm_mday = (int)(date & 31),
                       .tm_mon = (int)(date >> 5 & 15) - 1,
                       .tm_year = (int)(date >> 9) + 80};
    return (int64_t)timegm(&parts);
}

static bool take_path(struct zip_entry *entry, const unsigned char *name, size_t size, struct arena *keep,
                      struct error *err)
{
    entry->is_folder = size > 0 && name[size - 1] == '/';
    if (!bag_path_check((const char *)name, size - entry->is_folder, err))
        return false;
    char *path = ARENA_NEW(keep, char, size + 1);
    if (!path)
        return arena_error(err);
    memcpy(path, name, size);
    path[size - entry->is_folder] = '\0';
    entry->path = path;
    return true;
}

/* at: the entry, in the directory, of which `left` bytes are left. */
static bool take_entry(const unsigned char *at, size_t left, const struct bag_limits *limits,
                       struct zip_entry *entry, size_t *taken, struct arena *keep, struct error *err)
{
    if (left < ZIP_CENTRAL_BYTES || zip_get32(at) != ZIP_CENTRAL)
        return broken("its directory has fewer entries than it says", err);
    size_t name = zip_get16(at + 28), extra = zip_get16(at + 30), comment = zip_get16(at + 32);
    *taken = ZIP_CENTRAL_BYTES + name + extra + comment;
    if (*taken > left)
        return broken("its directory ends within an entry", err);
    *entry = (struct zip_entry){.is_deflated = zip_get16(at + 10) == 8,
                                .crc = zip_get32(at + 16),
                                .time_s = time_of(zip_get16(at + 12), zip_get16(at + 14)),
                                .packed = zip_get32(at + 20),
                                .bytes = zip_get32(at + 24),
                                .header = zip_get32(at + 42)};
    if (!take_path(entry, at + ZIP_CENTRAL_BYTES, name, keep, err))
        return false;
    if (!take_extra64(entry, at + ZIP_CENTRAL_BYTES + name, extra))
        return broken_entry(entry->path, "has sizes that cannot be read", err);
    return check_type(entry, at, err) && check_packing(entry, at, limits, err);
}

/* --- what lies before each entry --- */

static bool check_local(int fd, struct zip_entry *entry, uint64_t directory, struct arena scratch,
                        bool *has_descriptor, struct error *err)
{
    unsigned char header[ZIP_LOCAL_BYTES];
    size_t name = strlen(entry->path) + entry->is_folder;
    char *stands = ARENA_NEW(&scratch, char, name + 1);
    if (!stands)
        return arena_error(err);
    if (entry->header > directory || directory - entry->header < ZIP_LOCAL_BYTES + name)
        return broken_entry(entry->path, "is said to lie where it cannot", err);
    if (!read_at(fd, entry->header, header, sizeof header, err)
        || !read_at(fd, entry->header + ZIP_LOCAL_BYTES, stands, name, err))
        return false;
    if (zip_get32(header) != ZIP_LOCAL || zip_get16(header + 26) != name
        || memcmp(stands, entry->path, name - entry->is_folder) != 0
        || (zip_get16(header + 8) == 8) != entry->is_deflated)
        return broken_entry(entry->path, "is another file in the directory than where it lies", err);
    *has_descriptor = zip_get16(header + 6) & 1 << 3;
    uint32_t packed = zip_get32(header + 18), bytes = zip_get32(header + 22);
    if (!*has_descriptor
        && ((packed != ZIP_FULL32 && packed != entry->packed)
            || (bytes != ZIP_FULL32 && bytes != entry->bytes) || zip_get32(header + 14) != entry->crc))
        return broken_entry(entry->path, "has another size in the directory than where it lies", err);
    entry->data = entry->header + ZIP_LOCAL_BYTES + name + zip_get16(header + 28);
    return (entry->data <= directory && entry->packed <= directory - entry->data)
           || broken_entry(entry->path, "reaches into the directory", err);
}

static int compare_places(const void *a, const void *b)
{
    uint64_t x = ((const struct zip_entry *)a)->header, y = ((const struct zip_entry *)b)->header;
    return (x > y) - (x < y);
}

/* In the order they lie: each begins where the last ended, but for the few bytes of a data descriptor
 * (4.3.9). */
static bool check_places(int fd, struct zip_directory *directory, uint64_t end, struct arena scratch,
                         struct error *err)
{
    uint64_t at = 0, slack = 0;
    qsort(directory->entries, directory->count, sizeof *directory->entries, compare_places);
    for (size_t i = 0; i < directory->count; i++) {
        struct zip_entry *entry = &directory->entries[i];
        bool has_descriptor = false;
        if (entry->header < at)
            return broken_entry(entry->path, "overlaps another file, as bombs do", err);
        if (entry->header - at > slack)
            return broken_entry(entry->path, "follows bytes that belong to no file", err);
        if (!check_local(fd, entry, end, scratch, &has_descriptor, err))
            return false;
        at = entry->data + entry->packed;
        slack = has_descriptor ? DESCRIPTOR_BYTES_MAX : 0;
    }
    return end - at <= slack || broken("before its directory are bytes that belong to no file", err);
}

/* --- the whole --- */

static bool check_sizes(const struct place *place, const struct bag_limits *limits, struct error *err)
{
    if (place->count > limits->files)
        return error_set(err, ERROR_LIMIT,
                         "the zip holds %llu entries, the limit is %zu; raise --max-files where you trust it",
                         (unsigned long long)place->count, limits->files);
    if (place->bytes / ENTRY_BYTES_MAX > place->count || place->bytes / ZIP_CENTRAL_BYTES < place->count)
        return broken("its directory has another length than its entries need", err);
    return true;
}

static bool take_entries(const unsigned char *bytes, const struct place *place,
                         const struct bag_limits *limits, struct arena *keep, struct zip_directory *directory,
                         struct error *err)
{
    uint64_t total = 0;
    size_t at = 0, taken = 0;
    for (size_t i = 0; i < place->count; i++, at += taken) {
        struct zip_entry *entry = &directory->entries[i];
        if (!take_entry(bytes + at, (size_t)place->bytes - at, limits, entry, &taken, keep, err))
            return false;
        if (entry->bytes > limits->bytes - total)
            return error_set(err, ERROR_LIMIT,
                             "the zip says it unpacks to more than %llu bytes; raise --max-bytes where you "
                             "trust it",
                             (unsigned long long)limits->bytes);
        total += entry->bytes;
    }
    directory->count = (size_t)place->count;
    return at == place->bytes || broken("its directory has more entries than it says", err);
}

bool zip_directory_read(int fd, const struct bag_limits *limits, struct arena *keep,
                        struct zip_directory *directory, struct error *err)
{
    struct place place = {0};
    *directory = (struct zip_directory){0};
    if (!find_directory(fd, &place, err) || !check_sizes(&place, limits, err))
        return false;
    directory->entries = ARENA_ZERO(keep, struct zip_entry, (size_t)place.count);
    unsigned char *bytes = ARENA_NEW(keep, unsigned char, (size_t)place.bytes);
    if (!directory->entries || !bytes)
        return arena_error(err);
    return read_at(fd, place.offset, bytes, (size_t)place.bytes, err)
           && take_entries(bytes, &place, limits, keep, directory, err)
           && check_places(fd, directory, place.offset, *keep, err);
}
