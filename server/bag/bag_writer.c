/* bag_writer.c - files and their digests; manifests of them. */
#include "bag/bag_writer.h"

#include "bag/name.h"
#include "bag/zip_writer.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct bag_writer {
    struct zip_writer zip;
    char name[200]; /* of the folder in the zip */
    size_t count, room;
    struct bag_written *items;
    struct digest sha256;
    struct sha512 sha512;
};

bool bag_writer_open(int fd, const char *name, int64_t time_s, struct bag_writer **out, struct error *err)
{
    struct bag_writer *writer = calloc(1, sizeof *writer);
    if (!writer)
        return error_set(err, ERROR_MACHINE, "memory is out while writing a bag");
    snprintf(writer->name, sizeof writer->name, "%s", name);
    zip_writer_begin(&writer->zip, fd, time_s);
    *out = writer;
    return true;
}

void bag_writer_close(struct bag_writer *writer)
{
    if (!writer)
        return;
    zip_writer_close(&writer->zip);
    for (size_t i = 0; i < writer->count; i++)
        free(writer->items[i].path);
    free(writer->items);
    free(writer);
}

/* --- one file --- */

static bool enlist(struct bag_writer *writer, const char *path, uint64_t bytes, struct error *err)
{
    if (writer->count == writer->room) {
        size_t room = writer->room ? 2 * writer->room : 64;
        struct bag_written *grown = realloc(writer->items, room * sizeof *grown);
        if (!grown)
            return error_set(err, ERROR_MACHINE, "memory is out while writing a bag");
        writer->items = grown;
        writer->room = room;
    }
    struct bag_written *item = &writer->items[writer->count];
    *item = (struct bag_written){.path = strdup(path), .bytes = bytes};
    if (!item->path)
        return error_set(err, ERROR_MACHINE, "memory is out while writing a bag");
    writer->count++;
    return true;
}

static bool begin(struct bag_writer *writer, const char *path, uint64_t bytes, struct error *err)
{
    char whole[BAG_PATH_MAX + 202];
    if (!bag_path_check(path, strlen(path), err))
        return false;
    if (bag_writer_find(writer, path))
        return error_set(err, ERROR_MACHINE, "'%.100s' is in the bag already", path);
    digest_begin(&writer->sha256);
    sha512_begin(&writer->sha512);
    snprintf(whole, sizeof whole, "%s/%s", writer->name, path);
    return enlist(writer, path, bytes, err) && zip_writer_entry_begin(&writer->zip, whole, bytes, err);
}

static bool add(struct bag_writer *writer, const void *bytes, size_t count, struct error *err)
{
    digest_add(&writer->sha256, bytes, count);
    sha512_add(&writer->sha512, bytes, count);
    return zip_writer_entry_add(&writer->zip, bytes, count, err);
}

static bool end(struct bag_writer *writer, struct error *err)
{
    struct bag_written *item = &writer->items[writer->count - 1];
    digest_end(&writer->sha256, item->sha256);
    sha512_end(&writer->sha512, item->sha512);
    return zip_writer_entry_end(&writer->zip, err);
}

bool bag_writer_add(struct bag_writer *writer, const char *path, const void *bytes, size_t count,
                    struct error *err)
{
    return begin(writer, path, count, err) && add(writer, bytes, count, err) && end(writer, err);
}

static bool copy_file(struct bag_writer *writer, int fd, uint64_t bytes, struct error *err)
{
    enum { PIECE = 1 << 18 };
    char *piece = malloc(PIECE);
    uint64_t at = 0;
    ssize_t got = -1;
    bool ok = piece != NULL;
    while (ok && (got = pread(fd, piece, PIECE, (off_t)at)) != 0) {
        if (got < 0 && errno == EINTR)
            continue;
        ok = got > 0 && add(writer, piece, (size_t)got, err);
        at += got > 0 ? (uint64_t)got : 0;
    }
    free(piece);
    if (!ok && got <= 0)
        return error_set(err, ERROR_MACHINE, "a file for the bag cannot be read: %s", strerror(errno));
    return ok
           && (at == bytes
               || error_set(err, ERROR_MACHINE, "a file changed its length while it was put into the bag"));
}

bool bag_writer_add_file(struct bag_writer *writer, const char *path, int fd, uint64_t bytes,
                         struct error *err)
{
    return begin(writer, path, bytes, err) && copy_file(writer, fd, bytes, err) && end(writer, err);
}

const struct bag_written *bag_writer_find(const struct bag_writer *writer, const char *path)
{
    for (size_t i = 0; i < writer->count; i++)
        if (strcmp(writer->items[i].path, path) == 0)
            return &writer->items[i];
    return NULL;
}

const struct bag_written *bag_writer_all(const struct bag_writer *writer, size_t *count)
{
    *count = writer->count;
    return writer->items;
}

/* --- manifests --- */

static bool is_payload(const struct bag_written *item)
{
    return strncmp(item->path, "data/", 5) == 0;
}

/* Text that is built in memory. */
struct text {
    char *bytes;
    size_t size;
    FILE *file;
};

static bool text_end(struct text *text, struct bag_writer *writer, const char *path, struct error *err)
{
    bool whole = text->file && !ferror(text->file);
    if (text->file && fclose(text->file) != 0)
        whole = false;
    bool ok = whole ? bag_writer_add(writer, path, text->bytes, text->size, err)
                    : error_set(err, ERROR_MACHINE, "memory is out while writing a bag");
    free(text->bytes);
    return ok;
}

/* What `sha256sum` and `sha512sum` write and check: digest, two blanks, path. */
static void print_line(FILE *file, const struct bag_written *item, bool wide)
{
    char path[3 * BAG_PATH_MAX + 1];
    bag_path_encode(item->path, path, sizeof path);
    fprintf(file, "%s  %s\n", wide ? item->sha512 : item->sha256, path);
}

static bool write_manifest(struct bag_writer *writer, const char *path, size_t count, bool of_payload,
                           bool wide, struct error *err)
{
    struct text text = {0};
    text.file = open_memstream(&text.bytes, &text.size);
    for (size_t i = 0; text.file && i < count; i++)
        if (is_payload(&writer->items[i]) == of_payload)
            print_line(text.file, &writer->items[i], wide);
    return text_end(&text, writer, path, err);
}

static bool write_info(struct bag_writer *writer, const char *info, struct error *err)
{
    struct text text = {0};
    uint64_t bytes = 0, files = 0;
    for (size_t i = 0; i < writer->count; i++)
        if (is_payload(&writer->items[i])) {
            bytes += writer->items[i].bytes;
            files++;
        }
    text.file = open_memstream(&text.bytes, &text.size);
    if (text.file)
        fprintf(text.file, "%sPayload-Oxum: %llu.%llu\n", info, (unsigned long long)bytes,
                (unsigned long long)files);
    return text_end(&text, writer, "bag-info.txt", err);
}

bool bag_writer_manifests(struct bag_writer *writer, const char *info, struct error *err)
{
    static const char declaration[] = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";
    return bag_writer_add(writer, "bagit.txt", declaration, sizeof declaration - 1, err)
           && write_info(writer, info, err)
           && write_manifest(writer, "manifest-sha256.txt", writer->count, true, false, err)
           && write_manifest(writer, "manifest-sha512.txt", writer->count, true, true, err);
}

bool bag_writer_finish(struct bag_writer *writer, struct error *err)
{
    size_t count = writer->count; /* tag manifests do not list one another */
    return write_manifest(writer, "tagmanifest-sha256.txt", count, false, false, err)
           && write_manifest(writer, "tagmanifest-sha512.txt", count, false, true, err)
           && zip_writer_finish(&writer->zip, err);
}
