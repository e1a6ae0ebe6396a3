/* bag_writer.h - a bag (BagIt 1.0, RFC 8493) written in one pass, as a zip with the bag in one folder.
 *
 * Payload first, then tag files, then bag_writer_manifests, what speaks of the manifests, and
 * bag_writer_finish with the tag manifests. Order and times are the caller's: the same calls give the same
 * bytes. Digests are taken as bytes go by; nothing large is held. */
#ifndef BAG_BAG_WRITER_H
#define BAG_BAG_WRITER_H

#include "base/digest.h"
#include "base/error.h"
#include "base/sha512.h"

struct bag_writer;

struct bag_written {
    char *path; /* below the bag's folder; the writer's */
    uint64_t bytes;
    char sha256[DIGEST_HEX_SIZE], sha512[SHA512_HEX_SIZE];
};

/* Into an empty regular file; the bag's folder is called `name`. fd stays the caller's. */
bool bag_writer_open(int fd, const char *name, int64_t time_s, struct bag_writer **writer, struct error *err);
void bag_writer_close(struct bag_writer *writer);

/* A file of count bytes. path as bag_path_check has it; "data/..." is payload, others are tag files.
 * ERROR_MACHINE: it cannot be written, or is there already. */
bool bag_writer_add(struct bag_writer *writer, const char *path, const void *bytes, size_t count,
                    struct error *err);
/* The same from an open file, from its start; ERROR_MACHINE where it is shorter or longer. */
bool bag_writer_add_file(struct bag_writer *writer, const char *path, int fd, uint64_t bytes,
                         struct error *err);

/* bagit.txt, bag-info.txt: info is "Label: value" lines, to which Payload-Oxum is added; then the payload
 * manifests. After the last payload file. */
bool bag_writer_manifests(struct bag_writer *writer, const char *info, struct error *err);
/* What was written at that path; NULL: nothing. */
const struct bag_written *bag_writer_find(const struct bag_writer *writer, const char *path);
/* All of it, in the order it was written. */
const struct bag_written *bag_writer_all(const struct bag_writer *writer, size_t *count);
/* Tag manifests and the container's end. */
bool bag_writer_finish(struct bag_writer *writer, struct error *err);

#endif
